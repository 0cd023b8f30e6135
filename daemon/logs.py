"""Logs, set up once: events with keys, from the catalogue in `docs/log-events.md`.

Modules take `log = structlog.get_logger()` and call `log.warning("link.down",
link="modules", silent_s=6.2)`: a literal dotted name, values as keys with
units. `rig` and `run` are bound, not repeated. What libraries log comes
through at warning and above, so that a fault of theirs is not lost.
"""

import logging
import sys
from typing import TextIO

import structlog
from structlog.typing import EventDict, Processor, WrappedLogger

LEVELS = ("debug", "info", "warning", "error")
SECRET_WORDS = ("password", "passphrase", "secret")
HIDDEN = "(not logged)"


def configure(*, as_json: bool, level: str = "info", stream: TextIO | None = None) -> None:
    """Set up logging for this process; calling it again replaces the set-up.

    Args:
        as_json: one JSON object a line, for the journal; else plain lines for
            a person at a console.
        level: `debug`, `info`, `warning` or `error`, for our own events.
        stream: where to; standard error when None.

    Raises:
        ValueError: no such level.
    """
    if level not in LEVELS:
        raise ValueError(f"log level {level!r}: use one of {', '.join(LEVELS)}")
    out = stream or sys.stderr
    shared: list[Processor] = [
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        _hide_secrets,
    ]
    rendered = _rendered(as_json=as_json, colours=out.isatty())
    structlog.configure(
        processors=[*shared, *rendered],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        logger_factory=structlog.WriteLoggerFactory(file=out),
        cache_logger_on_first_use=False,
    )
    _route_libraries(out, shared, rendered)


def _rendered(*, as_json: bool, colours: bool) -> list[Processor]:
    if as_json:
        return [structlog.processors.format_exc_info, structlog.processors.JSONRenderer()]
    return [structlog.dev.ConsoleRenderer(colors=colours, pad_event_to=28)]


def _route_libraries(out: TextIO, shared: list[Processor], rendered: list[Processor]) -> None:
    handler = logging.StreamHandler(out)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=[structlog.stdlib.add_logger_name, *shared],
            processors=[structlog.stdlib.ProcessorFormatter.remove_processors_meta, *rendered],
        )
    )
    root = logging.getLogger()
    for old in root.handlers[:]:
        if isinstance(old.formatter, structlog.stdlib.ProcessorFormatter):
            root.removeHandler(old)
    root.addHandler(handler)
    root.setLevel(logging.WARNING)


def _hide_secrets(_logger: WrappedLogger, _method: str, event: EventDict) -> EventDict:
    for key in event:
        if any(word in key.lower() for word in SECRET_WORDS) and not key.endswith("_file"):
            event[key] = HIDDEN
    return event

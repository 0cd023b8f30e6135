"""Logs, set up once: events with keys, from the catalogue in `docs/log-events.md`.

Modules take `log = structlog.get_logger()` and call `log.warning("link.down",
link="modules", silent_s=6.2)`: a literal dotted name, values as keys with
units. `rig` and `run` are bound, not repeated. What libraries log comes
through at warning and above, so that a fault of theirs is not lost.

No line is worth a rig: where a line cannot be written now, because the terminal
or the pipe is gone, stopped or full, or the disk is, it is dropped and the program
goes on.
"""

import io
import logging
import select
import sys
from contextlib import suppress
from typing import TextIO, cast

import structlog
from structlog.typing import EventDict, Processor, WrappedLogger

LEVELS = ("debug", "info", "warning", "error")
SECRET_WORDS = ("password", "passphrase", "secret")
HIDDEN = "(not logged)"
# Logs every silence of a unit as an error with a dump of bytes. The same is in
# our readings, statistics and alarms, and once each.
TOLD_BY_US = ("pymodbus.logging",)
# Characters of at most 4 bytes. A pipe that is ready takes 4096 bytes without a wait.
# Source: pipe(7), PIPE_BUF on Linux.
PIECE_MAX = 1000

log = structlog.get_logger()


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
    target = stream or sys.stderr
    out = cast("TextIO", _Unfailing(target))
    shared: list[Processor] = [
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        _hide_secrets,
    ]
    rendered = _rendered(as_json=as_json, colours=target is not None and target.isatty())
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
    handler = _LibraryHandler(out)
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
    for name in TOLD_BY_US:
        logging.getLogger(name).setLevel(logging.CRITICAL)


def _hide_secrets(_logger: WrappedLogger, _method: str, event: EventDict) -> EventDict:
    for key in event:
        if any(word in key.lower() for word in SECRET_WORDS) and not key.endswith("_file"):
            event[key] = HIDDEN
    return event


class _Unfailing:
    """A stream of text that drops what cannot be written at once."""

    def __init__(self, stream: TextIO | None) -> None:
        """Wrap it; None, as Python has it for a standard error closed at the start: all drops."""
        self._stream = stream

    def write(self, text: str) -> None:
        if self._stream is None:
            return
        with suppress(OSError, ValueError):  # ValueError: it was closed
            for start in range(0, len(text), PIECE_MAX):
                if not _ready(self._stream):
                    return
                self._stream.write(text[start : start + PIECE_MAX])

    def flush(self) -> None:
        if self._stream is not None:
            with suppress(OSError, ValueError):
                self._stream.flush()


def _ready(stream: TextIO) -> bool:
    """A write would not wait: a loop that waits for a terminal watches no rig."""
    try:
        number = stream.fileno()
    except io.UnsupportedOperation:  # in memory
        return True
    return bool(select.select([], [number], [], 0)[1])


class _LibraryHandler(logging.StreamHandler[TextIO]):
    """Takes what libraries log, also when it makes no line."""

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802  # the base's own name
        """Say it as ours; the base would print to a standard error that may be gone."""
        log.exception("log.unreadable", logger=record.name)

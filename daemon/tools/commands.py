"""What each command does with the words it was given; `daemon.cli` reads the words."""

import argparse
import asyncio
import os
import re
import signal
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from daemon import logs
from daemon.clock import RealClock
from daemon.config import Config, ConfigError, RigConfig, load
from daemon.tools.broker import broker_faults
from daemon.tools.show import complain
from rules.frame import NS_PER_S
from rules.limits import LimitsBase

if TYPE_CHECKING:
    from daemon.store.reader import StoreReader

OK, FOUND, BAD_INPUT, CANNOT = 0, 1, 2, 3
DEFAULT_CONFIG = "/etc/curehold/curehold.toml"
RUN_MAX = 2**63 - 1


class WordsError(Exception):
    """The words on the command line ask for what is not there; says what is."""


def run_number(text: str) -> int:
    """A run's number as typed.

    Raises:
        WordsError: it is none.
    """
    if not (text.isascii() and text.isdecimal() and 1 <= int(text[:20]) <= RUN_MAX):
        raise WordsError(f"{text[:20]} is no number of a run; `curehold runs` lists them")
    return int(text)


def supervise(options: argparse.Namespace) -> int:
    """Run the daemon until it is told to end."""
    from daemon.supervise import supervise as run_daemon

    config = _config(options)
    _look_at_broker_files(config)  # what is missing is told now, not in a log
    as_json = options.log == "json" or (options.log == "auto" and "INVOCATION_ID" in os.environ)
    logs.configure(as_json=as_json, level=options.log_level)
    # Sent when the terminal is closed: no reason to leave a rig alone.
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    asyncio.run(run_daemon(config))
    return OK


def check(options: argparse.Namespace) -> int:
    """Check the configuration and read every channel once."""
    from daemon.tools.check import show_channels

    logs.configure(as_json=False, level="error")
    return show_channels(_config(options), as_json=options.json, offline=options.offline)


def status(options: argparse.Namespace) -> int:
    """Show what every rig is doing now."""
    from daemon.tools.live import show_status

    return show_status(_config(options).control.socket, as_json=options.json)


def watch(options: argparse.Namespace) -> int:
    """Follow rigs through the broker."""
    from daemon.tools.watch import WatchError, follow

    config = _config(options)
    if config.mqtt is None:
        raise ConfigError([f"{_path(options).name}: mqtt: missing; `watch` follows the broker"])
    _look_at_broker_files(config)
    if options.rig is not None:
        _rig(config, options.rig)
    try:
        return follow(config.mqtt, config.site, options.rig, options.until, as_json=options.json)
    except WatchError as error:
        complain(str(error))
        return CANNOT


def runs(options: argparse.Namespace) -> int:
    """List the runs on record."""
    from daemon.store.reader import StoreReader
    from daemon.tools.records import show_runs

    return show_runs(StoreReader(_config(options).store.path), as_json=options.json)


def alarms(options: argparse.Namespace) -> int:
    """List what stands, and what to do about it."""
    from daemon.tools.alarms import show_standing

    config = _config(options)
    if options.rig is not None:
        _rig(config, options.rig)
    return show_standing(config.control.socket, options.rig, as_json=options.json)


def tell(options: argparse.Namespace) -> int:
    """Say something about an alarm, or note something."""
    from daemon.tools.live import Saying, tell

    saying = Saying(
        options.verb,
        who=options.who,
        tag=getattr(options, "tag", ""),
        minutes=getattr(options, "minutes", 60 * getattr(options, "hours", 0.0)),
        text=getattr(options, "text", ""),
    )
    return tell(_config(options).control.socket, options.rig, saying, as_json=options.json)


def journal(options: argparse.Namespace) -> int:
    """Tell what happened and what people did, from the record."""
    from daemon.store.reader import StoreReader
    from daemon.tools.journal import Asked, show_journal

    config = _config(options)
    if options.rig is not None:
        _rig(config, options.rig)
    if sum((options.run is not None, options.since is not None, bool(options.around))) > 1:
        raise WordsError("give only one of --run, --since and --around")
    reader = StoreReader(config.store.path)
    if options.run is not None:
        _run(reader, options.run)
    asked = Asked(
        options.rig or "",
        options.run,
        options.since,
        options.around,
        options.only,
        options.most,
    )
    return show_journal(reader, asked, as_json=options.json)


def moment(text: str) -> int:
    """A time as typed: `2026-11-25T03:00` or `2026-11-25`, by this computer's clock, or `8h`.

    Returns:
        Wall time, ns since 1970.

    Raises:
        WordsError: it is none.
    """
    ago = re.fullmatch(r"(\d{1,5})(min|h|d)", text)
    if ago:
        each_s = {"min": 60, "h": 3600, "d": 86400}[ago[2]]
        return RealClock().wall_ns() - int(ago[1]) * each_s * NS_PER_S
    try:
        return int(datetime.fromisoformat(text).timestamp()) * NS_PER_S
    except (ValueError, OverflowError) as error:
        raise WordsError(
            f"{text[:20]} is no time; write 2026-11-25T03:00, 2026-11-25, 90min, 8h or 2d"
        ) from error


def export(options: argparse.Namespace) -> int:
    """Write a run out."""
    from daemon.store.reader import StoreReader
    from daemon.tools.exports import export_csv, export_jsonl

    reader = StoreReader(_config(options).store.path)
    _run(reader, options.run)
    write = export_jsonl if options.json or options.format == "jsonl" else export_csv
    if options.out is None:
        write(reader, options.run, sys.stdout)
        return OK
    with options.out.open("w", encoding="utf-8", newline="") as file:
        count = write(reader, options.run, file)
    complain(f"{count} rows written to {options.out}")
    return OK


def replay(options: argparse.Namespace) -> int:
    """Judge a run or a trace again."""
    from daemon.tools.replays import replay_run, replay_trace

    if options.what.isascii() and options.what.isdecimal():
        from daemon.store.reader import StoreReader

        run = run_number(options.what)
        reader = StoreReader(_config(options).store.path)
        _run(reader, run)
        return replay_run(reader, run, as_json=options.json)
    limits, whose = _trace_limits(options)
    return replay_trace(Path(options.what), limits, whose, as_json=options.json)


def _trace_limits(options: argparse.Namespace) -> tuple[LimitsBase | None, str]:
    """The limits to judge a trace by, None for the defaults, and in words whose they are."""
    if options.rig is None and options.config is None:
        return None, "the defaults"
    config = _config(options)
    if options.rig is None and len(config.rigs) > 1:
        names = ", ".join(rig.name for rig in config.rigs)
        raise WordsError(f"{options.config}: say whose limits by --rig: there are {names}")
    rig = _rig(config, options.rig or config.rigs[0].name)
    return rig.limits, f"of rig {rig.name} in {_path(options).name}"


def _rig(config: Config, name: str) -> RigConfig:
    rigs = {rig.name: rig for rig in config.rigs}
    if name not in rigs:
        raise WordsError(f"no rig {name}: there are {', '.join(rigs)}")
    return rigs[name]


def _run(reader: "StoreReader", run_id: int) -> None:
    """See that a run is there.

    Raises:
        WordsError: it is not; says which are.
    """
    try:
        reader.run(run_id)
    except KeyError as error:
        raise WordsError(str(error.args[0])) from error


def _look_at_broker_files(config: Config) -> None:
    """See that signing in at the broker will not fail for want of a file.

    Raises:
        ConfigError: a file is not as it must be.
    """
    faults = broker_faults(config)
    if faults:
        raise ConfigError(faults)


def _path(options: argparse.Namespace) -> Path:
    given: Path | None = options.config or getattr(options, "file", None)
    return given or Path(os.environ.get("CUREHOLD_CONFIG") or DEFAULT_CONFIG)


def _config(options: argparse.Namespace) -> Config:
    return load(_path(options))

"""What each command does with the words it was given; `daemon.cli` reads the words."""

import argparse
import asyncio
import os
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from daemon import logs
from daemon.config import Config, ConfigError, RigConfig, load
from daemon.tools.broker import broker_faults
from daemon.tools.show import complain
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


def answer(options: argparse.Namespace) -> int:
    """Say something about an alarm, or note something."""
    from daemon.tools.live import give_answer

    return give_answer(
        _config(options).control.socket,
        options.rig,
        options.verb,
        tag=options.tag,
        minutes=options.minutes,
        text=options.text,
        as_json=options.json,
    )


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
    """List changes of alarms on record."""
    from daemon.store.reader import StoreReader
    from daemon.tools.records import show_alarms

    reader = StoreReader(_config(options).store.path)
    if options.run is not None:
        _run(reader, options.run)
    return show_alarms(
        reader,
        rig=options.rig,
        run_id=options.run,
        rows_max=options.most,
        as_json=options.json,
    )


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

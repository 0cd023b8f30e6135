"""The command line: `curehold COMMAND`, plain words, documented exit codes."""

import argparse
import asyncio
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from daemon import logs
from daemon.config import Config, ConfigError, load
from daemon.control import ControlError
from daemon.store.errors import StoreError
from daemon.tools.show import complain
from daemon.trace import TraceError
from rules.checkpoint import CheckpointError
from rules.limits import LimitsBase

OK, FOUND, BAD_INPUT, CANNOT = 0, 1, 2, 3
DEFAULT_CONFIG = "/etc/curehold/curehold.toml"

ABOUT = """\
curehold supervises the cure of a tyre section repair. It takes heat away when
something is wrong, and keeps the record. It is not a certified safety function:
thermostat, cut-out, relief valves, emergency stop and a competent person stay.
"""
EXIT_CODES = """\
exit codes:
  0  done, all is well
  1  done, and something was found: an alarm stands, a channel cannot be read,
     a replay differs from the record, a request was refused
  2  bad input: configuration, trace or words on the command line
  3  cannot: no daemon, store held by another, broker away
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Args:
        arguments: as on the command line; None takes the real ones.

    Returns:
        The exit code; see `EXIT_CODES`.
    """
    given = list(sys.argv[1:] if arguments is None else arguments)
    if given[:1] == ["simulate"]:
        return _simulate(given[1:])
    options = _parser().parse_args(given)
    try:
        return int(options.do(options))
    except (ConfigError, TraceError) as error:
        for fault in error.faults:
            complain(fault)
        return BAD_INPUT
    except KeyError as error:
        complain(str(error.args[0]))
        return BAD_INPUT
    except (StoreError, ControlError, CheckpointError, OSError) as error:
        complain(str(error))
        return CANNOT
    except KeyboardInterrupt:
        return OK


def _simulate(arguments: Sequence[str]) -> int:
    """Become the simulator; it is a program of its own."""
    sys.stdout.flush()
    os.execv(sys.executable, [sys.executable, "-m", "simulator", *arguments])  # noqa: S606  # our own program, no shell


def _supervise(options: argparse.Namespace) -> int:
    from daemon.supervise import supervise  # noqa: PLC0415  # heavy; other commands start faster without

    config = load(options.config)
    if config.mqtt is not None:
        config.mqtt.password()  # a missing password is told now, not in a log
    as_json = options.log == "json" or (options.log == "auto" and "INVOCATION_ID" in os.environ)
    logs.configure(as_json=as_json, level=options.log_level)
    asyncio.run(supervise(config))
    return OK


def _check(options: argparse.Namespace) -> int:
    from daemon.tools.check import check  # noqa: PLC0415  # heavy; other commands start faster without

    logs.configure(as_json=False, level="error")
    return check(load(options.config), as_json=options.json, offline=options.offline)


def _status(options: argparse.Namespace) -> int:
    from daemon.tools.live import show_status  # noqa: PLC0415  # other commands start faster without

    return show_status(_config(options).control.socket, as_json=options.json)


def _answer(options: argparse.Namespace) -> int:
    from daemon.tools.live import give_answer  # noqa: PLC0415  # other commands start faster without

    return give_answer(
        _config(options).control.socket,
        options.rig,
        options.verb,
        tag=options.tag,
        minutes=options.minutes,
        text=options.text,
    )


def _watch(options: argparse.Namespace) -> int:
    from daemon.tools.watch import WatchError, follow  # noqa: PLC0415  # other commands start faster without

    config = _config(options)
    if config.mqtt is None:
        raise ConfigError([f"{options.config.name}: mqtt: missing; `watch` follows the broker"])
    try:
        return follow(config.mqtt, config.site, options.rig, options.until)
    except WatchError as error:
        complain(str(error))
        return CANNOT


def _runs(options: argparse.Namespace) -> int:
    from daemon.store.reader import StoreReader  # noqa: PLC0415  # other commands start faster without
    from daemon.tools.records import show_runs  # noqa: PLC0415

    return show_runs(StoreReader(_config(options).store.path), as_json=options.json)


def _alarms(options: argparse.Namespace) -> int:
    from daemon.store.reader import StoreReader  # noqa: PLC0415  # other commands start faster without
    from daemon.tools.records import show_alarms  # noqa: PLC0415

    return show_alarms(
        StoreReader(_config(options).store.path),
        rig=options.rig,
        run_id=options.run,
        rows_max=options.most,
        as_json=options.json,
    )


def _export(options: argparse.Namespace) -> int:
    from daemon.store.reader import StoreReader  # noqa: PLC0415  # other commands start faster without
    from daemon.tools.exports import export_csv, export_jsonl  # noqa: PLC0415

    reader = StoreReader(_config(options).store.path)
    reader.run(options.run)
    export = export_csv if options.format == "csv" else export_jsonl
    if options.out is None:
        export(reader, options.run, sys.stdout)
        return OK
    with options.out.open("w", encoding="utf-8", newline="") as file:
        count = export(reader, options.run, file)
    complain(f"{count} rows written to {options.out}")
    return OK


def _replay(options: argparse.Namespace) -> int:
    from daemon.tools.replays import replay_run, replay_trace  # noqa: PLC0415  # other commands start faster without

    if options.what.isdigit():
        from daemon.store.reader import StoreReader  # noqa: PLC0415

        reader = StoreReader(_config(options).store.path)
        return replay_run(reader, int(options.what), as_json=options.json)
    return replay_trace(Path(options.what), _rig_limits(options), as_json=options.json)


def _rig_limits(options: argparse.Namespace) -> LimitsBase | None:
    """The limits of the rig named, or None for the defaults."""
    if options.rig is None:
        return None
    rigs = {rig.name: rig for rig in _config(options).rigs}
    if options.rig not in rigs:
        raise KeyError(f"no rig {options.rig}: there are {', '.join(rigs)}")
    return rigs[options.rig].limits


def _config(options: argparse.Namespace) -> Config:
    return load(options.config)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="curehold",
        description=ABOUT,
        epilog=EXIT_CODES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    _add_running(commands)
    _add_records(commands)
    return parser


class Commands(Protocol):
    """What argparse makes sub-commands with."""

    def add_parser(
        self,
        name: str,
        *,
        help: str,  # noqa: A002  # argparse's own name for it
        description: str,
        epilog: str,
        formatter_class: type[argparse.HelpFormatter],
    ) -> argparse.ArgumentParser:
        """A parser for one sub-command."""


def _command(commands: Commands, name: str, what: str, example: str) -> argparse.ArgumentParser:
    command = commands.add_parser(
        name,
        help=what,
        description=what[0].upper() + what[1:] + ".",
        epilog=f"example:\n  curehold {example}\n\n{EXIT_CODES}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    default = Path(os.environ.get("CUREHOLD_CONFIG", DEFAULT_CONFIG))
    command.add_argument(
        "--config",
        type=Path,
        default=default,
        metavar="FILE",
        help=f"the configuration; else CUREHOLD_CONFIG, else {DEFAULT_CONFIG}",
    )
    return command


def _with_json(command: argparse.ArgumentParser) -> argparse.ArgumentParser:
    command.add_argument("--json", action="store_true", help="JSON lines instead of words")
    return command


def _add_running(commands: Commands) -> None:
    run = _command(commands, "supervise", "supervise every configured rig", "supervise shop.toml")
    run.add_argument(
        "config", type=Path, nargs="?", default=run.get_default("config"), help="the configuration"
    )
    run.add_argument("--log", choices=("auto", "json", "plain"), default="auto", help="log form")
    run.add_argument("--log-level", choices=logs.LEVELS, default="info", help="least level logged")
    run.set_defaults(do=_supervise)

    _command(
        commands,
        "simulate",
        "start a pretend rig on this computer; nothing is heated",
        "simulate --scenario whole_cure --pace real --modbus-port 5020",
    )

    look = _with_json(
        _command(
            commands,
            "check",
            "check the configuration, then read every channel once",
            "check --config shop.toml",
        )
    )
    look.add_argument("--offline", action="store_true", help="leave the wires alone")
    look.set_defaults(do=_check)

    status = _with_json(_command(commands, "status", "show what every rig is doing now", "status"))
    status.set_defaults(do=_status)

    follow = _command(commands, "watch", "follow rigs through the broker", "watch --rig bay-2")
    follow.add_argument("--rig", help="only this rig")
    follow.add_argument("--until", default="", metavar="EVENT", help="leave after this event")
    follow.set_defaults(do=_watch)

    answer = _command(
        commands,
        "answer",
        "answer an alarm; start, reset and presence are buttons at the rig",
        'answer bay-2 quiet --tag bag.low --minutes 10 --text "valve being changed"',
    )
    answer.add_argument("rig", help="name of the rig")
    answer.add_argument("verb", choices=("seen", "going", "quiet", "note"), help="what you say")
    answer.add_argument("--tag", default="", help="the alarm; else all that stand")
    answer.add_argument("--minutes", type=float, default=0.0, help="for quiet: how long")
    answer.add_argument("--text", default="", help="the note, or the reason for quiet")
    answer.set_defaults(do=_answer)


def _add_records(commands: Commands) -> None:
    runs = _with_json(_command(commands, "runs", "list the runs on record", "runs"))
    runs.set_defaults(do=_runs)

    alarms = _with_json(_command(commands, "alarms", "list alarms on record", "alarms --run 12"))
    alarms.add_argument("--rig", help="only this rig")
    alarms.add_argument("--run", type=int, help="only this run")
    alarms.add_argument("--most", type=int, default=50, help="newest so many")
    alarms.set_defaults(do=_alarms)

    export = _command(
        commands, "export", "write a run as CSV or JSON lines", "export 12 --out run-12.csv"
    )
    export.add_argument("run", type=int, help="number of the run, as `runs` lists it")
    export.add_argument("--format", choices=("csv", "jsonl"), default="csv", help="form")
    export.add_argument("--out", type=Path, metavar="FILE", help="else standard output")
    export.set_defaults(do=_export)

    replay = _with_json(
        _command(
            commands,
            "replay",
            "judge a stored run or a CSV trace again",
            "replay 12\n  curehold replay trace.csv --json",
        )
    )
    replay.add_argument("what", metavar="RUN|TRACE.csv", help="number of a run, or a trace")
    replay.add_argument("--rig", help="judge a trace by the limits of this rig")
    replay.set_defaults(do=_replay)


if __name__ == "__main__":
    sys.exit(main())

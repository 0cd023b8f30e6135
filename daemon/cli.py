"""The command line: `curehold COMMAND`, plain words, documented exit codes."""

import argparse
import io
import os
import sys
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from daemon import logs
from daemon.config import ConfigError
from daemon.control import ControlError
from daemon.csv_trace import TraceError
from daemon.store.errors import StoreError
from daemon.tools import commands
from daemon.tools.commands import BAD_INPUT, CANNOT, DEFAULT_CONFIG, OK, WordsError
from daemon.tools.show import complain
from rules.checkpoint import CheckpointError

# One line a paragraph: the help breaks them where the terminal ends.
ABOUT = (
    "curehold supervises the cure of a tyre section repair. It takes heat away when something "
    "is wrong, and keeps the record. It is not a certified safety function: thermostat, cut-out, "
    "relief valves, emergency stop and a competent person stay."
)
EXIT_CODES = (
    "exit codes:\n"
    "  0  done, all is well\n"
    "  1  done, and something was found: an alarm stands, a channel cannot be read, a replay "
    "differs from the record, a request was refused\n"
    "  2  bad input: configuration, trace or words on the command line\n"
    "  3  cannot: no daemon, no store or another holds it, broker away, output not taken"
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Args:
        arguments: as on the command line; None takes the real ones.

    Returns:
        The exit code; see `EXIT_CODES`.
    """
    given = list(sys.argv[1:] if arguments is None else arguments)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A terminal that cannot show "°" is no reason to fail.
            stream.reconfigure(errors="replace")
    if given[:1] == ["simulate"]:
        return _simulate(given[1:])
    try:
        options = _parser().parse_args(given)
        code = int(options.do(options))
        sys.stdout.flush()
    except (ConfigError, TraceError) as error:
        return _refused(error.faults, BAD_INPUT)
    except WordsError as error:
        return _refused([str(error)], BAD_INPUT)
    except (StoreError, ControlError, CheckpointError) as error:
        return _refused([str(error)], CANNOT)
    except OSError as error:
        return _system_refused(error)
    except KeyboardInterrupt:
        return OK
    return code


def _refused(faults: Sequence[str], code: int) -> int:
    for fault in faults:
        complain(fault)
    return code


def _system_refused(error: OSError) -> int:
    """Say what the system refused; not when our reader has had enough, as `head` has."""
    if not isinstance(error, BrokenPipeError):
        where = f"{error.filename}: " if error.filename else ""
        complain(f"{where}{error.strerror or error}")
    return CANNOT


def _simulate(arguments: Sequence[str]) -> int:
    """Become the simulator; it is a program of its own."""
    sys.stdout.flush()
    os.execv(sys.executable, [sys.executable, "-m", "simulator", *arguments])  # noqa: S606  # our own program, no shell


class _Help(argparse.HelpFormatter):
    """Lines as written, broken only where the terminal ends."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, indent_increment=1)

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        lines: list[str] = []
        for line in text.splitlines():
            hang = " " * 5 if line.startswith(" ") else ""
            wrapped = textwrap.wrap(
                line, width, initial_indent=indent, subsequent_indent=indent + hang
            )
            lines += wrapped or [""]
        return "\n".join(lines)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="curehold",
        description=ABOUT,
        epilog=EXIT_CODES,
        formatter_class=_Help,
    )
    parsers = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    _add_running(parsers)
    _add_alarms(parsers)
    _add_records(parsers)
    return parser


class Parsers(Protocol):
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


def _command(parsers: Parsers, name: str, what: str, example: str) -> argparse.ArgumentParser:
    command = parsers.add_parser(
        name,
        help=what,
        description=what[0].upper() + what[1:] + ".",
        epilog=f"example:\n  curehold {example}\n\n{EXIT_CODES}",
        formatter_class=_Help,
    )
    command.add_argument(
        "--config",
        type=Path,
        metavar="FILE",
        help=f"the configuration; else CUREHOLD_CONFIG, else {DEFAULT_CONFIG}",
    )
    return command


def _with_json(command: argparse.ArgumentParser) -> argparse.ArgumentParser:
    command.add_argument("--json", action="store_true", help="JSON lines instead of words")
    return command


def _with_file(command: argparse.ArgumentParser) -> None:
    same = "the same as --config FILE"
    command.add_argument("file", type=Path, nargs="?", metavar="FILE", help=same)


def _add_running(parsers: Parsers) -> None:
    run = _command(parsers, "supervise", "supervise every configured rig", "supervise shop.toml")
    _with_file(run)
    run.add_argument("--log", choices=("auto", "json", "plain"), default="auto", help="log form")
    run.add_argument(
        "--log-level",
        choices=logs.LEVELS,
        default="info",
        metavar="LEVEL",
        help=f"least level logged: {', '.join(logs.LEVELS)}",
    )
    run.set_defaults(do=commands.supervise)

    _command(
        parsers,
        "simulate",
        "start a pretend rig on this computer; nothing is heated",
        "simulate --scenario whole_cure --pace real --modbus-port 5020",
    )

    look = _with_json(
        _command(
            parsers,
            "check",
            "check the configuration, then read every channel once",
            "check shop.toml",
        )
    )
    _with_file(look)
    look.add_argument("--offline", action="store_true", help="leave the wires alone")
    look.set_defaults(do=commands.check)

    status = _with_json(_command(parsers, "status", "show what every rig is doing now", "status"))
    status.set_defaults(do=commands.status)

    follow = _with_json(
        _command(parsers, "watch", "follow rigs through the broker", "watch --rig bay-2")
    )
    follow.add_argument("--rig", help="only this rig")
    follow.add_argument(
        "--until",
        default="",
        metavar="EVENT",
        help="leave after this event, for instance run_closed",
    )
    follow.set_defaults(do=commands.watch)


def _add_alarms(parsers: Parsers) -> None:
    alarms = _with_json(
        _command(
            parsers,
            "alarms",
            "show what stands and what to do, say something to it, or tell what happened",
            "alarms\n"
            "  curehold alarms seen bay-2 bag.low\n"
            '  curehold alarms quiet bay-2 bag.low --minutes 10 --why "changing the valve"\n'
            "  curehold alarms journal --around bag.burst",
        )
    )
    alarms.add_argument("--rig", help="only this rig")
    alarms.set_defaults(do=commands.alarms)
    sayings = alarms.add_subparsers(
        title="words to say; start and reset are buttons at the rig",
        metavar="WORD",
    )
    _saying(sayings, "seen", "I know of it", tag="?")
    _saying(sayings, "going", "I am on my way", tag="?")
    quiet = _saying(sayings, "quiet", "keep the horn quiet for a while", tag="?")
    quiet.add_argument("--minutes", type=float, required=True, help="how long, up to 60")
    quiet.add_argument("--why", dest="text", required=True, help="the reason, for the record")
    out = _saying(
        sayings,
        "out-of-service",
        "tell nobody of its warnings; a trip speaks and cuts heat all the same",
    )
    out.add_argument("--why", dest="text", required=True, help="the reason, for the record")
    out.add_argument(
        "--hours", type=float, default=0.0, help="how long, up to 168, which is also the default"
    )
    _saying(sayings, "in-service", "tell of its warnings again")
    note = _saying(sayings, "note", "write something into the record", tag="")
    note.add_argument("text", metavar="TEXT", help="the note, in quotes")
    _add_journal(sayings)


def _saying(
    sayings: "argparse._SubParsersAction[argparse.ArgumentParser]",
    name: str,
    what: str,
    *,
    tag: str | None = None,
) -> argparse.ArgumentParser:
    """A word to say; `tag` is how often the alarm is named: `?`, once (None) or never ("")."""
    saying = _below_alarms(sayings, name, what)
    saying.add_argument("rig", metavar="RIG", help="name of the rig")
    if tag is None:
        saying.add_argument("tag", metavar="ALARM", help="the alarm, for instance bag.low")
    elif tag:
        saying.add_argument(
            "tag", metavar="ALARM", nargs=tag, default="", help="the alarm; else all that stand"
        )
    saying.add_argument("--who", default="", metavar="NAME", help="else whoever is signed in")
    saying.set_defaults(do=commands.tell, verb=name.replace("-", "_"))
    return saying


def _below_alarms(
    words: "argparse._SubParsersAction[argparse.ArgumentParser]", name: str, what: str
) -> argparse.ArgumentParser:
    below = words.add_parser(
        name,
        help=what,
        description=what[0].upper() + what[1:] + ".",
        epilog=EXIT_CODES,
        formatter_class=_Help,
    )
    # Suppressed: a default here would undo what was said before the word.
    below.add_argument(
        "--config", type=Path, metavar="FILE", default=argparse.SUPPRESS, help="the configuration"
    )
    below.add_argument(
        "--json",
        action="store_true",
        default=argparse.SUPPRESS,
        help="JSON lines instead of words",
    )
    return below


def _add_journal(words: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    journal = _below_alarms(words, "journal", "tell what happened and what people did")
    journal.add_argument("--rig", default=argparse.SUPPRESS, help="only this rig")
    journal.add_argument("--run", type=commands.run_number, help="this run")
    journal.add_argument(
        "--since",
        type=commands.moment,
        metavar="TIME",
        help="from then on: 2026-11-25T03:00, 90min, 8h or 2d",
    )
    journal.add_argument(
        "--around", default="", metavar="ALARM", help="the newest time that this alarm stood"
    )
    journal.add_argument(
        "--only", choices=("alarms", "people"), default="", help="alarms, or what people did"
    )
    journal.add_argument(
        "--most",
        type=int,
        choices=range(1, 10_001),
        default=200,
        metavar="N",
        help="newest so many",
    )
    journal.set_defaults(do=commands.journal)


def _add_records(parsers: Parsers) -> None:
    runs = _with_json(_command(parsers, "runs", "list the runs on record", "runs"))
    runs.set_defaults(do=commands.runs)

    export = _with_json(
        _command(
            parsers, "export", "write a run as CSV or JSON lines", "export 12 --out run-12.csv"
        )
    )
    export.add_argument(
        "run", type=commands.run_number, help="number of the run, as `runs` lists it"
    )
    export.add_argument("--format", choices=("csv", "jsonl"), default="csv", help="form")
    export.add_argument("--out", type=Path, metavar="FILE", help="else standard output")
    export.set_defaults(do=commands.export)

    replay = _with_json(
        _command(
            parsers,
            "replay",
            "judge a stored run or a CSV trace again",
            "replay 12\n  curehold replay trace.csv --json",
        )
    )
    replay.add_argument("what", metavar="RUN|TRACE.csv", help="number of a run, or a trace")
    replay.add_argument("--rig", help="judge a trace by this rig's limits")
    replay.set_defaults(do=commands.replay)


if __name__ == "__main__":
    sys.exit(main())

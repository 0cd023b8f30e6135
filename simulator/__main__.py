"""`python -m simulator`: a pretend rig on real wires. Nothing is heated."""

import argparse
import asyncio
import errno
import json
import math
import os
import signal
import sys
from collections.abc import Callable
from contextlib import AsyncExitStack, ExitStack
from dataclasses import replace
from pathlib import Path

from simulator.alone import run_alone
from simulator.fault_text import read_fault
from simulator.listing import about_text, faults_text, scenarios_text
from simulator.pace import Lockstep, Mover, NobodyCameError, read_pace, run_free
from simulator.picture import Picture, PictureError
from simulator.planned import PlannedFault, Scenario, ScenarioError, tail_after_s
from simulator.recording import TraceFile, TruthFile
from simulator.registers import RIGS_MAX
from simulator.scenarios import find_scenario
from simulator.serve import ServeError, WallPace, Wanted, open_fronts, read_wanted
from simulator.yard import Yard

PRETEND = "PRETEND RIG, nothing is heated."
EXIT_NOBODY_CAME = 1
EXIT_ASKED_WRONG = 2
PORT_MAX = 65_535


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="curehold simulate",
        description=(
            f"{PRETEND} Serves simulated rigs, to this computer only, for a daemon beside it; "
            "or runs alone, with a countdown for a supervisor, and writes what happened."
        ),
        epilog=(
            "Examples: --scenario hose_fails --pace speed=180 | "
            "--alone --scenario thermostat_stuck --trace t.csv --truth truth.csv --plot t.svg"
        ),
    )
    parser.add_argument("--scenario", default="whole_cure", help="what happens; see --list")
    parser.add_argument("--rigs", type=int, default=1, help=f"how many, 1 to {RIGS_MAX}")
    parser.add_argument(
        "--wire",
        action="append",
        default=[],
        metavar="KIND[:WHERE]",
        help="tcp[:PORT], rtu[:LINK], lines[:LINK] or lines_csv[:LINK]; tcp if not given",
    )
    parser.add_argument("--modbus-port", type=int, default=0, help="of tcp; 0 picks one")
    parser.add_argument("--pace-port", type=int, default=0, help="for lockstep; 0 picks one")
    parser.add_argument(
        "--pace",
        default="real",
        help="real, speed=N, lockstep or lockstep=N; N in plant seconds per real second",
    )
    parser.add_argument("--seed", type=int, default=1, help="same seed, same course")
    parser.add_argument(
        "--fault",
        action="append",
        default=[],
        metavar="NAME[:key=value,...][@WHEN]",
        help="break something more, on the first rig; WHEN is seconds or STAGE[REPAIR]+seconds",
    )
    parser.add_argument(
        "--mends-after-s",
        type=float,
        help="the crew mends and resets this long after a trip; without it, it stands clear",
    )
    parser.add_argument(
        "--alone", action="store_true", help="no daemon, no wire, as fast as it goes"
    )
    parser.add_argument(
        "--trace", type=Path, metavar="CSV", help="write what the first rig's instruments showed"
    )
    parser.add_argument("--truth", type=Path, metavar="CSV", help="write what really was")
    parser.add_argument(
        "--plot", type=Path, metavar="SVG", help="draw the first rig's run with its truth"
    )
    parser.add_argument(
        "--wait-s", type=float, default=60.0, help="for a lockstep client, then give up"
    )
    parser.add_argument(
        "--list",
        choices=("scenarios", "faults", "all"),
        nargs="?",
        const="all",
        help="what there is to choose from, and end",
    )
    parser.add_argument("--about", metavar="FAULT", help="all about one fault, and end")
    return parser


def _told(options: argparse.Namespace) -> str | None:
    """What is only to be read, or None when something is to be run."""
    if options.about:
        return about_text(options.about)
    if options.list is None:
        return None
    parts = {"scenarios": [scenarios_text()], "faults": [faults_text()]}
    return "\n".join([PRETEND + "\n", *parts.get(options.list, [scenarios_text(), faults_text()])])


def _as_asked(
    scenario: Scenario, faults: list[PlannedFault], mends_after_s: float | None
) -> Scenario:
    plans = scenario.plans
    if mends_after_s is not None:
        plans = tuple(replace(plan, mends_after_s=mends_after_s) for plan in plans)
    tails_s = [tail_after_s(planned.fault, scenario.built) for planned in faults]
    return replace(
        scenario,
        plans=plans,
        faults=scenario.faults + tuple(faults),
        tail_s=max([scenario.tail_s, *tails_s]),
    )


async def _serve(options: argparse.Namespace, yard: Yard) -> None:
    lockstep, speed = read_pace(options.pace)
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    async with AsyncExitStack() as ends:
        plant_time = (lambda: yard.now_s) if lockstep else None
        fronts = await open_fronts(yard.rigs, _wires(options), plant_time)
        ends.push_async_callback(fronts.close)
        notes = [*_records(options, yard, ends), fronts.moved]

        def note_all() -> None:
            for note in notes:
                note()

        mover = Mover(yard, WallPace(speed), note_all)
        ready: dict[str, object] = {"ready": True, "pace_port": None, **fronts.told()}
        if lockstep:
            port = Lockstep(mover, options.wait_s)
            ends.push_async_callback(port.close)
            ready["pace_port"] = await port.open(options.pace_port)
            moving = port.run()
        else:
            moving = run_free(mover, speed or 1.0)
        ready |= {"scenario": yard.scenario.name, "over_at_s": yard.scenario.over_at_s}
        sys.stdout.write(json.dumps(ready) + "\n")
        sys.stdout.flush()
        await _until_first(asyncio.create_task(moving), asyncio.create_task(stop.wait()))


async def _until_first(*tasks: "asyncio.Task[None] | asyncio.Task[bool]") -> None:
    done, waiting = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    for task in waiting:
        task.cancel()
    await asyncio.gather(*waiting, return_exceptions=True)
    for task in done:
        task.result()


def _wires(options: argparse.Namespace) -> list[Wanted]:
    wanted = [read_wanted(text) for text in options.wire]
    return wanted or [Wanted("tcp", port=options.modbus_port)]


def _records(
    options: argparse.Namespace, yard: Yard, ends: ExitStack | AsyncExitStack
) -> list[Callable[[], None]]:
    """What is to be called after every step; files are finished at the end."""
    notes = []
    if options.plot is not None:
        picture = Picture(yard)
        ends.callback(picture.write, options.plot)
        notes.append(picture.note)
    for path, kind in ((options.trace, TraceFile), (options.truth, TruthFile)):
        if path is not None:
            record = kind(path, yard)
            ends.callback(record.close)
            notes.append(record.note)
    return notes


def _run_alone(options: argparse.Namespace, yard: Yard) -> int:
    """Run alone; returns the exit status, that of a signal when one ended it."""
    seen = sys.stderr.isatty()
    stopped_by: list[int] = []
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda number, _frame: stopped_by.append(number))

    def tell(now_s: float) -> None:
        if seen:
            crew = yard.crews[0]
            sys.stderr.write(f"\r{now_s / 3600:6.1f} h of plant time, {crew.stage:12}")
            sys.stderr.flush()

    with ExitStack() as ends:
        run_alone(yard, _records(options, yard, ends), tell, lambda: bool(stopped_by))
    if seen:
        sys.stderr.write("\n")
    if stopped_by:
        sys.stderr.write(f"stopped at {yard.now_s / 3600:.1f} h; the files end there\n")
    for what, path in (("trace", options.trace), ("truth", options.truth), ("plot", options.plot)):
        if path is not None:
            sys.stdout.write(f"{what}: {path}\n")
    return 128 + stopped_by[0] if stopped_by else 0


def _asked_well(options: argparse.Namespace) -> None:
    """Refuse what cannot be, or would be without effect, before anything is opened.

    Raises:
        ScenarioError: what, and what would be right.
        OSError: a picture's folder is not there.
    """
    if not 1 <= options.rigs <= RIGS_MAX:
        raise ScenarioError(f"--rigs {options.rigs}: choose 1 to {RIGS_MAX}")
    for name in ("modbus_port", "pace_port"):
        if not 0 <= getattr(options, name) <= PORT_MAX:
            raise ScenarioError(f"--{name.replace('_', '-')}: choose 0 to {PORT_MAX}, 0 picks one")
    for name in ("wait_s", "mends_after_s"):
        seconds = getattr(options, name)
        if seconds is not None and not 0 <= seconds < math.inf:
            raise ScenarioError(f"--{name.replace('_', '-')} {seconds}: give seconds from 0 up")
    if options.alone and (options.wire or options.modbus_port or options.pace != "real"):
        raise ScenarioError(
            "--alone serves nothing and waits for nobody: leave out --wire, --modbus-port, --pace"
        )
    paths = [path for path in (options.trace, options.truth, options.plot) if path is not None]
    if len({path.absolute() for path in paths}) < len(paths):
        raise ScenarioError("--trace, --truth and --plot: give each a file of its own")
    if options.plot is not None and not options.plot.absolute().parent.is_dir():
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(options.plot))


def _written_wrong(error: OSError, options: argparse.Namespace) -> str:
    """What could not be read or written, and why; a full disk does not say where."""
    records = [str(path) for path in (options.trace, options.truth, options.plot) if path]
    where = error.filename or " or ".join(records) or "the wire"
    return f"{where}: {error.strerror or error}; choose another place"


def main(arguments: list[str] | None = None) -> int:
    """Run; returns the exit status: 0 ended, 1 nobody came, 2 asked wrongly."""
    parser = _parser()
    options = parser.parse_args(arguments)
    try:
        told = _told(options)
        if told is not None:
            sys.stdout.write(told)
            return 0
        scenario = _as_asked(
            find_scenario(options.scenario),
            [read_fault(text) for text in options.fault],
            options.mends_after_s,
        )
        read_pace(options.pace)
        _wires(options)
        _asked_well(options)
        yard = Yard(scenario, rigs=options.rigs, seed=options.seed)
        sys.stderr.write(PRETEND + "\n")
        if options.alone:
            return _run_alone(options, yard)
        asyncio.run(_serve(options, yard))
    except OSError as error:
        sys.stderr.write(f"simulator: {_written_wrong(error, options)}\n")
        return EXIT_ASKED_WRONG
    except (ValueError, ServeError, PictureError) as error:
        sys.stderr.write(f"simulator: {error}\n")
        return EXIT_ASKED_WRONG
    except NobodyCameError as error:
        sys.stderr.write(f"simulator: {error}; ended\n")
        return EXIT_NOBODY_CAME
    return 0


if __name__ == "__main__":
    sys.exit(main())

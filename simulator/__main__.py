"""`python -m simulator`: a pretend rig on real wires. Nothing is heated."""

import argparse
import asyncio
import json
import signal
import sys
from contextlib import AsyncExitStack
from dataclasses import replace
from pathlib import Path

from simulator.faults import catalogue
from simulator.pace import Lockstep, Mover, NobodyCameError, read_pace, run_free
from simulator.registers import RIGS_MAX
from simulator.scenarios import (
    TAIL_S,
    PlannedFault,
    Scenario,
    ScenarioError,
    all_scenarios,
    find_scenario,
    read_fault,
)
from simulator.serve import ModbusFront, ServeError, WallPace
from simulator.yard import TruthFile, Yard

PRETEND = "PRETEND RIG, nothing is heated."
EXIT_NOBODY_CAME = 1
EXIT_ASKED_WRONG = 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m simulator",
        description=f"{PRETEND} Serves simulated rigs over Modbus TCP on 127.0.0.1 only.",
        epilog="Example: python -m simulator --scenario hose_fails --pace speed=180",
    )
    parser.add_argument("--scenario", default="whole_cure", help="what happens; see --list")
    parser.add_argument("--rigs", type=int, default=1, help=f"how many, 1 to {RIGS_MAX}")
    parser.add_argument("--modbus-port", type=int, default=0, help="0 picks one")
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
    parser.add_argument("--truth", type=Path, help="write what really is to this CSV file")
    parser.add_argument(
        "--wait-s", type=float, default=60.0, help="for a lockstep client, then give up"
    )
    parser.add_argument("--list", action="store_true", help="list scenarios and faults, and end")
    return parser


def _listing() -> str:
    lines = [PRETEND, "", "Scenarios:"]
    lines += [f"  {name:20} {scenario.title}" for name, scenario in all_scenarios().items()]
    lines += ["", "Faults:"]
    for name, kind in catalogue().items():
        keys = ", ".join(f"{key}={field.default}" for key, field in kind.model_fields.items())
        lines.append(f"  {name:20} wakes {', '.join(kind.wakes)}; {keys or 'no keys'}")
    return "\n".join(lines) + "\n"


def _as_asked(
    scenario: Scenario, faults: list[PlannedFault], mends_after_s: float | None
) -> Scenario:
    plans = scenario.plans
    if mends_after_s is not None:
        plans = tuple(replace(plan, mends_after_s=mends_after_s) for plan in plans)
    tails_s = [planned.fault.deadline_s + TAIL_S for planned in faults]
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
        truth = TruthFile(options.truth, yard) if options.truth else None
        if truth is not None:
            ends.callback(truth.close)
        mover = Mover(yard, WallPace(speed), truth.note if truth else _note_nothing)
        front = ModbusFront(yard.rigs)
        ends.push_async_callback(front.close)
        ready: dict[str, object] = {"ready": True}
        ready["modbus_port"] = await front.open(options.modbus_port)
        ready["pace_port"] = None
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


def _note_nothing() -> None:
    return


def main(arguments: list[str] | None = None) -> int:
    """Run; returns the exit status: 0 ended, 1 nobody came, 2 asked wrongly."""
    parser = _parser()
    options = parser.parse_args(arguments)
    if options.list:
        sys.stdout.write(_listing())
        return 0
    try:
        scenario = _as_asked(
            find_scenario(options.scenario),
            [read_fault(text) for text in options.fault],
            options.mends_after_s,
        )
        read_pace(options.pace)
        if not 1 <= options.rigs <= RIGS_MAX:
            raise ScenarioError(f"--rigs {options.rigs}: choose 1 to {RIGS_MAX}")
        yard = Yard(scenario, rigs=options.rigs, seed=options.seed)
        sys.stderr.write(PRETEND + "\n")
        asyncio.run(_serve(options, yard))
    except (ValueError, ServeError, OSError) as error:
        sys.stderr.write(f"simulator: {error}\n")
        return EXIT_ASKED_WRONG
    except NobodyCameError as error:
        sys.stderr.write(f"simulator: {error}; ended\n")
        return EXIT_NOBODY_CAME
    return 0


if __name__ == "__main__":
    sys.exit(main())

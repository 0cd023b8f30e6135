"""`python -m tests.bench`: one table, against the bare libraries in the same run."""

import argparse
import asyncio
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from types import FrameType
from typing import NoReturn

from daemon import logs
from daemon.tools.show import Progress
from tests.bench import bus, judging, path, plant, processes, rounds, wires, withdrawal
from tests.bench.figures import Row, machine, shown
from tests.e2e.workshop import opened

INTO_HOLD = 5400  # frames; the pretend repair is well into its hold by then
ROUNDS_MAX = 50
FRAMES_MIN, FRAMES_MAX = 20, 5000
TRIPS_MIN = 10
BEFORE_MIN = 200  # a run is open by then
REPAIR_FRAMES = 13_000  # the pretend repair is over soon after
PARTS = ("supervising", "wires", "plant", "judging")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench",
        description=(
            "Measure curehold against the bare libraries doing the same work, in turn. Figures "
            "are for this machine and disturbed by whatever else it does; the ratios less so. "
            "Nothing is heated, and all that is started ends with it."
        ),
    )
    parser.add_argument(
        "--rounds", type=int, default=5, help="how often everything is measured; 5 if not given"
    )
    parser.add_argument(
        "--frames", type=int, default=300, help="frames in each round; 300 if not given"
    )
    parser.add_argument(
        "--before",
        type=int,
        default=INTO_HOLD,
        help=f"frames that go by unmeasured first; {INTO_HOLD} if not given, into the hold",
    )
    parser.add_argument("--only", choices=PARTS, help="one part of it; all if not given")
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run; 0, or 2 when asked wrongly."""
    parser = _parser()
    asked = parser.parse_args(arguments)
    if not 1 <= asked.rounds <= ROUNDS_MAX or not FRAMES_MIN <= asked.frames <= FRAMES_MAX:
        parser.error(f"give 1 to {ROUNDS_MAX} rounds of {FRAMES_MIN} to {FRAMES_MAX} frames")
    if not BEFORE_MIN <= asked.before <= REPAIR_FRAMES - asked.rounds * asked.frames:
        parser.error(
            f"--before and all rounds must fit into the pretend repair of {REPAIR_FRAMES} frames, "
            f"with at least {BEFORE_MIN} before; give fewer"
        )
    signal.signal(signal.SIGTERM, _leave)
    logs.configure(as_json=False, level="error")
    sys.stdout.write(f"{machine()}\n\n")
    sys.stdout.flush()
    try:
        rows = []
        if asked.only in {None, "supervising"}:
            rows += _supervising(asked.rounds, asked.frames, asked.before)
        if asked.only in {None, "wires"}:
            rows += _wires(asked.rounds, asked.frames)
        if asked.only in {None, "plant"}:
            rows += _plant(asked.rounds)
        if asked.only in {None, "judging"}:
            rows += _judging(asked.rounds)
    except KeyboardInterrupt:
        return 130
    sys.stdout.write(shown(rows) + "\n")
    return 0


def _supervising(count: int, frames: int, before: int) -> list[Row]:
    trips = max(TRIPS_MIN, frames // 3)
    expected_ms = path.FRAME_MS * before + count * (
        rounds.ROUND_MS * frames
        + withdrawal.TRIP_MS * trips
        + processes.PROCESS_MS
        + processes.FRAME_MS * frames
    )
    with (
        _telling("measuring", expected_ms) as tell,
        TemporaryDirectory() as folder,
        opened(Path(folder), "whole_cure") as workshop,
    ):
        rows = asyncio.run(rounds.measured(workshop, count, frames, before, tell))
        rows += asyncio.run(withdrawal.measured(workshop.home, workshop.broker, count, trips, tell))
        return rows + processes.measured(count, frames, tell)


def _wires(count: int, frames: int) -> list[Row]:
    expected_ms = count * (wires.POLL_MS * frames + bus.cost_ms(frames))
    with _telling("measuring wires", expected_ms) as tell:
        return asyncio.run(wires.measured(count, frames, tell))


def _plant(count: int) -> list[Row]:
    with _telling("measuring the plant", plant.CURE_MS * count) as tell:
        return plant.measured(count, tell)


def _judging(count: int) -> list[Row]:
    with _telling("measuring the rules", judging.CURE_MS + judging.ROUND_MS * count) as tell:
        return judging.measured(count, tell)


@contextmanager
def _telling(what: str, expected_ms: int) -> Iterator[Callable[[int], None]]:
    """Show how far it has come; to be called with about how long each piece takes, ms."""
    progress = Progress(what, expected_ms)
    done_ms = 0

    def tell(took_ms: int) -> None:
        nonlocal done_ms
        done_ms += took_ms
        progress.reached(done_ms)

    tell(0)
    try:
        yield tell
    finally:
        progress.done()


def _leave(number: int, _frame: FrameType | None) -> NoReturn:
    """End as after an error, so that everything started is ended too."""
    sys.exit(128 + number)


if __name__ == "__main__":
    sys.exit(main())

"""`python -m tests.bench`: one table, against the bare libraries in the same run."""

import argparse
import asyncio
import signal
import sys
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from types import FrameType
from typing import NoReturn

from daemon import logs
from daemon.tools.show import Progress
from tests.bench import path, processes, rounds, withdrawal
from tests.bench.figures import Row, machine, shown
from tests.e2e.workshop import opened

INTO_HOLD = 5400  # frames; the pretend repair is well into its hold by then
ROUNDS_MAX = 50
FRAMES_MIN, FRAMES_MAX = 20, 5000
TRIPS_MIN = 10
BEFORE_MIN = 200  # a run is open by then
REPAIR_FRAMES = 13_000  # the pretend repair is over soon after


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
        rows = _measured(asked.rounds, asked.frames, asked.before)
    except KeyboardInterrupt:
        return 130
    sys.stdout.write(shown(rows) + "\n")
    return 0


def _measured(count: int, frames: int, before: int) -> list[Row]:
    trips = max(TRIPS_MIN, frames // 3)
    expected_ms = path.FRAME_MS * before + count * (
        rounds.ROUND_MS * frames
        + withdrawal.TRIP_MS * trips
        + processes.PROCESS_MS
        + processes.FRAME_MS * frames
    )
    progress = Progress("measuring", expected_ms)
    done_ms = 0

    def tell(took_ms: int) -> None:
        nonlocal done_ms
        done_ms += took_ms
        progress.reached(done_ms)

    tell(0)
    try:
        with TemporaryDirectory() as folder, opened(Path(folder), "whole_cure") as workshop:
            rows = asyncio.run(rounds.measured(workshop, count, frames, before, tell))
            rows += asyncio.run(
                withdrawal.measured(workshop.home, workshop.broker, count, trips, tell)
            )
        return rows + processes.measured(count, frames, tell)
    finally:
        progress.done()


def _leave(number: int, _frame: FrameType | None) -> NoReturn:
    """End as after an error, so that everything started is ended too."""
    sys.exit(128 + number)


if __name__ == "__main__":
    sys.exit(main())

"""The bench at its smallest: every row is there, and nothing it started is left.

How long anything takes is not looked at: that is for `python -m tests.bench` on
a quiet machine.
"""

import asyncio
import math
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import asynccontextmanager, contextmanager, nullcontext, suppress
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.modbus import RtuSettings
from drivers.serial_lines.fake import board_line
from tests.bench import bus, lines, wires
from tests.bench.__main__ import main
from tests.bench.board import VALUES, board
from tests.bench.figures import percentile, shown, to_bare
from tests.bench.turns import turn
from tests.bench.wire import served

ROOT = Path(__file__).parents[2]
SMALLEST = ("--rounds", "1", "--frames", "20", "--before", "200")
STARTED_S = 0.3
GUARD_S = 100
ROWS = {
    "CPU per frame, whole path": "bare",
    "Modbus reads, alone": "bare",
    "store, within": "bare",
    "a state over MQTT, alone": "bare",
    "rules.step, within": "path",
    "rules.step, back to back": "path",
    "frame codec, within": "path",
    "a plain channel, back to back": "path",
    "a thermocouple, back to back": "path",
    "replay of a stored run": "real time",
    "frame to permit withdrawn, median": "bare",
    "frame to permit withdrawn, 99th percentile": "bare",
    "resident memory": "bare",
    "resident memory, shared pages split": "bare",
    "start to first judged frame": "bare",
    "Modbus TCP, a reading, to pymodbus": "bare",
    "Modbus TCP, a reading, to a socket": "bare",
    "Modbus TCP, a poll, to pymodbus": "bare",
    "Modbus RTU, a reading, to pymodbus": "bare",
    "Modbus RTU, a reading, to a port": "bare",
    "Modbus RTU, a poll, to pymodbus": "bare",
    "serial lines, a reading, to pyserial": "bare",
    "serial lines, a reading, to a port": "bare",
    "32 units, 8 dead: a living one's turn": "none dead",
    "judging a frame in preheat": "bare",
    "judging a frame in heat_up": "bare",
    "judging a frame in cure": "bare",
    "judging a frame in cool_down": "bare",
    "32 units, 8 dead: sample to sample": "none dead",
    "32 units, 8 dead: a whole poll": "none dead",
    "plant: an hour of a cure at 1 Hz": "bare",
    "plant: a fork in the hold": "bare",
}
PROGRAMS_MIN = 2  # of either part: the bench itself and one beside it
MS = 1_000_000


@contextmanager
def bench(*arguments: str) -> Iterator["subprocess.Popen[str]"]:
    """A bench, running in a session of its own."""
    command = [sys.executable, "-m", "tests.bench", *arguments]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    with subprocess.Popen(command, cwd=ROOT, text=True, start_new_session=True, **pipes) as process:
        try:
            yield process
        finally:
            # What it may have left holds its pipes, and would be waited for.
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)


def session_of(process: "subprocess.Popen[str]") -> list[str]:
    """The programs that run in the session of a bench.

    Source:
        proc(5): field 6 of stat is the session, field 3 the state; Z has ended.
    """
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            head, _, tail = stat.read_text().rpartition(")")
        except (FileNotFoundError, ProcessLookupError):  # it ended while we looked
            continue
        state, _, _, session = tail.split()[:4]
        if int(session) == process.pid and state != "Z":
            found.append(head.partition("(")[2])
    return found


def test_smallest_bench_prints_every_row_with_finite_ratios_and_leaves_nothing():
    with bench(*SMALLEST) as process:
        table, errors = process.communicate(timeout=GUARD_S)
        assert process.returncode == 0, errors
        assert not errors
        assert session_of(process) == []
    ends = tuple(f"  {against}" for against in ROWS.values())
    lines = [line for line in table.splitlines() if line.endswith(ends)]
    found = {}
    for line in lines:
        figures, _, against = line.rpartition("  ")
        name, *ratios = figures.strip().rsplit(maxsplit=3)
        low, middle, high = map(float, ratios)
        assert 0 < low <= middle <= high
        assert math.isfinite(high)
        found[next(row for row in sorted(ROWS, key=len, reverse=True) if name.startswith(row))] = (
            against
        )
    assert found == ROWS
    assert "Other load on the machine disturbs" in table


@pytest.mark.parametrize(
    ("part", "runs", "runs_not"),
    [
        ("supervising", {"mosquitto", "mosquitto_sub"}, set()),
        ("wires", {"python"}, {"mosquitto", "mosquitto_sub"}),
    ],
)
def test_a_bench_told_to_end_ends_what_it_started(part, runs, runs_not):
    with bench(*SMALLEST, "--only", part) as process:
        running: list[str] = []
        while not (runs <= set(running) and len(running) >= PROGRAMS_MIN):
            assert process.poll() is None, process.communicate()[1]
            running = session_of(process)
        # Not in the instant of its start, when no program yet knows that it has a child.
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(STARTED_S)
        assert not runs_not & set(session_of(process))
        process.send_signal(signal.SIGTERM)
        assert process.wait(GUARD_S) == 128 + signal.SIGTERM
        assert session_of(process) == []


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--rounds", "0"), "give 1 to 50 rounds"),
        (("--frames", "19"), "of 20 to 5000 frames"),
        (("--before", "199"), "at least 200 before"),
        (("--rounds", "50", "--frames", "5000"), "must fit into the pretend repair"),
    ],
)
def test_what_cannot_be_measured_is_refused(arguments, told, capsys):
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    assert told in " ".join(capsys.readouterr().err.split())


@given(st.lists(st.floats(-1e6, 1e6), min_size=1), st.sampled_from([1, 50, 90, 99, 100]))
def test_percentile_is_that_of_numpy(values, percent):
    # numpy's "inverted_cdf" is definition 1 of Hyndman and Fan (1996).
    assert percentile(values, percent) == np.percentile(values, percent, method="inverted_cdf")


def test_ratio_is_of_each_round_not_of_the_medians():
    row = to_bare("x", "us", [10.0, 20.0, 90.0], [5.0, 20.0, 30.0])
    assert row.ratio == [2.0, 1.0, 3.0]
    line = shown([row]).splitlines()[2]
    assert line.split() == ["x", "20", "20", "us", "1", "2", "3", "bare"]


async def test_a_link_that_does_not_read_all_is_not_compared(tmp_path):
    with served("rtu", tmp_path / "bus", *wires.UNITS[:-1]) as path:
        settings = RtuSettings(device=path, parity="none", timeout_s=0.05)
        with pytest.raises(RuntimeError, match="would not do the same work"):
            async with wires.linked(settings) as poll:
                await poll()


@pytest.mark.parametrize("contestant", [lines.linked, lines.split, lines.by_library])
async def test_each_waits_for_the_line_that_was_told(tmp_path, contestant):
    with board(tmp_path / "board") as told:
        async with contestant(told) as poll:
            before = told.said
            await turn(partial(nullcontext, poll), 3, told.say)
            assert told.said == before + 4
            if contestant is not lines.by_library:  # that one waits as long as it reads
                told.said += 1
                with pytest.raises(TimeoutError):
                    async with asyncio.timeout(0.1):
                        await poll()
                told.said -= 1


def test_floats_of_a_line_are_the_boards_values():
    line = board_line("key_value", 7, VALUES)
    assert lines.floats(line) == {key.encode(): float(text) for key, text in VALUES.items()}


async def test_the_poll_that_connects_is_not_measured():
    polled = []

    @asynccontextmanager
    async def opened():
        async def poll():
            polled.append(len(polled))

        yield poll

    await turn(opened, 3)
    assert polled == [0, 1, 2, 3]


def polls(living_ms: float, whole_ms: float, live: list[int]) -> list[bus.Polled]:
    """Invented: one every 250 ms, each unit at an even pace."""
    step_ms = living_ms / len(live)
    return [
        bus.Polled(
            began_ns=250 * MS * number,
            ended_ns=round((250 * number + whole_ms) * MS),
            read_ns={
                unit: round((250 * number + step_ms * (place + 1)) * MS)
                for place, unit in enumerate(live)
            },
        )
        for number in range(bus.SETTLING_POLLS + 4)
    ]


def test_the_living_are_compared_each_and_the_probe_beside_them():
    with_dead, with_none = polls(72, 125, bus.LIVING), polls(64, 64, list(bus.UNITS))
    turn, apart, whole = bus._rows([with_dead], [with_none])
    assert (*turn.ours, *turn.bare, *turn.ratio) == pytest.approx((3, 2, 1.5))
    assert (*apart.ours, *apart.bare, *apart.ratio) == pytest.approx((250, 250, 1))
    assert (*whole.ours, *whole.bare, *whole.ratio) == pytest.approx((125, 64, 125 / 64))
    assert "takes 53.0 ms" in whole.note

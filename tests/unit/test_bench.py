"""The bench at its smallest: every row is there, and nothing it started is left.

How long anything takes is not looked at: that is for `python -m tests.bench` on
a quiet machine.
"""

import math
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.bench.__main__ import main
from tests.bench.figures import percentile, shown, to_bare

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
    "replay of a stored run": "real time",
    "frame to permit withdrawn, median": "bare",
    "frame to permit withdrawn, 99th percentile": "bare",
    "resident memory": "bare",
    "resident memory, shared pages split": "bare",
    "start to first judged frame": "bare",
}


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
    lines = [
        line for line in table.splitlines() if line.endswith(("  bare", "  path", "real time"))
    ]
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


def test_a_bench_told_to_end_ends_what_it_started():
    with bench(*SMALLEST) as process:
        running: list[str] = []
        while not {"mosquitto", "mosquitto_sub"} <= set(running):
            assert process.poll() is None, process.communicate()[1]
            running = session_of(process)
        # Not in the instant of its start, when no program yet knows that it has a child.
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(STARTED_S)
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

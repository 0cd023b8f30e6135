"""Runs with no daemon: the countdown, forks, trace and truth to the byte, the picture."""

import copy
import csv
import pickle
import re
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from daemon.csv_trace import read_trace
from simulator import picture
from simulator.countdown import CountdownYard
from simulator.crew import RepairPlan, Stage
from simulator.faults import catalogue
from simulator.faults.base import Onset
from simulator.listing import about_text, deadline_words, faults_text, scenarios_text
from simulator.planned import PlannedFault, Scenario
from simulator.recording import TraceFile, TruthFile
from simulator.yard import Yard

SVG = "{http://www.w3.org/2000/svg}"
SHORT = Scenario("short", "a short one, invented", plans=(RepairPlan(hold_s=1800.0),))


@pytest.fixture(scope="module")
def in_hold():
    run = CountdownYard(Yard(SHORT, rigs=1, seed=4))
    while run.yard.crews[0].stage is not Stage.HOLD:
        run.advance()
    return run


def state(yard):
    """All that shows and all that is hidden."""
    return [
        (rig.truth(), rig.measured(), rig.slab.cells_c.tolist(), rig.cured.edge_min.tolist())
        for rig in yard.rigs
    ]


def planned(name, after_s=0.0):
    return PlannedFault(name, catalogue()[name](), Onset(after_s))


def command(*arguments):
    line = [sys.executable, "-m", "simulator", *map(str, arguments)]
    return subprocess.run(line, capture_output=True, text=True, timeout=60, check=False)


def test_the_countdown_gives_heat_on_start_and_takes_it_at_the_end(in_hold):
    run = in_hold.fork()
    rig, crew = run.yard.rigs[0], run.yard.crews[0]
    assert rig.relays.contact("heat_permit")
    while rig.relays.contact("heat_permit") and not run.yard.over:
        run.advance()
    assert crew.in_stage_s(rig.now_s) == pytest.approx(1800, abs=30)
    while crew.stage is Stage.HOLD and not run.yard.over:
        run.advance()
    assert not rig.relays.contact("heat_permit")


def test_the_countdown_trips_on_nothing(in_hold):
    run = in_hold.fork([planned("thermostat_stuck")], tail_s=3600.0)
    run.run_until(run.yard.now_s + 1700)
    assert run.yard.rigs[0].pads["inner"].temperature_c > 150.0
    assert run.yard.rigs[0].relays.contact("heat_permit")
    assert not run.yard.rigs[0].relays.contact("beacon_red")


def test_a_fork_goes_on_to_the_bit_and_leaves_its_like_alone(in_hold):
    yard = copy.deepcopy(in_hold.yard)
    forked, broken = yard.fork(), yard.fork([planned("hose_burst", yard.now_s + 5)])
    thawed = pickle.loads(pickle.dumps(yard))  # noqa: S301 - our own bytes
    before = state(yard)
    for _ in range(60):
        broken.advance()
    assert state(yard) == before
    for _ in range(60):
        for one in (yard, forked, thawed):
            one.advance()
    assert state(yard) == state(forked) == state(thawed)
    assert state(broken) != state(yard)
    assert list(broken.struck()) == ["hose_burst"]
    assert yard.struck() == {}


def records(folder, yard, until_s):
    trace, truth = TraceFile(folder / "trace.csv", yard), TruthFile(folder / "truth.csv", yard)
    run = CountdownYard(yard)
    while yard.now_s < until_s:
        run.advance()
        trace.note()
        truth.note()
    trace.close()
    truth.close()
    return [
        list(csv.DictReader((folder / name).read_text(encoding="utf-8").splitlines()))
        for name in ("trace.csv", "truth.csv")
    ]


def test_the_trace_is_one_that_replay_reads(tmp_path):
    broken = replace(SHORT, faults=(planned("thermocouple_open", 30.0),))
    rows, _ = records(tmp_path, Yard(broken, rigs=2, seed=1), 60)
    assert [float(row["time_s"]) for row in rows] == list(range(1, 61))
    assert rows[10]["pad_inner_c"] != ""
    assert rows[50]["pad_inner_c"] == ""
    assert rows[50]["pad_outer_c"] != ""
    assert {row["pins_in"] for row in rows} == {"0"}
    trace = read_trace(tmp_path / "trace.csv")
    assert trace.frames[0].values["pad_outer_c"].value == float(rows[0]["pad_outer_c"])


def test_the_truth_has_a_row_every_10_s_and_one_for_each_change(tmp_path):
    broken = replace(SHORT, faults=(planned("module_silent", 33.0),))
    yard = Yard(broken, rigs=2, seed=1)
    _, rows = records(tmp_path, yard, 62)
    first = [row for row in rows if row["rig"] == "1"]
    times_s = [float(row["time_s"]) for row in first]
    assert set(range(1, 62, 10)) <= set(times_s)
    struck_at_s = next(float(row["time_s"]) for row in first if row["broken"])
    assert struck_at_s == 33.0
    began_s = next(float(row["time_s"]) for row in first if row["stage"] == "preheat")
    assert began_s == 20.0
    assert {row["broken"] for row in rows if row["rig"] == "2"} == {""}
    depths = [name for name in rows[0] if re.fullmatch(r"true_centre_[\d.]+_mm_c", name)]
    assert len(depths) == yard.rigs[0].slab.depth_mm.size
    assert {f"{name.removesuffix('c')}cured_min" for name in depths} <= set(rows[0])
    assert {float(rows[0][name]) for name in depths} == {20.0}


def test_no_truth_is_on_the_wire_or_in_the_trace(in_hold):
    rig = in_hold.yard.rigs[0]
    assert all(name.startswith("true_") for name in rig.truth())
    assert not [name for name in rig.measured() if "true" in name]


@pytest.mark.parametrize(("seeds", "same"), [((7, 7), True), ((7, 8), False)])
def test_a_seed_repeats_trace_truth_and_picture_to_the_byte(tmp_path, seeds, same):
    told = []
    for number, seed in enumerate(seeds):
        names = [tmp_path / f"{number}.{end}" for end in ("csv", "truth.csv", "svg")]
        done = command(
            *("--alone", "--scenario", "hose_burst", "--seed", seed),
            *("--trace", names[0], "--truth", names[1], "--plot", names[2]),
        )
        assert done.returncode == 0, done.stderr
        told.append([name.read_bytes() for name in names])
    assert [one == other for one, other in zip(*told, strict=True)] == [same] * 3


def test_the_picture_says_what_it_is_what_broke_and_when(tmp_path):
    drawn = tmp_path / "run.svg"
    done = command("--alone", "--scenario", "hose_burst", "--plot", drawn)
    assert done.returncode == 0, done.stderr
    root = ElementTree.parse(drawn).getroot()  # noqa: S314 - drawn by ourselves
    words = " ".join("".join(text.itertext()) for text in root.iter(f"{SVG}text"))
    for wanted in ("PRETEND RIG", "hose burst", "Nothing was heated", "pad, °C", "bag, kPa"):
        assert wanted in words


def test_no_picture_of_nothing(tmp_path):
    drawn = picture.Picture(Yard(SHORT, rigs=1, seed=1))
    with pytest.raises(picture.PictureError, match="shorter than a minute"):
        drawn.write(tmp_path / "none.svg")
    assert not (tmp_path / "none.svg").exists()


def test_without_the_drawing_library_it_is_told_before_the_run(monkeypatch):
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    with pytest.raises(picture.PictureError, match=r"curehold\[plot\]"):
        picture.Picture(Yard(SHORT, rigs=1, seed=1))


def test_only_a_picture_loads_the_drawing_library():
    source = "import sys, simulator.__main__; print('matplotlib' in sys.modules)"
    line = [sys.executable, "-c", source]
    assert subprocess.run(line, capture_output=True, text=True, check=True).stdout == "False\n"


@pytest.mark.parametrize(
    ("arguments", "wanted"),
    [
        (("--list",), ("whole_cure", "thermostat_stuck", "Disturbances")),
        (("--list", "scenarios"), ("whole_cure",)),
        (("--list", "faults"), ("thermostat_stuck", "Disturbances")),
        (("--about", "slow_leak"), ("kpa_per_h=45.0   30 to 2000", "Deadline", "Wakes: bag.drift")),
    ],
)
def test_what_there_is_can_be_read(arguments, wanted):
    done = command(*arguments)
    assert done.returncode == 0, done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 80
    for word in wanted:
        assert word in done.stdout


def test_all_about_every_fault_fits_a_terminal():
    for name in catalogue():
        told = about_text(name)
        assert max(map(len, told.splitlines())) <= 80, name
        assert told.startswith(f"{name}\n\n")


def test_every_fault_and_disturbance_is_listed():
    shown = command("--list", "faults").stdout
    assert [name for name in catalogue() if name not in shown] == []


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--about", "nonsense"), "no fault is called 'nonsense'"),
        (("--alone", "--scenario", "nonsense"), "no scenario is called 'nonsense'"),
        (("--wire", "smoke"), "wire 'smoke' is none of tcp"),
        (("--alone", "--trace", "/nowhere/at/all.csv"), "/nowhere/at/all.csv: No such file"),
        (("--alone", "--trace", "/dev/full"), "/dev/full: No space left"),
        (("--alone", "--wire", "rtu"), "--alone serves nothing"),
        (("--alone", "--pace", "lockstep"), "--alone serves nothing"),
        (("--modbus-port", "70000"), "--modbus-port: choose 0 to 65535"),
        (("--pace-port", "-1"), "--pace-port: choose 0 to 65535"),
        (("--wait-s", "-1"), "--wait-s -1.0: give seconds from 0 up"),
        (("--mends-after-s", "nan"), "--mends-after-s nan: give seconds from 0 up"),
        (("--alone", "--trace", "x.csv", "--truth", "x.csv"), "give each a file of its own"),
        (("--alone", "--plot", "/nowhere/x.svg"), "/nowhere/x.svg: No such file"),
    ],
)
def test_asked_wrongly_it_says_so(arguments, told):
    done = command(*arguments)
    assert done.returncode == 2
    assert told in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_stopped_it_finishes_its_files_and_says_where_they_end(tmp_path, number):
    names = [tmp_path / "t.csv", tmp_path / "truth.csv"]
    line = [sys.executable, "-m", "simulator", "--alone", "--scenario", "repair_of_80_mm"]
    line += ["--trace", str(names[0]), "--truth", str(names[1])]
    with subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        # Once it writes it is under way, and far from its end.
        while not (names[0].exists() and names[0].stat().st_size):
            assert process.poll() is None
        process.send_signal(number)
        told, errors = process.communicate(timeout=60)
    assert process.returncode == 128 + number
    assert b"the files end there" in errors
    assert b"Traceback" not in errors
    assert told.decode() == f"trace: {names[0]}\ntruth: {names[1]}\n"
    for name in names:
        rows = list(csv.reader(name.read_text(encoding="utf-8").splitlines()))
        assert len({len(row) for row in rows}) == 1


def test_a_wire_that_cannot_be_had_leaves_no_file(tmp_path):
    (tmp_path / "bus").write_text("in the way")
    asked = ("--wire", f"rtu:{tmp_path / 'bus'}", "--trace", tmp_path / "t.csv")
    done = command(*asked)
    assert done.returncode == 2
    assert sorted(tmp_path.iterdir()) == [tmp_path / "bus"]


@pytest.mark.parametrize("columns", [40, 60, 200])
def test_lists_keep_to_the_terminal(columns, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(columns))
    told = scenarios_text() + faults_text() + about_text("slow_leak")
    longest = max(len(line) for line in told.splitlines() if " " in line.strip())
    assert longest <= min(columns, 80)
    assert longest > min(columns, 80) - 10


@pytest.mark.parametrize(
    ("deadline_s", "words"),
    [(11.9, "11 s"), (119.9, "119 s"), (299.0, "4.9 min"), (719.0, "11 min"), (9000.0, "2.5 h")],
)
def test_a_deadline_is_told_to_the_early_side(deadline_s, words):
    assert deadline_words(deadline_s) == words


def test_files_are_told_and_nothing_else_is_written(tmp_path):
    done = command("--alone", "--scenario", "pins_pulled", "--trace", tmp_path / "t.csv")
    assert done.stdout == f"trace: {tmp_path / 't.csv'}\n"
    assert done.stderr == "PRETEND RIG, nothing is heated.\n"
    assert sorted(Path(tmp_path).iterdir()) == [tmp_path / "t.csv"]

"""A CSV trace judged by the command line's own path: phases, hazards, JSON.

All courses are invented, straight lines between points a person can follow.
"""

import dataclasses
import itertools
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.csv_trace import read_trace
from daemon.replay import fold_trace
from daemon.tools.replays import replay_trace
from rules.channels import BY_NAME, Kind
from rules.events import EVENT_TYPES
from rules.hazards import BY_TAG
from rules.limits import Limits, LimitsBase

PERIODS_S = (0.5, 1, 10, 60)
COLD = {
    "pad_inner_c": 20.0,
    "pad_outer_c": 20.0,
    "bag_inner_kpa": 0.0,
    "bag_outer_kpa": 0.0,
    "pins_in": 0.0,
    "here_button": 0.0,
}
HOT = {
    "pad_inner_c": 140.0,
    "pad_outer_c": 139.0,
    "bag_inner_kpa": 207.0,
    "bag_outer_kpa": 206.0,
    "pins_in": 1.0,
    "here_button": 0.0,
}
PADS_C = ("pad_inner_c", "pad_outer_c")
BAGS_KPA = ("bag_inner_kpa", "bag_outer_kpa")
Leg = tuple[float, dict[str, float | None]]
Line = dict[str, Any]


def pads(value: float | None) -> dict[str, float | None]:
    return dict.fromkeys(PADS_C, value)


def bags(value: float | None) -> dict[str, float | None]:
    return dict.fromkeys(BAGS_KPA, value)


def course(
    path: Path,
    start: dict[str, float],
    legs: list[Leg],
    period_s: float,
    *,
    only: tuple[str, ...] = (),
    visits_s: float = 1200,
) -> None:
    """Write a trace: each leg goes in a straight line to its targets; None empties the cell.

    A switch changes at the leg's begin. Someone presses here each `visits_s`;
    a leg with the target `{}` alone goes on as it is, and one of the name
    "gap" writes no rows.
    """
    names = [name for name in start if not only or name in only]
    now: dict[str, float | None] = dict(start)
    t_s, visited_s = 0.0, 0.0
    lines = [",".join(["time_s", *names])]
    for seconds, targets in legs:
        begin, count = dict(now), max(1, round(seconds / period_s))
        if "gap" in targets:
            t_s += seconds
            continue
        for index in range(1, count + 1):
            for name, target in targets.items():
                was = begin[name]
                if target is None or was is None or BY_NAME[name].kind is Kind.SWITCH:
                    now[name] = target
                else:
                    now[name] = was + (target - was) * index / count
            if now["here_button"] is not None:
                now["here_button"] = float(t_s - visited_s >= visits_s)
                visited_s = t_s if now["here_button"] else visited_s
            cells = ["" if now[name] is None else f"{now[name]:.3f}" for name in names]
            lines.append(",".join([f"{t_s:.3f}", *cells]))
            t_s += period_s
    path.write_text("\n".join(lines) + "\n")


def replayed(
    path: Path, capsys: pytest.CaptureFixture[str], limits: LimitsBase | None = None
) -> list[Line]:
    """The JSON lines that `curehold replay TRACE.csv --json` prints."""
    capsys.readouterr()
    assert replay_trace(path, limits, "test", as_json=True) == 0
    return [
        json.loads(line, parse_constant=pytest.fail)
        for line in capsys.readouterr().out.splitlines()
    ]


def alarms(lines: list[Line]) -> set[tuple[str, str]]:
    return {(line["tag"], line["state"]) for line in lines if line["event"] == "alarm"}


def phases(lines: list[Line]) -> list[str]:
    return [line["phase"] for line in lines if line["event"] == "phase"]


MINUTE = 60.0
WHOLE_CURE: list[Leg] = [
    (3 * MINUTE, {}),
    (20 * MINUTE, pads(60)),
    (10 * MINUTE, pads(50)),
    (4 * MINUTE, {**bags(207), "pins_in": 1.0}),
    (2 * MINUTE, {}),
    (25 * MINUTE, pads(140)),
    (20 * MINUTE, {}),
    (50 * MINUTE, pads(90)),
    (4 * MINUTE, bags(0)),
    (5 * MINUTE, {"pins_in": 0.0}),
]
WHOLE_PHASES = [
    "preheat",
    "fitting",
    "inflation",
    "heat_up",
    "cure",
    "cool_down",
    "release",
    "done",
]


@pytest.mark.parametrize("period_s", PERIODS_S)
def test_a_whole_cure_goes_through_every_phase_without_an_alarm(tmp_path, capsys, period_s):
    course(tmp_path / "cure.csv", COLD, WHOLE_CURE, period_s)
    lines = replayed(tmp_path / "cure.csv", capsys)
    assert phases(lines) == WHOLE_PHASES
    assert alarms(lines) == set()
    assert [line["event"] for line in lines if line["event"].startswith("run_")] == [
        "run_opened",
        "run_closed",
    ]
    (closed,) = (line for line in lines if line["event"] == "run_closed")
    assert closed["outcome"] == "done"
    # 20 min at 140, 5.6 of the way up from 120 at 3.6 C/min, and 10 of the way down at
    # 1 C/min: from there on it is a cool-down, in which the clock stands.
    assert closed["hold_s"] == pytest.approx((20 + 5.6 + 10) * MINUTE, rel=0.06)
    assert closed["peak_c"] == 140.0
    began = {line["phase"]: line["t_s"] for line in lines if line["event"] == "phase"}
    # Each phase is seen within the time its row of the table asks for, or a few rows.
    slack_s = 4 * period_s
    for phase, earliest_s, within_s in (
        ("preheat", 180, 6 * MINUTE),
        ("fitting", 23 * MINUTE, 7 * MINUTE),
        ("inflation", 33 * MINUTE, MINUTE),
        ("heat_up", 36 * MINUTE, 5 * MINUTE),
        ("cure", 58 * MINUTE, 3 * MINUTE),
        ("cool_down", 84 * MINUTE, 17 * MINUTE),
        ("release", 125 * MINUTE, 11 * MINUTE),
        ("done", 137 * MINUTE, 3 * MINUTE),
    ):
        assert earliest_s <= began[phase] <= earliest_s + within_s + slack_s, phase


@pytest.mark.parametrize("period_s", [1, 60])
def test_air_lost_while_hot_aborts_and_a_cold_rig_is_free_again(tmp_path, capsys, period_s):
    legs: list[Leg] = [
        (5 * MINUTE, {}),
        (3 * MINUTE, bags(0)),
        (5 * MINUTE, {}),
        (20 * MINUTE, pads(40)),
    ]
    course(tmp_path / "lost.csv", HOT, legs, period_s)
    lines = replayed(tmp_path / "lost.csv", capsys)
    assert phases(lines) == ["cure", "aborted", "idle"]
    assert {"release.hot", "bag.low"} <= {tag for tag, state in alarms(lines) if state == "trip"}


CALM: Leg = (5 * MINUTE, {})
WIRED = {
    "mains_ok": 1.0,
    "estop_ok": 1.0,
    "cutout_ok": 1.0,
    "supervisor_power_ok": 1.0,
    "reset_button": 0.0,
    "supply_kpa": 700.0,
}


def after(seconds: float, **targets: float | None) -> list[Leg]:
    """All is well for five minutes; then straight lines; then it stays so."""
    return [CALM, (seconds, targets), (5 * MINUTE, {})]


TRIPS: dict[str, tuple[list[Leg], str]] = {
    "pad.overtemperature": (after(2 * MINUTE, pad_inner_c=160), "trip"),
    "pad.sensor": (after(5 * MINUTE, pad_outer_c=None), "trip"),
    "pad.mismatch": (after(25 * MINUTE, pad_inner_c=147, pad_outer_c=131), "warn"),
    "pad.undertemperature": (
        [CALM, *after(30 * MINUTE), *after(20 * MINUTE, pad_inner_c=124)],
        "warn",
    ),
    "bag.low": (after(12 * MINUTE, bag_outer_kpa=145), "trip"),
    "bag.high": (after(12 * MINUTE, bag_outer_kpa=320), "trip"),
    "bag.drift": (after(30 * MINUTE, bag_inner_kpa=152), "trip"),
    "bag.imbalance": (after(12 * MINUTE, bag_outer_kpa=182), "warn"),
    "bag.sensor": (after(5 * MINUTE, bag_outer_kpa=None), "warn"),
    "bag.burst": (after(3, bag_inner_kpa=20), "trip"),
    "supply.low": (after(3 * MINUTE, supply_kpa=150), "warn"),
    "mains.lost": (after(3 * MINUTE, mains_ok=0), "warn"),
    "rig.estop": (after(3 * MINUTE, estop_ok=0), "warn"),
    "rig.cutout_open": (after(3 * MINUTE, cutout_ok=0), "trip"),
    "rig.switch_unread": (after(5 * MINUTE, estop_ok=None), "warn"),
    "rig.button_stuck": (after(5 * MINUTE, reset_button=1), "warn"),
    "supervisor.on_battery": (after(5 * MINUTE, supervisor_power_ok=0), "warn"),
    "release.hot": ([CALM, (3 * MINUTE, bags(100)), (3 * MINUTE, {})], "trip"),
    "cure.pressure_lost": ([CALM, (3 * MINUTE, bags(100)), (3 * MINUTE, {})], "warn"),
    "release.pins_under_pressure": (after(3 * MINUTE, pins_in=0), "trip"),
    "run.unattended": ([CALM, (80 * MINUTE, {"here_button": 0.0})], "trip"),
    "run.interrupted": ([CALM, (9 * MINUTE, {"gap": 0}), (3 * MINUTE, {})], "warn"),
    "link.stale": ([CALM, (15 * MINUTE, dict.fromkeys(HOT, None))], "trip"),
}
# What a trace of a watched rig has not: read-backs, the permit, the supervisor's own
# health, a start from cold. Their stories through the whole step are in these files.
TOLD_ELSEWHERE = {
    "broker.offline": "test_hazard_stories.py",
    "clock.jump": "test_release_and_rig.py",
    "delivery.failing": "test_hazard_stories.py",
    "horn.failed": "test_release_and_rig.py",
    "output.mismatch": "test_hazard_stories.py",
    "pad.heat_after_cutoff": "test_hazard_stories.py",
    "pad.hot_to_touch": "test_attendance.py",
    "pad.not_heating": "test_hazard_stories.py",
    "permit.bypassed": "test_hazard_stories.py",
    "rig.not_commissioned": "test_hazard_stories.py",
    "run.fitted_outside_preheat": "test_attendance.py",
    "run.heat_without_pressure": "test_attendance.py",
    "run.hold_complete": "test_attendance.py",
    "run.overrun": "test_attendance.py",
    "run.pins_not_in": "test_release_and_rig.py",
    "run.time_not_set": "test_attendance.py",
    "site.energised_at_end_of_day": "test_attendance.py",
    "store.failing": "test_release_and_rig.py",
    "store.filling": "test_hazard_stories.py",
}


def test_every_hazard_there_is_has_its_story():
    assert set(TRIPS) | set(TOLD_ELSEWHERE) == set(BY_TAG)
    assert not set(TRIPS) & set(TOLD_ELSEWHERE)
    here = Path(__file__).parent
    for tag, where in TOLD_ELSEWHERE.items():
        assert tag in (here / where).read_text(encoding="utf-8"), (tag, where)


@pytest.mark.parametrize("period_s", PERIODS_S)
@pytest.mark.parametrize("tag", [pytest.param(tag, marks=pytest.mark.proves(tag)) for tag in TRIPS])
def test_each_hazard_speaks_in_a_trace_of_any_period(tmp_path, capsys, tag, period_s):
    legs, state = TRIPS[tag]
    visits_s = 1e9 if tag == "run.unattended" else 1200
    course(tmp_path / "story.csv", HOT | WIRED, legs, period_s, visits_s=visits_s)
    lines = replayed(tmp_path / "story.csv", capsys)
    assert (tag, state) in alarms(lines)
    first_s = min(line["t_s"] for line in lines if line["event"] == "alarm")
    assert first_s >= CALM[0], "an alarm before anything was wrong"


@pytest.mark.parametrize("period_s", [1, 60])
def test_a_calm_hold_raises_nothing(tmp_path, capsys, period_s):
    course(tmp_path / "calm.csv", HOT, [(45 * MINUTE, {})], period_s)
    stated = Limits.model_validate({"facts": {"hold_min": 150.0, "commissioned_on": "2026-03-14"}})
    lines = replayed(tmp_path / "calm.csv", capsys, stated)
    assert alarms(lines) == set()
    assert not [line for line in lines if line["event"] == "prompt"]


def test_an_open_sensor_is_told_once_and_not_as_a_dead_module(tmp_path, capsys):
    course(tmp_path / "open.csv", HOT, TRIPS["pad.sensor"][0], 1)
    assert {tag for tag, _ in alarms(replayed(tmp_path / "open.csv", capsys))} == {"pad.sensor"}
    course(tmp_path / "dead.csv", HOT, TRIPS["link.stale"][0], 1)
    assert {tag for tag, _ in alarms(replayed(tmp_path / "dead.csv", capsys))} == {"link.stale"}


SUBSETS = {
    "only pads": PADS_C,
    "only bags": BAGS_KPA,
    "one pad and one bag": ("pad_inner_c", "bag_inner_kpa"),
    "one bag": ("bag_outer_kpa",),
    "a pad and the button": ("pad_outer_c", "here_button"),
    "only switches": ("pins_in", "here_button"),
}
NEEDS = {
    "pad.overtemperature": set(PADS_C),
    "pad.sensor": set(PADS_C),
    "bag.low": set(BAGS_KPA),
    "bag.drift": set(BAGS_KPA),
    "bag.burst": set(BAGS_KPA),
    "release.hot": set(BAGS_KPA),
    "release.pins_under_pressure": {"pins_in"},
    "run.unattended": {"here_button"},
}


@pytest.mark.parametrize("fitted", SUBSETS)
def test_what_is_not_covered_is_not_judged_and_never_raises(tmp_path, capsys, fitted):
    only = SUBSETS[fitted]
    for start, legs in [(COLD, WHOLE_CURE), *((HOT | WIRED, legs) for legs, _ in TRIPS.values())]:
        course(tmp_path / "part.csv", start, legs, 10, only=only)
        for tag, _ in alarms(replayed(tmp_path / "part.csv", capsys)):
            assert not NEEDS.get(tag, set()) or NEEDS[tag] & set(only), (tag, only)


def test_one_pad_and_one_bag_are_judged_for_what_they_are(tmp_path, capsys):
    only = SUBSETS["one pad and one bag"]
    course(tmp_path / "cure.csv", COLD, WHOLE_CURE, 10, only=only)
    assert phases(replayed(tmp_path / "cure.csv", capsys)) == WHOLE_PHASES
    for tag in ("pad.overtemperature", "bag.burst"):
        course(tmp_path / "story.csv", HOT | WIRED, TRIPS[tag][0], 1, only=only)
        assert (tag, "trip") in alarms(replayed(tmp_path / "story.csv", capsys))


def test_every_line_has_what_is_documented(tmp_path, capsys):
    course(tmp_path / "story.csv", HOT, TRIPS["bag.burst"][0], 1)
    text = (tmp_path / "story.csv").read_text().splitlines()
    for offset, row in enumerate(text[1:], start=1):
        seconds, _, rest = row.partition(",")
        text[offset] = (
            f"2026-03-14T07:{int(float(seconds)) // 60:02d}:{int(float(seconds)) % 60:02d}Z,{rest}"
        )
    (tmp_path / "utc.csv").write_text("\n".join(["time_utc" + text[0][6:], *text[1:]]))
    with_utc = replayed(tmp_path / "utc.csv", capsys)
    seconds = replayed(tmp_path / "story.csv", capsys)
    assert [line["t_s"] for line in with_utc] == [line["t_s"] for line in seconds]
    assert all("time_utc" not in line for line in seconds)
    for line in with_utc:
        assert line["event"] in EVENT_TYPES
        minutes, rest_s = divmod(int(line["t_s"]), 60)
        assert line["time_utc"] == f"2026-03-14T07:{minutes:02d}:{rest_s:02d}.000Z"
    trip = next(
        line for line in with_utc if line["event"] == "alarm" and line["tag"] == "bag.burst"
    )
    keys = ["t_s", "time_utc", "event", "tag", "state", "said", "text", "order", "follows"]
    assert list(trip) == [*keys, "page", "life", "priority", "told"]
    assert len(trip["text"]) <= 160  # one short message, 3GPP TS 23.040


def test_time_counts_from_the_first_row(tmp_path, capsys):
    (tmp_path / "late.csv").write_text(
        "time_s,pad_inner_c,pad_outer_c,bag_inner_kpa,bag_outer_kpa\n"
        + "".join(f"{5000 + second},140,140,207,207\n" for second in range(5))
        + "".join(f"{5005 + second},{142 + 2 * second},140,207,207\n" for second in range(9))
    )
    lines = replayed(tmp_path / "late.csv", capsys)
    assert lines[0]["t_s"] == 0.0
    trip = next(line for line in lines if line["event"] == "alarm")
    assert trip["tag"] == "pad.overtemperature"
    assert trip["t_s"] == 12.0


def test_own_limits_judge_a_trace(tmp_path, capsys):
    course(tmp_path / "calm.csv", HOT, [(5 * MINUTE, {})], 1)
    strict = Limits.model_validate({"facts": {"set_c": 130.0, "hold_min": 2.0}})
    told = alarms(replayed(tmp_path / "calm.csv", capsys, strict))
    assert ("pad.overtemperature", "warn") in told
    lines = replayed(tmp_path / "calm.csv", capsys, strict)
    assert [line["tag"] for line in lines if line["event"] == "prompt"] == ["run.hold_complete"]
    assert strict.facts.frame_period_s == 1.0


def test_words_name_what_was_judged_and_by_what(tmp_path, capsys):
    (tmp_path / "few.csv").write_text("time_s,pad_inner_c,note\n0,20,a\n10,21,b\n20,22,c\n")
    assert replay_trace(tmp_path / "few.csv", None, "the defaults", as_json=False) == 0
    out, err = capsys.readouterr()
    assert "3 rows, one each 10 s. Limits: the defaults." in out
    assert "Fitted: pad_inner_c. What is not fitted was not judged." in out
    assert err == "few.csv: ignored, for they are no channels: note\n"


STEPS_S = st.sampled_from([0.1, 1.0, 1.0, 1.0, 10.0, 60.0, 700.0, 1e6])
CELLS = st.one_of(
    st.none(),
    st.sampled_from([0.0, 20.0, 60.0, 100.0, 120.0, 140.0, 156.0, 180.0, 207.0, -273.15, 1e308]),
    st.floats(-400, 1e6),
)


@st.composite
def any_trace(draw: st.DrawFn) -> str:
    names = draw(st.lists(st.sampled_from(list(BY_NAME)), min_size=1, max_size=8, unique=True))
    rows = [",".join(["time_s", *names])]
    t_s = 0.0
    for _ in range(draw(st.integers(1, 12))):
        cells: list[str] = []
        for name in names:
            switch = BY_NAME[name].kind is Kind.SWITCH
            value = draw(st.sampled_from([None, 0.0, 1.0]) if switch else CELLS)
            cells.append("" if value is None else repr(value))
        for _ in range(draw(st.integers(1, 8))):
            rows.append(",".join([repr(t_s), *cells]))
            t_s += draw(STEPS_S)
    return "\n".join(rows)


@settings(max_examples=60, deadline=None)
@given(any_trace())
def test_no_trace_that_can_be_read_raises(tmp_path_factory, text):
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_text(text)
    trace = read_trace(path)
    folded = list(fold_trace(trace, None))
    assert len(folded) == len(trace.frames)
    assert all(later.t_s >= earlier.t_s for earlier, later in itertools.pairwise(folded))


def test_every_event_and_key_is_documented():
    text = (Path(__file__).parents[2] / "docs" / "replay.md").read_text(encoding="utf-8")
    for name, kind in EVENT_TYPES.items():
        (row,) = (line for line in text.splitlines() if line.startswith(f"| `{name}` |"))
        for field in dataclasses.fields(kind):
            assert f"`{field.name}`" in row, (name, field.name)

"""Every hazard: its cases, the parts its file must have, and that each limit matters."""

import re
from dataclasses import is_dataclass
from importlib import import_module
from inspect import getdoc, signature
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel, ValidationError

from rules.channels import BAGS, CHANNELS, PADS
from rules.document import alarms_page
from rules.events import Horn, Level
from rules.facts import RigFacts
from rules.frame import NS_PER_S, Frame, Quality, Reading, Reason
from rules.hazards import BY_TAG, HAZARDS, Hazard
from rules.hazards import common as shared
from rules.messages import SHORT_MAX, Subject, Telling, alarm_told
from rules.phases import Phase
from rules.view import view_of
from tests.unit.hazard_cases import KINDS, Case, all_cases, cases_of, check, path_of, play

HEADINGS = (
    "Hazard",
    "Standard",
    "Limits",
    "Trips when",
    "Clears when",
    "When data is missing",
    "Not covered",
)

# Kinds of case that cannot exist for a hazard, and why.
DOES_NOT_APPLY = {
    ("pad_overtemperature", "suppressed"): "it is judged in every phase",
    ("pad_heat_after_cutoff", "warns"): "heat that will not go off has no milder form",
    ("pad_mismatch", "trips"): "heat still cures, and a longer hold makes good",
    ("pad_undertemperature", "trips"): "without heat there is none to take away",
    ("rig_cutout_open", "warns"): "the last barrier has acted: there is no milder form",
    ("rig_cutout_open", "suppressed"): "it is judged in every phase",
    ("run_interrupted", "trips"): "the gap itself withdraws the permit",
    ("run_interrupted", "near_miss"): "what counts as a gap is decided by the step",
    ("run_interrupted", "missing"): "missing frames are what it tells",
    ("bag_burst", "warns"): "a burst has no milder form",
    ("pad_hot_to_touch", "trips"): "a lamp: pads are hot wherever people work with them",
    ("rig_button_stuck", "trips"): "a button found down does nothing, so heat cannot come by it",
    ("rig_not_commissioned", "near_miss"): "a date is stated or it is not",
    ("rig_not_commissioned", "trips"): "told once, while heat is not yet doing anything",
    ("run_fitted_outside_preheat", "trips"): "told before the heat that would do the harm",
    ("run_hold_complete", "trips"): "the end of the hold takes heat away without a latch",
    ("run_time_not_set", "near_miss"): "it asks in every run without a time",
    ("site_energised_at_end_of_day", "trips"): "no run is open, so there is no permit to take",
    ("bag_imbalance", "trips"): "the bags that are too low or too high trip",
    ("broker_offline", "suppressed"): "it is told in every phase",
    ("broker_offline", "trips"): "heat has nothing to do with who hears of it",
    ("clock_jump", "trips"): "nothing here goes by the wall clock",
    ("cure_pressure_lost", "trips"): "it has happened; heat goes by those that speak of the air",
    ("delivery_failing", "trips"): "heat has nothing to do with who hears of it",
    ("rig_switch_unread", "trips"): "what a switch guards acts without us",
    ("horn_failed", "suppressed"): "it is tried in every phase",
    ("horn_failed", "trips"): "nothing breaks by a silent horn",
    ("mains_lost", "trips"): "heat goes at once, without a latch",
    ("rig_estop", "trips"): "heat goes at once, without a latch",
    ("store_failing", "missing"): "every frame says how the store is",
    ("store_failing", "suppressed"): "it is told in every phase",
    ("store_failing", "trips"): "the repair needs its heat, recorded or not",
    ("store_filling", "trips"): "nothing is lost yet",
    ("supervisor_on_battery", "suppressed"): "it is told in every phase",
    ("supervisor_on_battery", "trips"): "heat goes by itself once nobody looks",
}

# What every frame tells of itself.
NEEDS_NOTHING_FITTED = frozenset({"clock_jump", "run_interrupted", "store_failing"})

# Limits that a fifth more or less cannot show, and why.
MOVES_TOO_LITTLE = {
    ("bag_drift", "near_kpa"): "a fall that quick passes 1 kPa between two looks",
}

# GSM 7 bit default alphabet without the characters that need an escape or are
# not ASCII; 3GPP TS 23.038, 6.2.1.
BASIC = re.compile(r"[A-Za-z0-9 @$_!\"#%&'()*+,\-./:;<=>?\n]*")

AIR = (
    "bag_burst",
    "bag_drift",
    "bag_high",
    "bag_imbalance",
    "bag_low",
    "release_hot",
    "release_pins_under_pressure",
    "supply_low",
)

# Prompts and a lamp, no alarm.
ONLY_ASKS = ("pad_hot_to_touch", "run_hold_complete")

# Nothing is pressed while these speak.
NO_AIR = ("site_energised_at_end_of_day",)

DOCS = Path(__file__).parents[2] / "docs"

BY_NAME = {hazard.name: hazard for hazard in HAZARDS}
every_hazard = pytest.mark.parametrize("hazard", HAZARDS, ids=lambda hazard: hazard.name)


def _tagged(hazard: Hazard, case: Case) -> Any:
    return pytest.param(
        hazard,
        case,
        id=f"{hazard.name}: {case.name}",
        marks=pytest.mark.proves(hazard.row.tag),
    )


@pytest.mark.parametrize(("hazard", "case"), [_tagged(*pair) for pair in all_cases()])
def test_case(hazard: Hazard, case: Case) -> None:
    assert check(hazard, case) == []


def test_alarms_page_is_fresh() -> None:
    """`sh docs/build.sh` writes it anew."""
    assert (DOCS / "alarms.md").read_text() == alarms_page()
    assert not [tag for tag in BY_TAG if f"## {tag}\n" not in alarms_page()]


def test_a_wrong_case_is_noticed() -> None:
    hazard = BY_NAME["pad_overtemperature"]
    hot = {"at_s": 0, "pad_inner_c": 160}
    silent = Case(hazard.name, "sample", "healthy", "invented", (hot,), ())
    assert check(hazard, silent) == ["a healthy case spoke: TRIP"]


@every_hazard
def test_file_has_its_parts(hazard: Hazard) -> None:
    module = import_module(f"rules.hazards.{hazard.name}")
    text = getdoc(module) or ""
    found = [line[:-1] for line in text.splitlines() if re.fullmatch(r"[A-Z][a-z ]+:", line)]
    assert tuple(found) == HEADINGS
    parts = re.split(r"^[A-Z][a-z ]+:$", text, flags=re.MULTILINE)[1:]
    assert all(len(part.strip()) > 15 for part in parts), "a heading without words"
    assert issubclass(hazard.limits_type, BaseModel)
    config = hazard.limits_type.model_config
    assert config.get("frozen") is True
    assert config.get("extra") == "forbid"
    assert config.get("allow_inf_nan") is False
    assert is_dataclass(hazard.memory_type)
    assert hazard.memory_type.__dataclass_params__.frozen
    assert hasattr(hazard.memory_type, "__slots__")
    assert list(signature(hazard.judge).parameters) == ["limits", "memory", "view"]


@every_hazard
def test_docstring_names_every_limit(hazard: Hazard) -> None:
    text = getdoc(import_module(f"rules.hazards.{hazard.name}")) or ""
    missing = [name for name in hazard.limits_type.model_fields if f"`{name}`" not in text]
    assert missing == []


@every_hazard
def test_row_is_whole(hazard: Hazard) -> None:
    row = hazard.row
    assert row.tag.replace(".", "_") == hazard.name
    assert row.tag.count(".") == 1
    assert row.title
    assert row.consequence
    assert row.warn_do or row.trip_do or hazard.name in ONLY_ASKS
    kinds = {case.kind for case in cases_of(hazard)}
    assert bool(row.trip_do) == ("trips" in kinds)
    assert row.trip_horn is not Horn.SILENT


@every_hazard
def test_words_begin_with_the_air(hazard: Hazard) -> None:
    for words in filter(None, (hazard.row.warn_do, hazard.row.trip_do)):
        if hazard.name in NO_AIR:
            continue
        assert re.match(r"KEEP AIR ON|BRING AIR UP|REFILL AIR|AIR IS STILL IN|STAND CLEAR", words)
        assert hazard.name not in AIR or "air" in words.lower()


@every_hazard
def test_every_message_fits_one_short_message(hazard: Hazard) -> None:
    telling = Telling("TYRE BAY 2", 0, watch_only=True)
    for case in cases_of(hazard):
        for _, _, finding in play(hazard, case):
            if finding.level < Level.WARN:
                continue
            text = alarm_told(telling, Subject(hazard.row, finding.level, finding.said, 0)).short
            assert BASIC.fullmatch(text), text
            assert len(text) <= SHORT_MAX, text
            assert finding.said.lower() in text.lower()


@every_hazard
def test_every_kind_of_case_is_there(hazard: Hazard) -> None:
    assert path_of(hazard).exists()
    kinds = {case.kind for case in cases_of(hazard)}
    excused = {kind for name, kind in DOES_NOT_APPLY if name == hazard.name}
    assert kinds | excused == set(KINDS)
    assert not kinds & excused
    assert all(case.source for case in cases_of(hazard))


@every_hazard
def test_each_limit_moved_by_a_fifth_is_noticed(hazard: Hazard) -> None:
    moves = [
        (name, field.default * factor)
        for name, field in hazard.limits_type.model_fields.items()
        if (hazard.name, name) not in MOVES_TOO_LITTLE
        for factor in (0.8, 1.2)
    ]
    unnoticed = [
        f"{name} = {value:g}" for name, value in moves if not _noticed(hazard, name, value)
    ]
    assert unnoticed == []


def _noticed(hazard: Hazard, name: str, value: float) -> bool:
    """A case comes out otherwise, or the limits themselves refuse the value."""
    for case in cases_of(hazard):
        if name in case.limits:
            continue
        try:
            moved = hazard.limits_type(**case.limits | {name: value})
        except ValidationError:
            return True
        if check(hazard, case, moved):
            return True
    return False


@pytest.mark.parametrize(
    ("name", "limits", "says"),
    [
        ("pad_overtemperature", {"trip_over_set_c": 7.0}, "trip_over_set_c = 7 is not above"),
        ("pad_overtemperature", {"deadband_c": 9.0}, "lower deadband_c"),
        ("pad_sensor", {"trip_after_s": 1.0}, "trip_after_s = 1 is not above warn_after_s = 2"),
        ("bag_low", {"trip_kpa": 185.0}, "warn_kpa = 180 is not above trip_kpa = 185; raise"),
        ("bag_high", {"deadband_kpa": 50.0, "warn_kpa": 40.0}, "lower deadband_kpa"),
        ("bag_imbalance", {"apart_kpa": 60.0}, "filling_apart_kpa = 50 is not above"),
        ("supply_low", {"deadband_kpa": 120.0}, "lower deadband_kpa or raise spare_kpa"),
        ("bag_drift", {"trip_kpa": 185.0}, "warn_kpa = 180 is not above trip_kpa = 185"),
        ("bag_burst", {"slow_fall_kpa": 20.0}, "raise slow_fall_kpa or lower fall_kpa"),
        ("bag_burst", {"falling_kpa": 30.0}, "lower falling_kpa"),
        ("release_hot", {"low_kpa": 180.0}, "band_kpa = 180 is not above low_kpa = 180"),
        ("release_hot", {"begun_kpa": 30.0}, "fall_kpa = 30 is not above begun_kpa = 30"),
        ("release_hot", {"hot_c": 120.0}, "less than or equal to 100"),
        ("run_pins_not_in", {"trip_kpa": 4.0}, "raise trip_kpa or lower warn_kpa"),
        ("release_pins_under_pressure", {"trip_kpa": 4.0}, "raise trip_kpa or lower warn_kpa"),
        ("release_pins_under_pressure", {"deadband_kpa": 5.0}, "lower deadband_kpa"),
        ("run_unattended", {"warn_after_min": 33.0}, "warn_after_min = 33 is not above"),
        ("link_stale", {"trip_after_s": 5.0}, "raise trip_after_s or lower warn_after_s"),
        ("link_stale", {"trip_after": 5.0}, "Extra inputs are not permitted"),
    ],
)
def test_crossed_limits_are_refused(name: str, limits: dict[str, float], says: str) -> None:
    with pytest.raises(ValidationError, match=re.escape(says)):
        BY_NAME[name].limits_type(**limits)


@pytest.mark.parametrize("phase", list(Phase))
def test_overtemperature_trips_in_every_phase(phase: Phase) -> None:
    hazard = BY_NAME["pad_overtemperature"]
    view = view_of(_frame(0, {"pad_inner_c": 160.0}), RigFacts(), 0, phase=phase)
    _, finding = hazard.judge(hazard.limits_type(), hazard.memory_type(), view)
    assert finding.level is Level.TRIP


@pytest.mark.parametrize(
    ("phase", "judged"),
    [(phase, phase in {Phase.HEAT_UP, Phase.CURE, Phase.COOL_DOWN}) for phase in Phase],
)
def test_low_air_only_under_pressure_and_heat(phase: Phase, judged: bool) -> None:
    assert (_worst("bag_low", phase) is Level.TRIP) is judged


@pytest.mark.parametrize(
    ("phase", "judged"),
    [
        (phase, phase in {Phase.PREHEAT, Phase.INFLATION, Phase.HEAT_UP, Phase.CURE})
        for phase in Phase
    ],
)
def test_blind_pad_trips_a_watched_rig_only_where_it_heats(phase: Phase, judged: bool) -> None:
    assert (_worst("pad_sensor", phase) is Level.TRIP) is judged


def _worst(name: str, phase: Phase) -> Level:
    """A hot open-circuit pad over an empty bag for a minute, no heat signal."""
    hazard = BY_NAME[name]
    limits, memory, worst = hazard.limits_type(), hazard.memory_type(), Level.CLEAR
    for second in range(60):
        frame = _frame(second, {"pad_outer_c": 140.0, "bag_inner_kpa": 100.0})
        blind = Reading(None, Quality.BAD, Reason.OPEN_CIRCUIT, frame.t_ns)
        frame = Frame(second, frame.t_ns, 0, True, "case", {**frame.values, "pad_inner_c": blind})
        view = view_of(
            frame, RigFacts(), frame.t_ns, 1.0, phase=phase, run_open=True, pressurised=True
        )
        memory, finding = hazard.judge(limits, memory, view)
        worst = max(worst, finding.level)
    return worst


@every_hazard
def test_nothing_changed_is_the_same_object(hazard: Hazard) -> None:
    """At rest no hazard makes a new memory, so that many of them cost little."""
    limits, memory = hazard.limits_type(), hazard.memory_type()
    seen = []
    for second in range(20, 40):
        frame = _frame(second, {"heat_on": 0.0, "pins_in": 1.0, "here_button": 0.0})
        memory, _ = hazard.judge(limits, memory, view_of(frame, RigFacts(), frame.t_ns, 1.0))
        seen.append(memory)
    assert all(item is seen[-1] for item in seen[2:])


@every_hazard
def test_not_fitted_is_never_healthy(hazard: Hazard) -> None:
    """On a rig with nothing fitted nothing speaks, and few judge: gap, clock and store."""
    view = view_of(Frame(0, 0, 0, True, "case", {}), RigFacts(), 0)
    _, finding = hazard.judge(hazard.limits_type(), hazard.memory_type(), view)
    assert finding.level is Level.CLEAR
    assert finding.judged is (hazard.name in NEEDS_NOTHING_FITTED)


def _frame(second: int, values: dict[str, float]) -> Frame:
    at_ns = second * NS_PER_S
    readings = {
        name: Reading(value, Quality.GOOD, Reason.NONE, at_ns) for name, value in values.items()
    }
    return Frame(second, at_ns, at_ns, True, "case", readings)


def test_channels_the_hazards_name_exist() -> None:
    known = {channel.name for channel in CHANNELS}
    assert {*PADS, *BAGS, "pins_in", "release_request", "here_button"} <= known


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0 s"), (59.9, "59 s"), (60, "1 min"), (250, "4 min 10 s"), (7500, "2 h 5 min")],
)
def test_durations_in_words(seconds: float, words: str) -> None:
    assert shared.duration(seconds) == words

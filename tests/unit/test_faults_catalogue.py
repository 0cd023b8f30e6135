"""The catalogue of faults: complete, described, bounded, and each one can be undone."""

import copy
import inspect
import re
from collections.abc import Iterator
from itertools import combinations
from random import Random
from typing import get_args

import numpy as np
import pytest
from pydantic_core import PydanticUndefined

from simulator.crew import Crew, RepairPlan, Stage
from simulator.faults import Disturbance, Fault, catalogue
from simulator.faults.base import Side
from simulator.plant import Rig, RigSettings

FAULTS_MIN, DISTURBANCES_MIN = 40, 15

# The tags of the hazard table in the project's design, copied by hand.
TAGS = frozenset(
    {
        "pad.overtemperature",
        "pad.heat_after_cutoff",
        "permit.bypassed",
        "pad.not_heating",
        "pad.mismatch",
        "pad.undertemperature",
        "pad.sensor",
        "pad.hot_to_touch",
        "bag.low",
        "bag.high",
        "bag.drift",
        "bag.burst",
        "bag.imbalance",
        "bag.sensor",
        "supply.low",
        "mains.lost",
        "rig.button_stuck",
        "rig.cutout_open",
        "rig.estop",
        "release.hot",
        "release.pins_under_pressure",
        "run.pins_not_in",
        "cure.pressure_lost",
        "run.unattended",
        "run.heat_without_pressure",
        "run.fitted_outside_preheat",
        "run.time_not_set",
        "run.overrun",
        "run.interrupted",
        "cure.short",
        "cure.over",
        "link.stale",
        "clock.jump",
        "store.failing",
        "broker.offline",
        "delivery.failing",
        "output.mismatch",
        "horn.failed",
        "supervisor.on_battery",
        "site.energised_at_end_of_day",
        "material.expired",
        "instrument.calibration_due",
        "rig.not_commissioned",
    }
)

# A time in a text: a figure and its unit, also across a line's end.
_TIME = re.compile(r"(\d+(?:\.\d+)?)\s+(s|min|h)\b(?!/)")
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}
SAID_WITHIN = 0.2

KINDS = catalogue()
FAULTS = {name: kind for name, kind in KINDS.items() if not issubclass(kind, Disturbance)}
DISTURBANCES = {name: kind for name, kind in KINDS.items() if issubclass(kind, Disturbance)}
BUILT = RigSettings()


def test_enough_of_both() -> None:
    assert len(FAULTS) >= FAULTS_MIN
    assert len(DISTURBANCES) >= DISTURBANCES_MIN


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_says_what_breaks_and_derives_its_deadline(name: str) -> None:
    kind = FAULTS[name]
    said = inspect.getdoc(kind) or ""
    deadline = re.search(r"^Deadline: (.+?)(?:\n\n|\Z)", said, re.MULTILINE | re.DOTALL)
    assert deadline, f"{name}: its class needs a paragraph that begins with 'Deadline:'"
    computed_s = kind().deadline_s(BUILT)
    said_s = [float(figure) * _SECONDS[unit] for figure, unit in _TIME.findall(deadline[1])]
    near = [second for second in said_s if abs(second - computed_s) <= SAID_WITHIN * computed_s]
    assert near, f"{name}: computed {computed_s:.0f} s; the paragraph derives {said_s}"
    module_doc = inspect.getdoc(inspect.getmodule(kind)) or ""
    assert module_doc.endswith("."), f"{name}: its module says in one line what breaks"


@pytest.mark.parametrize("name", DISTURBANCES)
def test_a_disturbance_has_no_deadline_and_wakes_nothing(name: str) -> None:
    kind = DISTURBANCES[name]
    assert kind.wakes == ()
    assert kind().deadline_s(BUILT) == float("inf")
    assert set(kind.may_wake) <= TAGS
    assert inspect.getdoc(kind), f"{name}: say what happens"


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_wakes_hazards_of_the_design_and_hurts(name: str) -> None:
    kind = FAULTS[name]
    assert kind.wakes, f"{name}: name the hazards it should wake"
    assert set(kind.wakes) <= TAGS
    assert len(set(kind.wakes)) == len(kind.wakes)
    assert len(kind.harm) > 10, f"{name}: say who or what is hurt"


def test_every_hazard_of_the_design_is_woken_by_a_fault() -> None:
    woken = {tag for kind in FAULTS.values() for tag in kind.wakes}
    assert woken == TAGS


@pytest.mark.parametrize("name", KINDS)
def test_every_figure_of_a_fault_has_bounds_around_its_default(name: str) -> None:
    for field, info in KINDS[name].model_fields.items():
        assert info.default is not PydanticUndefined, f"{name}.{field} has no default"
        if isinstance(info.default, bool) or not isinstance(info.default, int | float):
            continue
        low = [item.ge for item in info.metadata if hasattr(item, "ge")]
        high = [item.le for item in info.metadata if hasattr(item, "le")]
        assert low, f"{name}.{field}: say ge= and le="
        assert high, f"{name}.{field}: say ge= and le="
        assert low[0] <= info.default <= high[0]


@pytest.mark.parametrize("name", FAULTS)
def test_a_deadline_is_a_time_at_every_bound(name: str) -> None:
    for fault in _at_bounds(FAULTS[name]):
        assert 0 < fault.deadline_s(BUILT) < 12 * 3600, f"{fault!r}"


@pytest.mark.parametrize("name", KINDS)
def test_what_is_broken_can_be_mended(name: str) -> None:
    kind = KINDS[name]
    for fault in _at_bounds(kind):
        rig, crew = _working(kind.onset.stage)
        before = dict(_knobs((rig, crew)))
        for since_s in (0.0, 1.0, 2.0, 30.0):
            fault.act(rig, crew, since_s)
        fault.mend(rig, crew)
        assert _changed(before, dict(_knobs((rig, crew)))) == {}, f"{fault!r}"


@pytest.mark.parametrize("name", KINDS)
def test_a_fault_does_lay_hands_on_something(name: str) -> None:
    kind = KINDS[name]
    rig, crew = _working(kind.onset.stage)
    before = dict(_knobs((rig, crew)))
    fault = kind()
    for since_s in range(121):
        fault.act(rig, crew, float(since_s))
        if _changed(before, dict(_knobs((rig, crew)))):
            break
    else:
        pytest.fail(f"{name}: nothing changed in two minutes")
    assert kind.touches, f"{name}: name what it touches"


def test_faults_that_turn_the_same_knob_say_so() -> None:
    """Two that share no word of `touches` change no common knob, so they may strike as a pair."""
    turned: dict[str, set[str]] = {}
    for name, kind in KINDS.items():
        rig, crew = _working(kind.onset.stage)
        before = dict(_knobs((rig, crew)))
        fault = _on_one_side(kind)
        fault.act(rig, crew, 0.0)
        fault.act(rig, crew, 1.0)
        turned[name] = set(_changed(before, dict(_knobs((rig, crew)))))
    clashes = [
        (one, other, sorted(turned[one] & turned[other]))
        for one, other in combinations(KINDS, 2)
        if not KINDS[one].touches & KINDS[other].touches and turned[one] & turned[other]
    ]
    assert clashes == []


def _on_one_side(kind: type[Fault]) -> Fault:
    """The fault with everything it may choose on the inner side, so that two of them meet."""
    sided = {
        name
        for name, info in kind.model_fields.items()
        if get_args(info.annotation) == get_args(Side)
    }
    return kind.model_validate(dict.fromkeys(sided, "inner"))


def _at_bounds(kind: type[Fault]) -> Iterator[Fault]:
    """The fault by its defaults, and with each of its figures at either bound."""
    yield kind()
    for field, info in kind.model_fields.items():
        for item in info.metadata:
            for bound in ("ge", "le"):
                if hasattr(item, bound):
                    yield kind.model_validate({field: getattr(item, bound)})


def _working(stage: Stage | None) -> tuple[Rig, Crew]:
    """A rig in mid-work, with its crew there and every knob as the crew means it."""
    rig = Rig(BUILT, 1)
    crew = Crew((RepairPlan(), RepairPlan()), Random(1))  # noqa: S311 - repeatable, no secret
    if stage is not None:
        crew.stage = stage
        crew.began_at_s[(1, stage)] = 0.0
    early = stage in {None, Stage.WAIT, Stage.PREHEAT, Stage.MOUNT}
    rig.controls.set_c = crew.plan.preheat_c if early else crew.plan.set_c
    if stage in {Stage.COOL, Stage.LET_DOWN, Stage.FEEL_SOFT, Stage.TAKE_OFF, Stage.HOME}:
        rig.controls.set_c = None
    if not early:
        rig.controls.mounted = True
        rig.controls.pins_in = True
        for side, valves in rig.controls.valves.items():
            valves.set_kpa = crew.plan.set_kpa
            valves.feed_open = True
            rig.bags[side].fill_to(crew.plan.set_kpa)
    return rig, crew


def _knobs(
    thing: object, path: str = "", seen: set[int] | None = None
) -> Iterator[tuple[str, object]]:
    """Every plain value that can be reached from `thing`, by its path."""
    seen = set() if seen is None else seen
    if isinstance(thing, np.ndarray):
        yield path, thing.tobytes()
    elif isinstance(thing, Random):
        yield path, thing.getstate()
    elif isinstance(thing, str | int | float | bool | type(None) | frozenset | bytes):
        yield path, thing
    elif isinstance(thing, set):
        yield path, frozenset(thing)
    elif id(thing) not in seen and not callable(thing):
        seen.add(id(thing))
        for key, value in _parts(thing):
            yield from _knobs(value, f"{path}.{key}", seen)


def _parts(thing: object) -> Iterator[tuple[object, object]]:
    if isinstance(thing, dict):
        yield from thing.items()
    elif isinstance(thing, list | tuple):
        yield from enumerate(thing)
    else:
        for part in type(thing).__mro__:
            for name in getattr(part, "__slots__", ()):
                if hasattr(thing, name):
                    yield name, getattr(thing, name)
        yield from vars(thing).items() if hasattr(thing, "__dict__") else ()


def _changed(before: dict[str, object], after: dict[str, object]) -> dict[str, object]:
    absent = object()
    paths = before.keys() | after.keys()
    return {
        path: after.get(path, "gone")
        for path in paths
        if before.get(path, absent) != after.get(path, absent)
    }


def test_the_comparison_of_knobs_sees_a_change_anywhere() -> None:
    rig, crew = _working(Stage.HOLD)
    before = dict(_knobs((rig, crew)))
    assert len(before) > 200
    assert _changed(before, dict(_knobs(copy.deepcopy((rig, crew))))) == {}
    rig.pads["outer"].thermostat.error_c = 0.5
    rig.relays.stuck["horn"] = True
    crew.away = True
    assert set(_changed(before, dict(_knobs((rig, crew))))) == {
        ".0.heat.pads.outer.thermostat.error_c",
        ".0.relays.stuck.horn",
        ".1.away",
    }

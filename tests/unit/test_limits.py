"""Limits of a rig: each cross-check both ways, told with what, where and what is right."""

import pytest
from pydantic import ValidationError

from rules.hazards import HAZARDS
from rules.limits import Limits

CHECKS = [  # limits at fault, what is said, the nearest that is right
    (
        {"facts": {"cutout_c": 159.0}},
        "pad_overtemperature trips at 155 C, less than 5 C below facts.cutout_c = 159; lower "
        "pad_overtemperature.trip_over_set_c, or have the thermal cut-out set higher and state it",
        {"facts": {"cutout_c": 160.0}},
    ),
    (
        {"facts": {"set_c": 120.0}},
        "phases.cure_c = 120 is not below facts.set_c = 120; lower phases.cure_c or raise",
        {"facts": {"set_c": 120.5}},
    ),
    (
        {"hold": {"starts_c": 141.0}},
        "hold.starts_c = 141 is not below facts.set_c = 140; lower hold.starts_c or raise",
        {"hold": {"starts_c": 139.0}},
    ),
    (
        {"phases": {"empty_kpa": 20.0}},
        "phases.empty_kpa = 20, filling_kpa = 20 and held_kpa = 180 must rise in this order",
        {"phases": {"empty_kpa": 19.0}},
    ),
    (
        {"phases": {"held_kpa": 15.0}},
        "filling_kpa = 20 and held_kpa = 15 must rise in this order; the bands may not cross",
        {"phases": {"held_kpa": 21.0}},
    ),
    (
        {"phases": {"held_kpa": 207.0}},
        "phases.held_kpa = 207 is not below facts.set_kpa = 206.84; lower phases.held_kpa or",
        {"phases": {"held_kpa": 206.0}},
    ),
    (
        {"hold": {"pressure_kpa": 210.0}},
        "hold.pressure_kpa = 210 is not below facts.set_kpa = 206.84; lower hold.pressure_kpa or",
        {"hold": {"pressure_kpa": 206.0}},
    ),
    (
        {"bag_low": {"warn_kpa": 207.0}},
        "bag_low.warn_kpa = 207 is not below facts.set_kpa = 206.84; lower bag_low.warn_kpa or",
        {"bag_low": {"warn_kpa": 206.0}},
    ),
    (
        {"facts": {"title": "BAY 2\nGO NOW"}},
        "title has a line break or a control character; give one plain line",
        {"facts": {"title": "BAY 2, GO NOW"}},
    ),
    (
        {"facts": {"set_kpa": 345.0}},
        "set_kpa = 345 is not below bag_max_kpa = 345; lower set_kpa, or correct bag_max_kpa",
        {"facts": {"set_kpa": 344.0}},
    ),
]


@pytest.mark.parametrize(("wrong", "said", "right"), CHECKS)
def test_cross_check(wrong, said, right):
    with pytest.raises(ValidationError) as caught:
        Limits.model_validate(wrong)
    assert said in str(caught.value)
    Limits.model_validate(right)


def test_several_mistakes_are_told_at_once():
    with pytest.raises(ValidationError) as caught:
        Limits.model_validate({"facts": {"set_c": 110.0}, "hold": {"pressure_kpa": 210.0}})
    said = str(caught.value)
    for name in ("hold.starts_c", "phases.cure_c", "hold.pressure_kpa"):
        assert f"{name} = " in said


def test_the_defaults_are_right_and_each_hazard_has_its_own():
    limits = Limits()
    for hazard in HAZARDS:
        assert isinstance(limits.of(hazard.name), hazard.limits_type)


@pytest.mark.parametrize("wrong", [{"fact": {}}, {"facts": {"set": 140.0}}, {"bag_low": {"x": 1}}])
def test_unknown_keys_are_refused(wrong):
    with pytest.raises(ValidationError, match="Extra inputs are not permitted"):
        Limits.model_validate(wrong)

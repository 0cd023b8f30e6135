"""Letting down, pins, mains, stop, horn and clock, through the whole step: who speaks, and how."""

import re
from collections.abc import Iterator

import pytest
from scipy import constants

from rules.events import AlarmChanged, Horn
from rules.frame import Health
from tests.unit.story import Story, story_in


def _alarms(story: Story) -> Iterator[AlarmChanged]:
    return (event for _, event in story.told if isinstance(event, AlarmChanged))


def _leads(story: Story) -> list[tuple[str, str]]:
    """Alarms that give orders of their own, with their levels, in order."""
    return [
        (event.tag, event.state)
        for event in _alarms(story)
        if event.state != "clear" and not event.follows
    ]


def _said(story: Story, tag: str) -> str:
    return next(event.said for event in _alarms(story) if event.tag == tag)


@pytest.fixture
def held() -> Story:
    """In the hold, a frame a second."""
    story = story_in("cure", 1.0)
    story.press("here_button")
    return story.since()


@pytest.mark.parametrize("switch", ["mains_ok", "estop_ok"])
def test_a_blink_takes_heat_and_is_told_until_a_person_has_brought_it_back(
    held: Story, switch: str
) -> None:
    tag = {"mains_ok": "mains.lost", "estop_ok": "rig.estop"}[switch]
    assert held.permit == "granted"
    held.set(**{switch: 0.0}).tick().set(**{switch: 1.0}).run(120)
    assert held.permit == "withdrawn"
    assert _leads(held) == [(tag, "warn")]
    assert "until start is pressed" in _said(held, tag)
    held.press("start_button").run(20)
    assert held.permit == "granted"
    assert (tag, "clear") in held.alarms()


def test_the_stop_pressed_while_mounting_with_nothing_hot_is_a_prompt_only() -> None:
    story = story_in("fitting", 1.0).set(estop_ok=0.0).run(60)
    assert story.alarms() == []
    assert [event.tag for event in story.events("prompt")] == ["rig.estop"]  # type: ignore[union-attr]  # only prompts


def test_a_burst_of_a_hot_bag_is_one_message_with_orders(held: Story) -> None:
    held.run(4, bag_inner_kpa=20.0).run(60)
    assert ("bag.burst", "trip") in _leads(held)
    assert "release.hot" not in dict(_leads(held))
    assert ("release.hot", "trip") in held.alarms()
    assert ("cure.pressure_lost", "warn") in held.alarms()
    assert "cure.pressure_lost" not in dict(_leads(held))


@pytest.mark.parametrize(
    ("pad_c", "level", "phase"),
    [
        (93.0, None, "release"),
        (97.0, "warn", "release"),  # as the trade does; the middle is hotter
        (101.0, "trip", "cool_down"),
    ],
)
def test_a_let_down_by_both_bags_by_how_hot_the_pads_are(
    pad_c: float, level: str | None, phase: str
) -> None:
    story = story_in("cool_down", 1.0).press("here_button")
    story.run(900, pad_inner_c=pad_c, pad_outer_c=pad_c).since()
    story.run(90, bag_inner_kpa=100.0, bag_outer_kpa=100.0)
    assert dict(_leads(story)).get("release.hot") == level
    assert story.phase == phase
    assert (story.permit == "latched") is (level == "trip")


def test_pins_pulled_under_pressure_make_everybody_stand_clear(held: Story) -> None:
    held.set(pins_in=0.0).run(3)
    assert held.decision.outputs.horn is Horn.STAND_CLEAR
    assert held.permit == "latched"
    assert _leads(held) == [("release.pins_under_pressure", "trip")]
    assert ("release.hot", "warn") in held.alarms()


def test_air_put_in_without_pins_is_told_by_one_hazard_through_to_the_heating() -> None:
    story = story_in("fitting", 1.0).set(pins_in=0.0).since()
    story.run(90, bag_inner_kpa=207.0, bag_outer_kpa=207.0).run(200)
    assert story.state.place.pressurised
    spoke = {tag for tag, _ in _leads(story)}
    assert "run.pins_not_in" in spoke
    assert "release.pins_under_pressure" not in spoke


def test_the_force_told_is_pressure_times_area() -> None:
    """10 kPa on 0.3 m2 are 3 kN, the weight of four men of 75 kg and more.

    Force is pressure times area; standard gravity from CODATA by scipy.
    """
    story = story_in("fitting", 1.0).set(pins_in=0.0).bags(10.0).run(3)
    told_kn = re.search(r"([\d.]+) kN on the clamp", _said(story, "run.pins_not_in"))
    assert told_kn is not None
    newton = 10.0 * constants.kilo * 0.3
    assert float(told_kn[1]) == pytest.approx(newton / constants.kilo, abs=0.05)
    assert newton / constants.g > 4 * 75.0


def _with_horn(story: Story, *, works: bool) -> Story:
    """The horn's relay follows its order a frame later, and an ear hears it."""
    story.set(horn_heard=0.0).readback["horn"] = False
    story.tick()
    for _ in range(60):
        on = story.decision.outputs.horn is not Horn.SILENT and story.seq % 10 == 0
        story.readback["horn"] = on
        story.set(horn_heard=float(on and works), start_button=float(story.t_s % 60 == 30))
        story.tick()
    return story


@pytest.mark.parametrize(("works", "failed"), [(True, []), (False, [("horn.failed", "warn")])])
def test_the_horn_is_tried_with_the_first_heat(works: bool, failed: list[tuple[str, str]]) -> None:
    story = _with_horn(story_in("idle", 1.0), works=works)
    assert story.permit == "granted"
    assert "horn.failed" in [event.tag for event in story.events("prompt")]  # type: ignore[union-attr]  # only prompts
    assert [item for item in story.alarms() if item[0] == "horn.failed"] == failed
    if works:
        assert story.decision.outputs.horn is Horn.SILENT


def test_nothing_goes_by_a_clock_that_jumps(held: Story) -> None:
    other = held.copy()
    held.wall_s += 7200.0
    held.run(60)
    other.run(60)
    assert _leads(held) == [("clock.jump", "warn")]
    assert other.alarms() == []
    assert held.state.hold == other.state.hold
    assert held.phase == other.phase
    assert held.permit == other.permit == "granted"


def test_heat_goes_on_unrecorded_and_is_not_started_again(held: Story) -> None:
    held.health = Health(store_ok=False)
    held.run(40)
    assert held.alarms() == [("store.failing", "warn")]
    assert held.permit == "granted"
    held.set(mains_ok=0.0).tick().set(mains_ok=1.0).run(5).press("start_button")
    assert held.permit == "withdrawn"

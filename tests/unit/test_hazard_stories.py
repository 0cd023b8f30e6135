"""What a trace cannot show: heat against the permit, and the supervisor's own troubles.

Told through the whole step; the courses are invented. Each hazard's own cases stand
beside it; here it is seen that the step gives it what it needs and does what it asks.
"""

from dataclasses import replace

import pytest

from tests.unit.story import Story, limits_with, story_in


@pytest.fixture
def held() -> Story:
    """In the hold, heated, a frame a second."""
    story = story_in("cure", 1.0).press("here_button")
    assert story.permit == "granted"
    return story.since()


def worst(story: Story, tag: str) -> str:
    """The last that an alarm was, or nothing."""
    states = [state for named, state in story.alarms() if named == tag]
    return states[-1] if states else ""


@pytest.mark.parametrize(
    ("tag", "trouble", "after_s"),
    [
        ("broker.offline", {"broker_ok": False}, 90),
        ("delivery.failing", {"delivery_failing": "mqtt"}, 60),
        ("store.failing", {"store_ok": False}, 60),
        ("store.filling", {"store_free_mb": 20.0}, 900),
    ],
)
def test_the_supervisors_own_troubles_are_told_and_heat_stays(
    held: Story, tag: str, trouble: dict[str, object], after_s: float
) -> None:
    well = held.copy().run(after_s)
    assert worst(well, tag) == ""
    held.health = replace(held.health, **trouble)  # type: ignore[arg-type]  # fields by name
    held.run(after_s)
    assert worst(held, tag) == "warn"
    assert held.permit == "granted"


@pytest.mark.parametrize(("heat", "tripped"), [(1.0, True), (0.0, False)])
def test_heat_behind_an_open_permit_trips_only_while_it_is_there(
    held: Story, heat: float, tripped: bool
) -> None:
    held.set(heat_on=1.0).run(5).set(estop_ok=0.0, heat_on=heat).run(20)
    assert held.permit == ("latched" if tripped else "withdrawn")
    assert worst(held, "pad.heat_after_cutoff") == ("trip" if tripped else "")


@pytest.mark.parametrize(("pressed", "tripped"), [(False, True), (True, False)])
def test_heat_that_nobody_has_allowed_trips_and_heat_that_somebody_has_does_not(
    pressed: bool, tripped: bool
) -> None:
    story = story_in("idle", 1.0).set(heat_on=0.0).run(5)
    if pressed:
        story.press("start_button")
    story.set(heat_on=1.0).run(30)
    assert worst(story, "permit.bypassed") == ("trip" if tripped else "")
    assert story.permit == ("latched" if tripped else "granted")


@pytest.mark.parametrize(("reached_c", "tripped"), [(120.0, False), (60.0, True)])
def test_a_pad_that_stays_cold_under_heat_trips_one_that_warms_does_not(
    reached_c: float, tripped: bool
) -> None:
    story = story_in("inflation", 10.0).press("here_button").since()
    if story.permit != "granted":
        story.press("start_button")
    story.set(heat_on=1.0).run(900, pad_inner_c=120.0, pad_outer_c=reached_c).press("here_button")
    story.run(900, pad_inner_c=140.0, pad_outer_c=max(reached_c + 5, 65.0))
    assert (("pad.not_heating", "trip") in story.alarms()) is tripped
    assert (story.permit == "latched") is tripped


@pytest.mark.parametrize(("commissioned_on", "told"), [(None, True), ("2026-03-01", False)])
def test_a_rig_never_commissioned_says_so_once_in_a_run(
    commissioned_on: str | None, told: bool
) -> None:
    story = Story(limits_with(1.0, facts={"commissioned_on": commissioned_on})).run(5)
    assert story.alarms() == []
    story.press("start_button").run(1200)
    started = [state for tag, state in story.alarms() if tag == "rig.not_commissioned"]
    assert started == (["warn", "clear"] if told else [])


@pytest.mark.parametrize("welded", [True, False])
def test_a_relay_that_stays_closed_against_its_order_trips(welded: bool) -> None:
    story = story_in("cure", 1.0).set(estop_ok=0.0).tick().since()
    for _ in range(20):
        story.readback["heat_permit"] = welded
        story.tick()
    assert worst(story, "output.mismatch") == ("trip" if welded else "")
    assert (story.permit == "latched") is welded


@pytest.mark.parametrize(
    "lost", [("pad_inner_c", "pad_outer_c"), ("bag_inner_kpa", "bag_outer_kpa")]
)
def test_heat_allowed_again_in_a_cool_down_is_not_blind(lost: tuple[str, str]) -> None:
    story = story_in("cool_down", 1.0).press("start_button")
    assert (story.phase, story.permit) == ("cool_down", "granted")
    story.set(**dict.fromkeys(lost, "open_circuit")).run(60)
    assert story.permit == "latched"


def test_heat_allowed_again_in_a_cool_down_is_not_left_alone() -> None:
    story = story_in("cool_down", 10.0).press("start_button").run(3700)
    assert (story.phase, story.permit) == ("cool_down", "latched")
    assert ("run.unattended", "trip") in story.alarms()

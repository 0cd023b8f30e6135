"""Is anybody there: presses, the quiet hold, left to cool, and the end of the hold.

Through the real step; the courses are invented.
"""

import re

import pytest
from pydantic import ValidationError

from rules.checkpoint import dump, load
from rules.events import Horn
from rules.frame import NS_PER_S, Frame
from rules.hazards import BY_TAG
from rules.heat_time import NO_HEAT, REST_S, heat_counted
from rules.view import view_of
from tests.unit.story import Story, limits_with, story_in

ALONE = "run.unattended"
MINUTE_S = 60.0


def said_at(story: Story, tag: str) -> list[tuple[float, str]]:
    """Story time in minutes and state of what a hazard told, prompts too."""
    return [
        (round(at_s / MINUTE_S, 1), getattr(event, "state", "prompt"))
        for at_s, event in story.told
        if event.event in ("alarm", "prompt") and event.tag == tag  # type: ignore[union-attr]  # both have a tag
    ]


def since_now(story: Story, tag: str, *, minutes: float) -> list[tuple[float, str]]:
    """The same, counted from a fresh press of here, with nobody after that."""
    began_min = story.t_s / MINUTE_S
    story.since().press("here_button").run(minutes * MINUTE_S)
    return [(round(at - began_min, 1), state) for at, state in said_at(story, tag)]


def heating(period_s: float = 10.0) -> Story:
    return story_in("heat_up", period_s, hold_min=150)


def test_in_a_heat_up_the_ordinary_times_count_and_heat_goes():
    # Pads that stay where they are: the hold never begins, so it is never quiet.
    story = heating()
    assert since_now(story, ALONE, minutes=61) == [(30, "prompt"), (40, "warn"), (60, "trip")]
    assert story.permit == "latched"


def test_in_a_quiet_hold_the_longer_times_count():
    story = story_in("cure", hold_min=150).run(600)
    assert since_now(story, ALONE, minutes=76) == [(45, "prompt"), (55, "warn"), (75, "trip")]


def test_a_hold_in_which_something_stands_is_not_quiet():
    story = story_in("cure", hold_min=150).run(600)
    story.since().press("reset_button").set(reset_button=1.0)
    began_min = story.t_s / MINUTE_S
    story.run(61 * MINUTE_S)
    assert "rig.button_stuck" in {tag for tag, _ in story.alarms()}
    told = [(round(at - began_min), state) for at, state in said_at(story, ALONE)]
    assert told == [(30, "prompt"), (40, "warn"), (60, "trip")]


def test_an_early_press_starts_the_time_again():
    story = heating()
    story.press("here_button").run(28 * MINUTE_S)
    assert since_now(story, ALONE, minutes=29.5) == []
    assert since_now(story, ALONE, minutes=31) == [(30, "prompt")]


@pytest.mark.parametrize("button", ["here_button", "start_button", "reset_button"])
def test_a_press_of_any_button_at_the_rig_is_somebody(button):
    story = heating().since().press("here_button").run(29 * MINUTE_S)
    story.press(button).run(29 * MINUTE_S)
    assert said_at(story, ALONE) == []


def test_a_taped_button_is_one_press_and_told_for_itself():
    story = heating()
    story.since().set(here_button=1.0)
    began_min = story.t_s / MINUTE_S
    story.run(61 * MINUTE_S)
    told = [(round(at - began_min), state) for at, state in said_at(story, ALONE)]
    assert told == [(30, "prompt"), (40, "warn"), (60, "trip")]
    assert said_at(story, "rig.button_stuck")[0] == (round(began_min + 1 / 6, 1), "warn")


def test_a_button_found_down_when_the_supervisor_starts_is_nobody():
    story = Story(limits_with(10.0)).set(here_button=1.0).run(70)
    story.press("start_button").since()
    began_min = story.t_s / MINUTE_S
    story.run(600, pad_inner_c=60.0, pad_outer_c=60.0).run(31 * MINUTE_S)
    told = [(round(at - began_min), state) for at, state in said_at(story, ALONE)]
    assert told == [(30, "prompt"), (40, "warn")]


def test_a_start_that_is_stuck_heats_nothing_after_a_trip():
    story = heating().set(start_button=1.0).run(60)
    inner_c = story.values["pad_inner_c"]
    story.run(60, pad_inner_c=156.0).run(60, pad_inner_c=inner_c).run(600)
    assert story.permit == "latched"
    story.press("reset_button").run(60)
    assert story.permit == "withheld", "held down is no press: IEC 60204-1, unexpected start"
    story.set(start_button=0.0).tick().press("start_button")
    assert story.permit == "granted"


def test_left_to_cool_for_a_night_nobody_is_asked_for_and_nothing_sounds():
    story = story_in("cure", hold_min=15).run(480).press("here_button").since()
    assert story.phase == "cool_down"
    story.run(3 * 3600, pad_inner_c=40.0, pad_outer_c=40.0)
    horns = set()
    for _ in range(360):
        horns.add(story.run(60).decision.outputs.horn)
    assert story.phase == "cool_down"
    assert said_at(story, ALONE) == []
    assert horns == {Horn.SILENT}
    assert not story.decision.outputs.beacon_amber
    # In the morning it is let down: from there on somebody is there, or is asked.
    story.press("here_button").since().run(240, bag_inner_kpa=100.0, bag_outer_kpa=100.0)
    assert story.phase == "release"
    story.run(28 * MINUTE_S)
    assert [state for _, state in said_at(story, ALONE)] == ["prompt"]


def test_the_end_of_the_hold_has_a_lamp_and_a_chirp_until_someone_presses():
    story = story_in("cure", hold_min=15)
    while not said_at(story, "run.hold_complete"):
        story.tick()
    (taken_s,) = (at_s for at_s, event in story.told if event.event == "permit")
    assert said_at(story, "run.hold_complete") == [(round(taken_s / MINUTE_S, 1), "prompt")]
    assert story.permit == "withdrawn"
    assert taken_s == story.t_s - story.period_s, "in the frame that takes heat away"
    assert story.decision.outputs.horn is Horn.COME_WHEN_YOU_CAN
    assert story.decision.outputs.beacon_amber
    (prompt,) = [event for event in story.events("prompt") if event.tag == "run.hold_complete"]  # type: ignore[union-attr]  # only prompts
    assert "KEEP AIR ON" in prompt.text  # type: ignore[union-attr]  # only prompts
    story.tick().press("here_button")
    assert story.decision.outputs.horn is Horn.SILENT
    assert not story.decision.outputs.beacon_amber
    story.run(3600, pad_inner_c=80.0, pad_outer_c=80.0)
    assert story.decision.outputs.horn is Horn.SILENT


@pytest.mark.parametrize("resumed", [False, True])
def test_the_hold_time_is_asked_for_in_heat_up_whoever_pressed_before(resumed):
    story = story_in("inflation")
    if resumed:
        story.state = load(dump(story.state))
    story.tick().press("here_button").run(400, pad_inner_c=90.0, pad_outer_c=90.0)
    assert story.phase == "heat_up"
    assert [state for _, state in said_at(story, "run.time_not_set")] == ["prompt"]
    assert story.decision.outputs.horn is Horn.COME_WHEN_YOU_CAN
    assert story.press("here_button").decision.outputs.horn is Horn.SILENT


@pytest.mark.parametrize(
    ("tag", "limits", "says"),
    [
        (ALONE, {"quiet_trip_min": 50.0}, "quiet_trip_min = 50 is not above quiet_warn_min = 55"),
        (ALONE, {"quiet_prompt_min": 25.0}, "quiet_prompt_min = 25 is below prompt_after_min = 30"),
        (ALONE, {"grace_min": 1.0}, "greater than or equal to 5"),
        ("run.overrun", {"warn_after_min": 31.0}, "raise trip_after_min or lower warn_after_min"),
        ("run.time_not_set", {"warn_after_h": 9.0}, "raise trip_after_h or lower warn_after_h"),
        ("run.heat_without_pressure", {"clear_c": 80.0}, "raise warn_c or lower clear_c"),
        ("run.fitted_outside_preheat", {"low_c": 72.0}, "raise high_c or lower low_c"),
        ("pad.hot_to_touch", {"cool_c": 49.0}, "raise hot_c or lower cool_c"),
        ("site.energised_at_end_of_day", {"go_by_min": 12.0}, "raise go_by_min or lower"),
    ],
)
def test_crossed_limits_are_refused(tag: str, limits: dict[str, float], says: str) -> None:
    with pytest.raises(ValidationError, match=re.escape(says)):
        BY_TAG[tag].limits_type(**limits)


@pytest.mark.parametrize(
    ("facts", "says"),
    [
        ({"closing_time": "6pm"}, 'write hours and minutes, "18:00"'),
        ({"closing_time": "24:00"}, '"24:00" is no time of day'),
        ({"commissioned_on": "14.3.2026"}, 'write year, month and day, "2026-03-14"'),
        ({"commissioned_on": "2026-13-01"}, '"2026-13-01" is no date'),
    ],
)
def test_a_time_or_a_date_that_is_none_is_refused(facts: dict[str, object], says: str) -> None:
    with pytest.raises(ValidationError, match=re.escape(says)):
        limits_with(facts=facts)


def counted_s(pattern: str, *, watch_only: bool = False) -> float:
    """Heat time of a pattern, a minute each: `#` on, `_` off, `g` on after a gap of 5 min."""
    time, now_s = NO_HEAT, 0
    for sign in pattern:
        gap_s = 300.0 if sign == "g" else 0.0
        now_s += 300 if sign == "g" else 60
        frame = Frame(0, now_s * NS_PER_S, 0, True, "case", {})
        view = view_of(
            *(frame, limits_with().facts, now_s * NS_PER_S, 60.0),
            gap_s=gap_s,
            watch_only=watch_only,
        )
        time = heat_counted(time, view, on=sign in "#g")
    return time.total_s(now_s * NS_PER_S)


@pytest.mark.parametrize(
    ("pattern", "minutes"),
    [
        ("_", 0),
        ("#####", 4),
        ("#####_", 5),  # off is seen a minute after it was last seen on
        ("#####_________", 5),
        ("###__###", 7),  # a thermostat's rest
        ("###_________###", 14),  # of 9 min
        ("###___________###", 3 + 2),  # 11 min are no rest
        ("_____###", 2),
        ("###___________###__________________", 3 + 3),
    ],
)
def test_heat_time_counts_a_thermostats_rest_and_no_pause(pattern, minutes):
    assert REST_S == 600
    assert counted_s(pattern) == minutes * 60


@pytest.mark.parametrize(("watch_only", "minutes"), [(False, 2 + 1), (True, 2 + 5 + 1)])
def test_heat_time_in_a_gap_only_where_no_permit_fell_open(watch_only, minutes):
    assert counted_s("###g#", watch_only=watch_only) == minutes * 60


def test_heat_time_that_goes_on_is_the_same_object():
    frame = Frame(0, 0, 0, True, "case", {})
    view = view_of(frame, limits_with().facts, 0)
    begun = heat_counted(NO_HEAT, view, on=True)
    assert heat_counted(begun, view, on=True) is begun
    assert heat_counted(NO_HEAT, view, on=False) is NO_HEAT

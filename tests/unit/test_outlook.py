"""What will happen tonight: said before the start, in plain lines, never a judgement.

Stories and usual times are invented.
"""

from dataclasses import replace

import pytest

from rules.alphabet import BASIC, SHORT_MAX, room
from rules.events import Prompted
from rules.facts import AirMode
from rules.frame import NS_PER_S
from rules.outlook import TAG, outlook
from rules.usual import UsualTimes
from tests.unit.story import Story, limits_with, story_in

MODES = {
    "relieving": "Overnight: air stays in, the compressor stays on.",
    "non_relieving": "Overnight: compressor off only with lock-off valves shut.",
    "locked_off": "Overnight: valves stay shut, the compressor may go off.",
}
PLACES = ("idle", "preheat", "fitting", "inflation", "heat_up", "cure", "cool_down")


def story_at(place: str, **facts: object) -> Story:
    story = story_in(place, hold_min=None if place == "idle" else 150)
    story.limits = limits_with(10.0, facts={"title": "BAY 2", "hold_min": 150.0, **facts})
    return story.tick()


def lines(story: Story, **changed: object) -> tuple[str, ...]:
    """The outlook with the newest frame, changed in some fields."""
    return outlook(story.limits, story.state, replace(story.frames[-1], **changed))


def at(story: Story, after_s: float) -> str:
    """Local time by plain arithmetic, not by the rules' own words."""
    minutes = (story.frames[-1].wall_ns // NS_PER_S + int(after_s)) // 60
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def about(story: Story, after_s: float) -> str:
    """To the next five minutes."""
    wall_s = story.frames[-1].wall_ns // NS_PER_S + int(after_s)
    late_s = -(-wall_s // 300) * 300
    return at(story, late_s - story.frames[-1].wall_ns // NS_PER_S)


def told(story: Story) -> list[Prompted]:
    return [event for event in story.events("prompt") if event.tag == TAG]  # type: ignore[union-attr]  # only prompts


def test_before_the_start_all_of_it_is_told_in_order():
    story = story_at("idle")
    usual = UsualTimes()
    hot_s = 60 * (usual.preheat_min + usual.mount_min + usual.air_min + usual.heat_up_min)
    assert lines(story) == (
        f"Hot by about {about(story, hot_s)}.",
        f"Hold ends about {about(story, hot_s + 9000)}; heat then goes off by itself.",
        "Once it is started press here every 30 min.",
        f"Not to be opened before about {about(story, hot_s + 9000 + 9000)}, roughly.",
        "Let-down: somebody at the rig, gauges at zero, then pins.",
        MODES["relieving"],
    )


@pytest.mark.parametrize("mode", list(AirMode))
def test_the_night_goes_by_the_air_mode(mode):
    assert lines(story_at("cure", air_mode=mode))[-1] == MODES[mode.value]


def test_in_the_hold_it_counts_what_is_left_and_the_last_press():
    story = story_at("cure")
    hold_s, alone_s = story.state.hold.held_s, 0.0
    story.press("here_button")
    pressed_s = story.t_s - 2 * story.period_s
    story.run(600)
    alone_s = story.t_s - story.period_s - pressed_s
    left_s = 9000 - story.state.hold.held_s
    assert story.state.hold.held_s > hold_s
    first, presses, alone = lines(story)[:3]
    assert first == f"Hold ends about {about(story, left_s)}; heat then goes off by itself."
    often = "then every 30 min (45 in a quiet hold)."
    assert presses == f"Press here by {at(story, 1800 - alone_s)}, {often}"
    assert alone == f"Nobody there by {at(story, 3600 - alone_s)}: heat goes off by itself."


def test_heating_up_goes_by_the_coldest_pad():
    story = story_at("heat_up")
    story.pads(130, 90).tick()
    half_s = UsualTimes().heat_up_min * 60 / 2  # 90 C is half the way from 60 to 120 C
    assert lines(story)[0] == f"Hot by about {about(story, half_s)}."


def test_without_a_hold_time_it_asks_for_one_and_guesses_nothing():
    story = story_at("cure", hold_min=None)
    assert lines(story)[0] == "No hold time set: say when heat is to end."
    assert not [line for line in lines(story) if "opened" in line]


def test_a_watched_rig_is_told_to_switch_off_itself():
    story = story_at("cure")
    story.readback.clear()
    story.tick()
    assert lines(story)[0].endswith("; then SWITCH HEAT OFF.")
    assert [line for line in lines(story) if line.endswith(": heat must go off.")]
    assert not [line for line in lines(story) if "by itself" in line]


def test_left_to_cool_nobody_is_asked_to_press():
    story = story_in("cure", hold_min=15).run(480)
    assert story.phase == "cool_down"
    told_lines = lines(story)
    assert not [line for line in told_lines if "ress here" in line or "Nobody" in line]
    gone_s = (story.state.now_ns - story.state.place.since_ns) / NS_PER_S
    assert told_lines[0] == (
        f"Not to be opened before about {about(story, 9000 - gone_s)}, roughly."
    )
    story.run(9600)
    assert lines(story)[0] == "Cooling for as long as it usually takes; look at the pads."


def test_without_a_here_button_nothing_stands_in_for_it():
    story = story_at("cure").without("here_button").tick()
    assert lines(story)[1] == "No here button: do not leave it alone."


def test_without_a_clock_that_is_set_it_says_how_long():
    story = story_at("cure").press("here_button").tick()
    assert lines(story, wall_trusted=False)[1].startswith("Press here by 29 min from now,")
    assert lines(story_at("idle"), wall_trusted=False)[0] == "Hot by about 1 h 30 min from now."


def test_the_time_is_local():
    story = story_at("idle")
    there = lines(story, utc_offset_s=7200)[0]
    assert there == f"Hot by about {about(story, 5400 + 7200)}."


@pytest.mark.parametrize("place", ["release", "done", "aborted"])
def test_once_it_is_let_down_nothing_is_to_come(place):
    story = story_in("release", hold_min=15)
    if place != "release":
        kept = 150.0 if place == "aborted" else 1.0
        story.limits = limits_with(10.0, facts={"hold_min": kept})
        story.bags(0).run(300)
    assert story.phase == place
    assert lines(story) == ()


@pytest.mark.parametrize("wall_trusted", [True, False])
@pytest.mark.parametrize("mode", list(AirMode))
@pytest.mark.parametrize("place", PLACES)
def test_every_line_is_short_and_of_the_basic_alphabet(place, mode, wall_trusted):
    made = lines(story_at(place, air_mode=mode), wall_trusted=wall_trusted)
    assert len(made) >= 3
    for line in made:
        assert len(line) <= 75, line
        assert BASIC.issuperset(line)


def test_told_before_the_start_and_when_start_allows_heat():
    story = story_at("idle").since().press("here_button")
    (before,) = told(story)
    assert "Once it is started press here every 30 min." in before.said
    story.since().press("start_button")
    (begun,) = told(story)
    assert f"Press here by {at(story, 1790)}, then every 30 min" in begun.said
    assert [event.event for _, event in story.told][:5] == [
        *("pressed", "permit", "run_opened", "phase"),
        "prompt",
    ]
    story.since().press("here_button").press("start_button")
    assert told(story) == [], "heat is allowed: nobody is about to start"


def test_a_press_in_the_hold_tells_none_and_a_fresh_start_does():
    story = story_at("cure").since().press("here_button")
    assert told(story) == []
    story.set(estop_ok=0.0).tick().set(estop_ok=1.0).tick().press("here_button")
    assert told(story) == []
    story.press("start_button")
    assert story.permit == "granted"
    assert len(told(story)) == 1


def test_the_message_is_one_short_message_of_whole_lines_and_a_page_of_all():
    story = story_at("idle").since().press("start_button")
    (event,) = told(story)
    made = outlook(story.limits, story.state, story.frames[-2])
    assert event.text.startswith("BAY 2: Hot by about ")
    assert event.text.endswith(".")
    assert room(event.text) <= SHORT_MAX
    assert len(event.page.splitlines()) == len(event.said.split(". ")) + 1
    assert made[-1] in event.page

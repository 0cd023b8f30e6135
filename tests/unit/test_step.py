"""One frame in, one decision out: order of events, gaps, runs, outputs."""

from dataclasses import replace

import pytest

from rules.events import Horn, Level, as_dict
from rules.state import State
from rules.step import step
from tests.unit.story import Story, fold, limits_with, story_in


def kinds(story: Story) -> list[str]:
    return [event.event for event in story.decision.events]


def test_a_whole_cure_tells_no_alarm_and_closes_its_run():
    """Preheat 50-70 C, 30 psi, 140 C, pressure until below 100 C: common practice, no source."""
    story = Story(limits_with(10.0, facts={"hold_min": 45.0}))
    story.run(70).press("start_button").run(600, pad_inner_c=62.0, pad_outer_c=60.0)
    story.run(300, pad_inner_c=52.0, pad_outer_c=50.0).set(pins_in=1.0).press("here_button")
    story.run(180, bag_inner_kpa=206.8, bag_outer_kpa=206.8).run(60)
    story.run(1800, pad_inner_c=140.0, pad_outer_c=139.0).press("here_button")
    story.run(1200).press("here_button").run(1200).press("here_button")
    assert story.permit == "withdrawn"
    story.run(1500, pad_inner_c=110.0, pad_outer_c=109.0).press("here_button")
    story.run(900, pad_inner_c=80.0, pad_outer_c=79.0).press("here_button")
    story.run(300, bag_inner_kpa=0.0, bag_outer_kpa=0.0).run(120)
    ordinary = ["preheat", "fitting", "inflation", "heat_up", "cure", "cool_down", "release"]
    assert story.phases() == [*ordinary, "done"]
    assert story.alarms() == []
    assert story.permits() == ["granted", "withdrawn"]
    (closed,) = story.events("run_closed")
    assert (closed.outcome, closed.peak_c) == ("done", 140.0)
    assert 45 * 60 <= closed.hold_s < 46 * 60, "the clock stops with the phase"
    assert [event.event for event in (story.told[0][1], story.told[-1][1])] == [
        "pressed",
        "run_closed",
    ]


def test_events_come_in_the_stated_order():
    story = story_in("cure").command("seen").gap(30)
    story.values["start_button"] = 0.0
    story.pads(156).tick()
    assert kinds(story) == ["interrupted", "command", "alarm", "alarm", "permit"]
    story.press("here_button")
    story = story_in("idle").press("start_button")
    told = [event.event for _, event in story.told]
    assert told == ["pressed", "permit", "run_opened", "phase", "prompt"]
    story = story_in("release", hold_min=15).run(300, bag_inner_kpa=0.0, bag_outer_kpa=0.0).run(70)
    assert [event.event for _, event in story.told][-2:] == ["phase", "run_closed"]


def test_frames_belong_to_the_run_they_close():
    story = story_in("release")
    story.run(300, bag_inner_kpa=0.0, bag_outer_kpa=0.0)
    while not story.events("run_closed"):
        story.tick()
    assert story.decision.run == 1
    assert story.tick().decision.run == 0


def test_new_limits_are_told_once():
    story = story_in("cure")
    frame = replace(story.frame(), limits_hash="abc")
    state, decision = step(story.limits, story.state, frame)
    assert [as_dict(event) for event in decision.events] == [
        {"event": "limits", "limits_hash": "abc"}
    ]
    later = replace(
        frame, seq=frame.seq + 1, t_ns=frame.t_ns + 10**9, wall_ns=frame.wall_ns + 10**9
    )
    assert step(story.limits, state, later)[1].events == ()
    first = step(story.limits, State(), frame)[1].events
    assert "limits" not in [event.event for event in first]


@pytest.mark.parametrize(
    ("period_s", "gap_s", "told"),
    [
        (1.0, 3.0, False),
        (1.0, 3.5, True),
        (10.0, 25.0, False),
        (10.0, 26.0, True),
        (60.0, 150.0, False),
        (60.0, 151.0, True),
    ],
)
def test_what_counts_as_a_gap_follows_the_frame_period(period_s, gap_s, told):
    story = story_in("cure", period_s).gap(gap_s).tick()
    assert [event.gap_s for event in story.events("interrupted")] == ([gap_s] if told else [])


def test_a_restart_is_a_gap_however_short_and_its_length_is_the_wall_clocks():
    story = story_in("cure").gap(42, boot_id="boot-2").tick()
    assert [(event.gap_s, event.same_boot) for event in story.events("interrupted")] == [
        (42.0, False)
    ]
    story = story_in("cure").gap(42, boot_id="boot-2")
    story.wall_s = -1e6
    (event,) = story.tick().events("interrupted")
    assert 0 < event.gap_s < 0.01


def test_process_time_never_runs_back():
    story = story_in("cure")
    now_ns = story.state.now_ns
    for shift_s in (-1e6, 1e6, -5.0):
        story.wall_s += shift_s
        story.gap(5, boot_id=f"boot{shift_s}").tick()
        assert story.state.now_ns >= now_ns
        now_ns = story.state.now_ns


def test_unseen_time_does_not_count_as_hold():
    story = story_in("cure")
    held_s = story.state.hold.held_s
    assert story.gap(300).tick().state.hold.held_s == held_s
    assert story.tick().state.hold.held_s == held_s + 10.0


def test_outputs_show_what_stands():
    story = story_in("cure")
    quiet = story.decision.outputs
    assert (quiet.horn, quiet.beacon_red, quiet.beacon_amber) == (Horn.SILENT, False, False)
    tripped = story.pads(156).tick().decision.outputs
    assert (tripped.horn, tripped.beacon_red, tripped.beacon_amber) == (Horn.COME_NOW, True, True)
    story.press("here_button")
    assert story.decision.outputs.horn is Horn.SILENT
    story.pads(140).run(300)
    over = story.decision.outputs
    assert story.state.alarms.tags(Level.TRIP) == ()
    assert over.beacon_red, "the latch still stands"
    story.press("reset_button")
    assert not story.decision.outputs.beacon_red


def test_the_release_lamp_stays_off_while_the_rubber_is_not_known():
    story = story_in("release")
    decisions = fold(story.limits, story.frames, State())
    assert not any(decision.outputs.release_permit for decision in decisions)


def test_a_second_fold_of_the_same_frames_is_equal():
    story = story_in("release")
    first, second = (list(fold(story.limits, story.frames, State())) for _ in range(2))
    assert first == second
    assert first[-1] == story.decision


def test_the_peak_of_a_run_is_the_hottest_reading():
    story = story_in("idle").pads(-5.0, -8.0)
    story.press("start_button").run(60)
    assert story.state.run.peak_c == -5.0
    story.pads(0.0).tick().pads(-2.0).tick()
    assert story.state.run.peak_c == 0.0

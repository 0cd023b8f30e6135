"""Alarms through the whole step: what people do and what is noise never decide about heat."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from rules.checkpoint import dump, load
from rules.events import AlarmChanged, AlarmLife, Escalated, Horn, Level, Outputs
from tests.unit.story import Story, limits_with, story_in

TRIP = "pad.overtemperature"


def told_of(story: Story, tag: str) -> list[tuple[str, ...]]:
    """What was told of one alarm, in short; what is only recorded begins with a dash."""
    found = []
    for _, event in story.told:
        if getattr(event, "tag", "") != tag:
            continue
        if isinstance(event, AlarmChanged):
            found.append(("alarm", event.state if event.told else f"-{event.state}", event.life))
        elif event.event in ("alarm_life", "escalated", "nuisance"):
            found.append((event.event, getattr(event, "change", ""), getattr(event, "life", "")))
    return found


def hot(story: Story) -> None:
    story.pads(149).run(60).pads(156).run(60).pads(140).run(180)


def leaky(story: Story) -> None:
    story.run(60, bag_inner_kpa=170.0).run(120).run(60, bag_inner_kpa=140.0).run(120)


def loose_pins(story: Story) -> None:
    for _ in range(8):
        story.set(pins_in=0.0).run(5).set(pins_in=1.0).run(5)


def blind(story: Story) -> None:
    story.set(pad_inner_c="open_circuit").run(60).pads(140).run(120)


def gap(story: Story) -> None:
    story.pads(149).run(30).gap(20).run(30).pads(140).run(120).gap(20).run(120)


TROUBLES = [hot, leaky, loose_pins, blind, gap]
TAGS = ("", TRIP, "bag.low", "pad.sensor", "release.pins_under_pressure", "run.interrupted")


def outputs(story: Story) -> Callable[[], None]:
    """Record the outputs of every frame from now on, but for the horn."""
    found: list[Outputs] = []
    tick = story.tick

    def recorded(dt_s: float | None = None) -> Story:
        tick(dt_s)
        found.append(replace(story.decision.outputs, horn=Horn.SILENT))
        return story

    story.tick = recorded  # type: ignore[method-assign]  # every frame of a story passes here
    return found


@pytest.mark.parametrize("trouble", TROUBLES)
def test_whatever_people_say_heat_and_lamps_are_the_same(trouble):
    alone = story_in("cure", 1.0)
    busy = alone.copy()
    wanted, found = outputs(alone), outputs(busy)
    asked = busy.tick
    turns = iter(range(10**9))

    def with_people(dt_s: float | None = None) -> Story:
        turn = next(turns)
        verb = ("seen", "going", "quiet", "out_of_service", "in_service", "note")[turn % 6]
        busy.command(verb, TAGS[turn // 6 % len(TAGS)], minutes=30.0, text="looking")
        return asked(dt_s)

    busy.tick = with_people  # type: ignore[method-assign]  # every frame of a story passes here
    trouble(alone)
    trouble(busy)
    assert found == wanted
    assert len(set(wanted)) > 1, "the trouble changes the outputs"
    assert busy.permits() == alone.permits()
    assert busy.state.permit == alone.state.permit
    assert busy.state.alarms.found == alone.state.alarms.found
    assert busy.state.memories == alone.state.memories
    assert busy.events("command")


@pytest.mark.parametrize("trouble", TROUBLES)
def test_whatever_is_called_noise_heat_and_lamps_are_the_same(trouble):
    # Everything chatters and floods at once here, and nothing ever does there.
    touchy = {"chatter_falls": 2, "chatter_s": 600.0, "flood_alarms": 5, "flood_ends_alarms": 1}
    patient = {"chatter_falls": 10, "chatter_s": 10.0, "flood_alarms": 50, "follow_min": 0.0}
    found = []
    for alarms in (touchy, patient):
        story = story_in("cure", 1.0)
        story.limits = limits_with(1.0, alarms=alarms)
        seen = outputs(story)
        trouble(story)
        found.append((seen, story.permits(), story.state.permit, story.state.alarms.found))
    assert found[0] == found[1]


def test_pins_that_come_and_go_trip_each_time_and_are_told_once():
    story = story_in("cure", 1.0)
    tripped = []
    for _ in range(8):
        story.set(pins_in=0.0).run(5)
        tripped.append(story.state.alarms.tags(Level.TRIP))
        assert story.decision.outputs.horn is Horn.STAND_CLEAR
        story.set(pins_in=1.0).run(5)
        assert story.state.alarms.tags(Level.TRIP) == ()
    tag = "release.pins_under_pressure"
    assert tripped == [(tag,)] * 8
    told = told_of(story, tag)
    assert len([one for one in told if one[:2] == ("alarm", "trip")]) == 3
    assert len([one for one in told if one[0] == "nuisance"]) == 1
    assert story.permit == "latched"


def test_a_trip_out_of_service_cuts_heat_and_speaks():
    story = story_in("cure", 1.0)
    story.command("out_of_service", TRIP, text="sensor reads 9 too high").tick()
    assert story.permit == "granted"
    story.pads(149).run(30)
    assert told_of(story, TRIP)[-1] == ("alarm", "-warn", "out_of_service")
    assert story.decision.outputs.horn is Horn.SILENT
    assert story.state.alarms.tags(Level.WARN) == (TRIP,)
    story.run(10, pad_inner_c=156.0, pad_outer_c=156.0).run(3)
    assert told_of(story, TRIP)[-1] == ("alarm", "trip", "unseen")
    assert (story.permit, story.decision.outputs.horn) == ("latched", Horn.COME_NOW)
    assert story.decision.outputs.heat_permit is False


def test_out_of_service_outlives_runs_restarts_and_checkpoints():
    story = story_in("heat_up")
    story.command("out_of_service", "bag.drift", text="hose ordered", minutes=60.0 * 24).tick()
    run = story.state.run.number
    story.gap(120, boot_id="boot-2").run(60)
    story.run(300, bag_inner_kpa=0.0, bag_outer_kpa=0.0).pads(40).run(900)
    story.press("reset_button").press("start_button").run(60)
    assert story.state.run.number > run, "another run"
    story.state = load(dump(story.state))
    story.run(60)
    assert story.state.alarms.life_of("bag.drift") == "out_of_service"
    (mark,) = story.state.alarms.out
    assert (mark.who, mark.via, mark.why) == ("Ada", "socket", "hose ordered")
    # The time it may last goes on meanwhile.
    story.gap(24 * 3600, boot_id="boot-3").run(20)
    assert story.state.alarms.out == ()


def test_nobody_comes_for_a_trip_at_night_and_then_somebody_does():
    story = story_in("cure", 10.0, hold_min=300)
    story.pads(156).run(10).pads(140).since()
    story.set(pad_inner_c=156.0).run(6 * 60)
    (step,) = [event for event in story.events("escalated") if event.tag == TRIP]
    assert (step.step, step.why) == (1, "nobody has seen it in 5 min")
    story.command("going", TRIP, who="Bo").run(14 * 60)
    assert len([e for e in story.events("escalated") if e.tag == TRIP]) == 1
    assert len([e for e in story.copy().run(120).events("escalated") if e.tag == TRIP]) == 2
    story.press("here_button").run(60 * 60)
    assert [e.step for e in story.events("escalated") if e.tag == TRIP] == [1]


def test_a_command_is_answered_before_what_it_changed_is_told():
    story = story_in("cure").pads(149).run(30).since()
    story.command("seen", TRIP).tick()
    kinds = [event.event for _, event in story.told]
    assert kinds[:2] == ["command", "alarm_life"]


def test_escalation_and_coming_back_go_on_after_a_resume():
    straight = story_in("cure", 10.0).pads(156).run(60)
    resumed = straight.copy()
    resumed.state = load(dump(straight.state))
    for story in (straight, resumed):
        story.run(400).command("seen", TRIP).run(200)
        story.command("quiet", TRIP, minutes=2.0, text="x").run(200)
    # Without the page, which names what else stands.
    told = [
        [
            (t_s, replace(event, text="", page=""))
            for t_s, event in story.told
            if isinstance(event, AlarmLife | Escalated) and event.tag == TRIP
        ]
        for story in (straight, resumed)
    ]
    assert told[0] == told[1]
    assert any(isinstance(event, Escalated) for _, event in told[0])

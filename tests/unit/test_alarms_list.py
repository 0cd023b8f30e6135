"""Which alarms stand, in which order and state, and what the horn sounds."""

from collections.abc import Iterator
from dataclasses import replace

import pytest

from rules.alarms import Alarms
from rules.annunciator import update
from rules.events import AlarmChanged, Horn, Level, Prompted
from rules.phases import Phase
from tests.unit.alarm_desk import PROMPT, TRIP, WARN, Desk, demo_hazards

QUIETLY = replace(WARN, horn=Horn.SILENT)


@pytest.fixture(autouse=True)
def _demo() -> Iterator[None]:
    with demo_hazards():
        yield


def orders(desk: Desk) -> list[tuple]:
    return [(e.tag, e.state, e.order) for e in desk.told if isinstance(e, AlarmChanged)]


def test_started_with_order_is_kept_until_nothing_stands():
    desk = Desk().see(demo__low=WARN)
    assert orders(desk) == [("demo.low", "warn", 1)]
    assert orders(desk.see(demo__low=WARN, demo__high=WARN)) == [("demo.high", "warn", 2)]
    # A worse level and a cleared neighbour change no place.
    told = orders(desk.see(demo__high=TRIP))
    assert told == [("demo.low", "clear", 0), ("demo.high", "trip", 2)]
    assert orders(desk.see(demo__low=WARN, demo__high=TRIP)) == [("demo.low", "warn", 3)]
    assert desk.alarms.tags(Level.WARN) == ("demo.high", "demo.low")
    assert orders(desk.see().see(demo__low=WARN)) == [("demo.low", "warn", 1)]


def test_levels_are_told_when_they_change_and_only_then():
    desk = Desk().see(demo__low=PROMPT)
    assert [type(event) for event in desk.told] == [Prompted]
    assert desk.see(demo__low=PROMPT).told == []
    assert desk.see(demo__low=WARN).short() == [("demo.low", "warn")]
    assert desk.see(demo__low=replace(WARN, said="other words")).told == []
    assert desk.see(demo__low=TRIP).short() == [("demo.low", "trip")]
    assert desk.see(demo__low=WARN).short() == [("demo.low", "warn")]
    assert desk.see(demo__low=PROMPT).short() == [("demo.low", "clear")], "a prompt is no alarm"
    assert desk.item("demo.low").level is Level.PROMPT
    assert desk.see().told == [], "a prompt that goes needs no word"


def test_what_is_told_carries_both_forms_priority_and_lifecycle():
    event = Desk().see(demo__high=WARN).told[0]
    assert event.text.startswith("BAY 2 GO NOW: Look.")
    assert event.page.startswith("BAY 2 GO NOW: Look.")
    assert len(event.page) > len(event.text)
    assert (event.priority, event.life, event.told) == ("high", "unseen", True)


def test_the_same_object_comes_back_when_nothing_changed():
    desk = Desk().on()
    assert desk.alarms == Alarms()
    before = desk.see(demo__high=WARN, demo__low=TRIP, demo__medium=WARN).alarms
    assert desk.see(demo__high=WARN, demo__low=TRIP, demo__medium=WARN).alarms is before
    # Other words and figures are no change; a level, a horn, a press or a phase may be.
    assert desk.see(demo__high=replace(WARN, said="x"), demo__low=TRIP, demo__medium=WARN)
    assert desk.alarms is before
    for change in (
        desk.press,
        lambda: desk.see(demo__high=WARN, demo__low=TRIP),
        lambda: desk.see(demo__high=QUIETLY, demo__low=TRIP),
    ):
        was = desk.alarms
        change()
        assert desk.alarms is not was


def test_an_empty_list_is_the_same_in_any_phase():
    desk = Desk().see(demo__low=WARN).see()
    for phase in Phase:
        desk.phase = phase
        was = desk.alarms
        assert update(desk.limits, was, [], desk.view(pressed=True)) == (was, ())
        assert update(desk.limits, was, [], desk.view())[0] is was


@pytest.mark.parametrize(
    ("found", "kept"),
    [
        ({"demo__high": WARN}, True),
        ({"demo__low": TRIP}, True),
        ({"demo__medium": WARN}, False),
        ({"demo__low": WARN}, False),
        ({"demo__low": PROMPT}, False),
    ],
)
def test_trips_and_high_ones_stay_in_the_list_until_they_are_seen(found, kept):
    (tag,) = (name.replace("__", ".") for name in found)
    desk = Desk().see(**found).see()
    assert desk.life(tag) == ("over_unseen" if kept else "normal")
    assert [item.tag for item in desk.alarms.over] == ([tag] if kept else [])
    assert desk.alarms.standing == ()
    assert desk.sounds is Horn.SILENT
    assert desk.alarms.tags(Level.PROMPT) == ()


@pytest.mark.parametrize("verb", ["seen", "going", "quiet"])
def test_what_was_seen_before_it_was_over_does_not_stay(verb):
    desk = Desk().see(demo__high=TRIP)
    assert desk.ask(verb, "demo.high", minutes=5.0, text="x").startswith("done")
    assert desk.see().short() == [("demo.high", "clear")]
    assert desk.told[0].life == desk.life("demo.high") == "normal"


def test_seen_afterwards_takes_it_out_of_the_list():
    desk = Desk().see(demo__high=WARN).see()
    assert desk.told[0].life == "over_unseen"
    assert "Nobody had seen it" in desk.told[0].text
    assert desk.ask("seen", "demo.high") == "done: seen: demo.high"
    assert desk.short() == [("demo.high", "seen")]
    assert desk.alarms.over == ()


def test_it_leaves_the_list_by_itself_after_a_day_and_says_so():
    desk = Desk().see(demo__high=WARN).see()
    assert desk.on(24 * 3600 - 1).told == []
    assert desk.on(1).short() == [("demo.high", "lapsed")]
    assert desk.life("demo.high") == "normal"


def test_it_comes_anew_and_is_told_anew():
    desk = Desk().see(demo__high=WARN).see().see(demo__high=WARN)
    assert desk.short() == [("demo.high", "warn")]
    assert (desk.alarms.over, desk.life("demo.high")) == ((), "unseen")


def test_a_trip_that_eased_to_a_prompt_is_still_over_and_unseen():
    desk = Desk().see(demo__low=TRIP).see(demo__low=WARN).see(demo__low=PROMPT)
    assert [item.level for item in desk.alarms.over] == [Level.TRIP]
    assert desk.item("demo.low").level is Level.PROMPT


@pytest.mark.parametrize(("phase", "silent"), [(Phase.PREHEAT, True), (Phase.CURE, False)])
def test_a_warning_says_nothing_in_its_silent_phases_and_is_recorded(phase, silent):
    desk = Desk(phase=phase).see(demo__phased=WARN)
    assert desk.short() == [("demo.phased", "-warn" if silent else "warn")]
    assert desk.life("demo.phased") == ("suppressed" if silent else "unseen")
    assert (desk.sounds is Horn.SILENT) is silent
    assert desk.alarms.tags(Level.WARN) == ("demo.phased",), "found all the same"
    assert bool(desk.during(3600).told) is not silent


def test_when_the_phase_ends_and_it_still_stands_it_speaks():
    desk = Desk(phase=Phase.PREHEAT).see(demo__phased=WARN)
    desk.phase = Phase.CURE
    assert desk.on().short() == [("demo.phased", "warn")]
    assert desk.sounds is Horn.COME_WHEN_YOU_CAN
    desk.phase = Phase.PREHEAT
    assert desk.on().short() == [("demo.phased", "suppressed")]
    assert (desk.told[0].why, desk.sounds) == ("cold", Horn.SILENT)
    assert desk.see().short() == [("demo.phased", "-clear")]
    assert desk.alarms.over == ()


def test_a_trip_always_speaks_in_any_phase():
    desk = Desk(phase=Phase.PREHEAT).see(demo__phased=TRIP)
    assert desk.short() == [("demo.phased", "trip")]
    assert desk.sounds is Horn.COME_NOW
    # It speaks until it is over, also as a warning again.
    assert desk.see(demo__phased=WARN).short() == [("demo.phased", "warn")]
    assert desk.life("demo.phased") == "unseen"
    worse = Desk(phase=Phase.PREHEAT).see(demo__phased=WARN).see(demo__phased=TRIP)
    assert worse.short() == [("demo.phased", "trip")]


def test_the_loudest_horn_sounds():
    desk = Desk().see(demo__low=WARN)
    assert desk.sounds is Horn.COME_WHEN_YOU_CAN
    assert desk.see(demo__low=WARN, demo__trips=TRIP).sounds is Horn.STAND_CLEAR
    assert desk.see().sounds is Horn.SILENT


@pytest.mark.parametrize(
    ("found", "silent_s"),
    [
        ({"demo__trips": TRIP}, 120),
        ({"demo__high": WARN}, 300),
        ({"demo__low": TRIP}, 300),
        ({"demo__medium": WARN}, 900),
        ({"demo__low": WARN}, 3600),
    ],
)
def test_a_press_at_the_rig_silences_for_a_while(found, silent_s):
    desk = Desk().see(**found)
    loud = desk.sounds
    assert loud is not Horn.SILENT
    assert desk.press().sounds is Horn.SILENT
    assert desk.on(silent_s - 1).sounds is Horn.SILENT
    assert desk.on(1).sounds is loud


def test_a_press_answers_only_what_could_be_heard():
    desk = Desk().see(demo__low=WARN).press()
    desk.found = {"demo.low": WARN, "demo.trips": TRIP}
    assert desk.press().sounds is Horn.STAND_CLEAR, "it began with that very press"
    assert desk.press().sounds is Horn.SILENT


def test_what_starts_or_worsens_after_the_press_sounds_at_once():
    pressed = Desk().see(demo__low=WARN).press()
    assert pressed.sounds is Horn.SILENT
    assert replace(pressed).see(demo__low=WARN, demo__trips=TRIP).sounds is Horn.STAND_CLEAR
    assert replace(pressed).see(demo__low=TRIP).sounds is Horn.COME_NOW
    louder = replace(WARN, horn=Horn.STAND_CLEAR)
    assert replace(pressed).see(demo__low=louder).sounds is Horn.STAND_CLEAR
    assert replace(pressed).see(demo__low=WARN).sounds is Horn.SILENT
    # Its horn is the same at both levels; the worse one is news all the same.
    same = Desk().see(demo__low=replace(WARN, horn=Horn.COME_NOW)).press()
    assert same.see(demo__low=TRIP).sounds is Horn.COME_NOW


def test_quiet_from_afar_has_an_end_and_then_it_is_told_again():
    desk = Desk().see(demo__low=WARN).quiet("demo.low", 5)
    assert desk.on(1).sounds is Horn.SILENT
    assert desk.on(298).told == []
    assert desk.on(1).short() == [("demo.low", "quiet_over")]
    assert desk.told[0].text.startswith("BAY 2 GO NOW")
    assert (desk.sounds, desk.life("demo.low")) == (Horn.COME_WHEN_YOU_CAN, "unseen")
    assert desk.item("demo.low").seen_by == ""


def test_quiet_ends_when_it_gets_worse_or_louder():
    desk = Desk().see(demo__low=WARN).quiet()
    worse = replace(desk).see(demo__low=TRIP)
    assert (worse.sounds, worse.short()) == (Horn.COME_NOW, [("demo.low", "trip")])
    louder = replace(desk).see(demo__low=replace(WARN, horn=Horn.COME_NOW))
    assert (louder.sounds, louder.short()) == (Horn.COME_NOW, [("demo.low", "quiet_over")])
    milder = replace(desk).see(demo__low=QUIETLY)
    assert (milder.told, milder.life("demo.low")) == ([], "quiet")


def test_quiet_is_for_this_time_and_not_for_the_next():
    desk = Desk().see(demo__low=WARN).quiet().see().see(demo__low=WARN)
    assert desk.short() == [("demo.low", "warn")]
    assert desk.sounds is Horn.COME_WHEN_YOU_CAN


def test_stand_clear_is_never_quieted_from_afar():
    desk = Desk().see(demo__trips=TRIP)
    answer = desk.ask("quiet", "demo.trips", minutes=5.0, text="busy")
    assert answer == "refused: not quiet: stand clear is silenced only by a button at the rig"
    assert desk.on().sounds is Horn.STAND_CLEAR
    both = desk.see(demo__trips=TRIP, demo__low=WARN)
    assert both.ask("quiet", minutes=5.0, text="busy") == "done: quiet: demo.low"
    assert both.on().sounds is Horn.STAND_CLEAR
    # What was quiet and turns into stand clear sounds all the same.
    quiet = Desk().see(demo__low=WARN).quiet()
    assert quiet.see(demo__low=replace(WARN, horn=Horn.STAND_CLEAR)).sounds is Horn.STAND_CLEAR


def test_seen_and_going_silence_nothing():
    desk = Desk().see(demo__low=WARN)
    assert desk.ask("seen") == "done: seen: demo.low"
    assert desk.on().sounds is Horn.COME_WHEN_YOU_CAN
    assert desk.ask("going") == "done: going: demo.low"
    assert desk.on().sounds is Horn.COME_WHEN_YOU_CAN

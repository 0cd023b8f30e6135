"""Alarms that come back, *seen* and *going*, and who is told when nobody comes."""

from collections.abc import Iterator
from dataclasses import replace

import pytest

from rules.alarms import AlarmLimits
from rules.events import AlarmLife, Escalated, Horn
from rules.phases import Phase
from tests.unit.alarm_desk import TRIP, WARN, Desk, demo_hazards

MINUTE = 60
# Nobody escalates here, so that only what comes back is told.
PATIENT = AlarmLimits(trip_unseen_min=30.0, high_unseen_min=60.0)


@pytest.fixture(autouse=True)
def _demo() -> Iterator[None]:
    with demo_hazards():
        yield


def times_min(desk: Desk, kind: str, minutes: int) -> list[int]:
    """When something was told in the next minutes, min from now; a frame each minute."""
    found = []
    for minute in range(1, minutes + 1):
        found += [minute for _, what in desk.on(MINUTE).short() if what == kind]
    return found


@pytest.mark.parametrize(
    ("found", "wanted"),
    [
        ({"demo__high": WARN}, [5, 15, 35]),
        ({"demo__medium": WARN}, [15, 45, 105]),
        ({"demo__low": WARN}, [60, 180, 420]),
        ({"demo__low": TRIP}, [5, 15]),
    ],
)
def test_it_comes_back_when_ignored_each_time_later(found, wanted):
    desk = Desk(PATIENT).see(**found)
    assert times_min(desk, "again", wanted[-1])[: len(wanted)] == wanted


def test_what_comes_back_is_the_whole_message_with_the_figures_of_now():
    desk = Desk().see(demo__high=replace(WARN, said="inner bag 170 kPa"))
    desk.see(1, demo__high=replace(WARN, said="inner bag 160 kPa"))
    (event,) = desk.on(5 * MINUTE).told
    assert isinstance(event, AlarmLife)
    assert event.text.startswith("BAY 2 GO NOW: Look. Inner bag 160 kPa.")
    assert event.page.startswith("BAY 2 GO NOW: Look.")
    assert event.life == "unseen"


@pytest.mark.parametrize(
    ("found", "wanted"),
    [
        ({"demo__high": WARN}, [20, 60]),
        ({"demo__medium": WARN}, [60, 180]),
        ({"demo__low": WARN}, [240]),
    ],
)
@pytest.mark.parametrize("seen", ["seen", "pressed"])
def test_once_seen_or_attended_it_waits_longer(found, wanted, seen):
    desk = Desk(PATIENT).see(**found)
    if seen == "seen":
        assert desk.ask("seen").startswith("done")
    else:
        desk.press(0)
    limit_min = 29 if "demo__high" in found and seen == "seen" else wanted[-1]
    wanted = [minute for minute in wanted if minute <= limit_min]
    assert times_min(desk, "again", limit_min) == wanted


def test_a_quiet_warning_does_not_come_back_and_a_quiet_trip_does():
    assert times_min(Desk().see(demo__high=WARN).quiet(), "again", 59) == []
    trip = Desk(PATIENT).see(demo__low=TRIP).quiet()
    assert times_min(trip, "again", 59)[:1] == [20]


@pytest.mark.parametrize(
    ("found", "wanted"),
    [
        ({"demo__trips": TRIP}, [5, 10, 15]),
        ({"demo__low": TRIP}, [5, 10, 15]),
        ({"demo__high": WARN}, [10, 20, 30]),
        ({"demo__medium": WARN}, []),
        ({"demo__low": WARN}, []),
        ({"demo__morning": WARN}, []),
    ],
)
def test_unseen_it_escalates_in_three_steps_and_no_more(found, wanted):
    desk = Desk().see(**found)
    steps = []
    for minute in range(1, 121):
        steps += [(minute, e.step) for e in desk.on(MINUTE).told if isinstance(e, Escalated)]
    assert steps == list(zip(wanted, (1, 2, 3), strict=bool(wanted))) if wanted else steps == []


@pytest.mark.parametrize("tag", ["demo__low", "demo__morning"])
def test_a_trip_that_has_eased_waits_for_people_as_a_trip(tag):
    desk = Desk().see(**{tag: TRIP}).see(**{tag: WARN})
    (told,) = desk.during(5 * MINUTE).told
    assert (told.event, told.why) == ("escalated", "nobody has seen it in 5 min")
    assert times_min(desk, "step 2", 5) == [5]
    assert desk.press().sounds is Horn.SILENT
    assert desk.on(5 * MINUTE).sounds is Horn.COME_WHEN_YOU_CAN


def test_what_escalates_says_why_and_does_not_come_back_in_the_same_breath():
    desk = Desk().see(demo__high=TRIP)
    told = desk.during(5 * MINUTE, 10).told
    assert [event.event for event in told] == ["escalated"]
    assert (told[0].step, told[0].why) == (1, "nobody has seen it in 5 min")
    assert "Nobody has seen it in 5 min" in told[0].text
    assert len(told[0].page) > len(told[0].text)


def test_seen_is_not_going():
    desk = Desk().see(demo__high=TRIP)
    desk.ask("seen", who="Bo")
    assert times_min(desk, "step 1", 29) == []
    told = desk.on(MINUTE).told
    assert told[0].why == "seen by Bo, but nobody pressed at the rig in 30 min"


@pytest.mark.parametrize("found", [{"demo__low": WARN}, {"demo__medium": WARN}])
def test_what_is_not_urgent_needs_nobody_once_it_is_seen(found):
    desk = Desk().see(**found)
    desk.ask("seen")
    assert times_min(desk, "step 1", 600) == []


@pytest.mark.parametrize("found", [{"demo__low": WARN}, {"demo__high": TRIP}])
def test_after_going_somebody_must_press_at_the_rig(found):
    desk = Desk().see(**found)
    desk.ask("going", who="Bo")
    assert times_min(desk, "step 1", 14) == []
    (told,) = [e for e in desk.on(MINUTE).told if isinstance(e, Escalated)]
    assert told.why == "Bo is going, but nobody pressed at the rig in 15 min"
    assert times_min(desk, "step 2", 15) == [15]
    assert times_min(desk, "step 3", 15) == [15]
    assert times_min(desk, "step 4", 120) == []


def test_a_press_at_the_rig_stops_it_and_is_not_seen_by_name():
    desk = Desk().see(demo__high=TRIP)
    desk.ask("going", who="Bo")
    desk.during(10 * MINUTE).press()
    assert [e for e in desk.during(120 * MINUTE).told if isinstance(e, Escalated)] == []
    unseen = Desk().see(demo__high=TRIP).press()
    assert unseen.life("demo.high") == "unseen"
    assert unseen.item("demo.high").seen_by == ""
    assert [e for e in unseen.during(120 * MINUTE).told if isinstance(e, Escalated)] == []


def test_a_press_stops_only_what_stood():
    desk = Desk().see(demo__high=WARN).press()
    desk.see(demo__high=WARN, demo__low=TRIP)
    told = [e for e in desk.during(6 * MINUTE).told if isinstance(e, Escalated)]
    assert [(e.tag, e.step) for e in told] == [("demo.low", 1)]


@pytest.mark.parametrize("minutes", [14, 15, 19])
def test_what_was_attended_and_comes_back_holds_up_no_call_for_what_is_new(minutes):
    # Somebody came, left it standing, and then something else tripped.
    desk = Desk().see(demo__high=TRIP).press()
    desk.during(minutes * MINUTE).see(demo__high=TRIP, demo__low=TRIP)
    assert times_min(desk, "step 1", 10) == [5]


def test_what_was_called_for_thrice_and_attended_holds_up_no_call_for_what_is_new():
    desk = Desk().see(demo__high=TRIP).during(40 * MINUTE).press()
    desk.during(15 * MINUTE).see(demo__high=TRIP, demo__low=TRIP)
    assert times_min(desk, "step 1", 10) == [5]


def test_what_needs_nobody_and_comes_back_holds_up_no_call():
    desk = Desk().see(demo__medium=WARN)
    desk.ask("seen")
    desk.during(55 * MINUTE).see(demo__medium=WARN, demo__high=WARN)
    assert times_min(desk, "step 1", 12) == [10]


def test_a_worse_level_begins_anew_and_nobody_has_seen_it():
    desk = Desk().see(demo__high=WARN)
    desk.ask("going")
    desk.press().see(demo__high=TRIP)
    assert (desk.item("demo.high").seen_by, desk.item("demo.high").going_by) == ("", "")
    assert times_min(desk, "step 1", 6) == [5]


def test_saying_going_again_wins_no_time():
    desk = Desk().see(demo__high=TRIP)
    for _ in range(14):
        desk.ask("going")
        assert [e for e in desk.on(MINUTE).told if isinstance(e, Escalated)] == []
    desk.ask("going", who="Bo")
    assert ("demo.high", "step 1") in desk.on(MINUTE).short()
    assert desk.item("demo.high").going_by == "Bo"


def test_quiet_wins_no_time_for_whoever_said_going_or_for_a_trip():
    for found in ({"demo__low": WARN}, {"demo__low": TRIP}):
        desk = Desk().see(**found)
        desk.ask("going")
        assert times_min(desk, "step 1", 10) == []
        assert times_min(desk.quiet(), "step 1", 5) == [5]
    trip = Desk().see(demo__low=TRIP)
    trip.ask("seen")
    assert times_min(trip, "step 1", 20) == []
    assert times_min(trip.quiet(), "step 1", 10) == [10]
    # Going is more than seen, and has its own time.
    late = Desk().see(demo__low=TRIP)
    late.ask("seen")
    assert times_min(late, "step 1", 29) == []
    late.ask("going")
    assert times_min(late, "step 1", 15) == [15]


def test_a_quiet_warning_does_not_escalate_and_a_quiet_trip_does():
    assert times_min(Desk().see(demo__high=WARN).quiet(), "step 1", 60) == []
    assert times_min(Desk().see(demo__high=TRIP).quiet(), "step 1", 60)[:1] == [30]


def test_going_after_a_press_waits_for_a_press_again():
    desk = Desk().see(demo__high=TRIP).press()
    desk.ask("going")
    assert times_min(desk, "step 1", 15) == [15]


def test_what_is_over_or_silent_does_not_escalate_or_come_back():
    over = Desk().see(demo__high=TRIP).see()
    assert over.during(20 * MINUTE).told == []
    silent = Desk(phase=Phase.PREHEAT).see(demo__phased=WARN)
    assert silent.during(120 * MINUTE).told == []


def test_after_the_quiet_it_escalates_if_nobody_sees_it():
    desk = Desk().see(demo__high=WARN).quiet(minutes=30)
    assert times_min(desk, "step 1", 39) == []
    assert times_min(desk, "step 1", 1) == [1]


def steps_in(desk: Desk, minutes: int) -> list[tuple[int, str, int]]:
    """Every escalation in the next minutes: when, of what, and how far."""
    found = []
    for minute in range(1, minutes + 1):
        told = [event for event in desk.on(MINUTE).told if isinstance(event, Escalated)]
        found += [(minute, event.tag, event.step) for event in told]
    return found


def test_one_call_stands_for_all_that_is_no_worse():
    desk = Desk().see(demo__high=WARN).see(2 * MINUTE, demo__high=WARN, demo__low=TRIP)
    desk.see(MINUTE, demo__high=WARN, demo__low=TRIP, demo__medium=TRIP)
    wanted = [(4, "demo.low", 1), (9, "demo.low", 2), (14, "demo.low", 3)]
    assert steps_in(desk, 120) == wanted
    assert [item.steps for item in desk.alarms.standing] == [3, 3, 3]


def test_what_begins_later_goes_at_once_as_far_as_the_others_have_come():
    desk = Desk().see(demo__high=TRIP)
    assert steps_in(desk, 12)[-1][1:] == ("demo.high", 2)
    desk.see(demo__high=TRIP, demo__low=TRIP)
    # With the step of the one that was there, or else by itself, each once.
    assert steps_in(desk, 120) == [(3, "demo.high", 3)]
    later = Desk().see(demo__high=TRIP)
    steps_in(later, 60)
    later.see(demo__high=TRIP, demo__low=TRIP)
    assert steps_in(later, 120) == [(5, "demo.low", 3)]


def test_what_is_worse_calls_for_itself():
    desk = Desk().see(demo__high=TRIP).see(MINUTE, demo__high=TRIP, demo__trips=TRIP)
    assert steps_in(desk, 6) == [(4, "demo.high", 1), (5, "demo.trips", 1)]


def test_who_is_going_is_waited_for_whatever_else_calls():
    desk = Desk().see(demo__high=TRIP)
    desk.ask("going", who="Bo")
    desk.see(MINUTE, demo__high=TRIP, demo__low=TRIP)
    assert steps_in(desk, 14) == [
        (5, "demo.low", 1),
        (10, "demo.low", 2),
        (14, "demo.high", 2),
    ]


def test_who_is_there_counts_for_nobody_else():
    desk = Desk().see(demo__high=TRIP)
    steps_in(desk, 60)
    desk.press().see(demo__high=TRIP, demo__low=TRIP)
    assert steps_in(desk, 5) == [(5, "demo.low", 1)]


def test_what_would_come_back_on_the_heels_of_another_waits():
    desk = Desk(PATIENT).see(demo__high=WARN).see(MINUTE, demo__high=WARN, demo__phased=WARN)
    told = [
        (m, tag) for m in range(1, 11) for tag, what in desk.on(MINUTE).short() if what == "again"
    ]
    assert told == [(4, "demo.high")]


def test_a_gap_tells_each_once_and_no_step_twice():
    desk = Desk().see(demo__high=TRIP, demo__low=TRIP)
    assert desk.on(8 * 3600).short() == [("demo.high", "step 1")]
    assert desk.on(1).told == []


def test_nothing_is_looked_at_before_something_is_due():
    desk = Desk().see(demo__high=WARN)
    before = desk.alarms
    desk.during(5 * MINUTE - 10)
    assert desk.alarms is before
    desk.press()
    pressed = desk.alarms
    desk.during(5 * MINUTE - 10)
    assert desk.alarms is pressed
    # Once the horn may sound again, that is over too.
    desk.on(60)
    after = desk.alarms
    assert after is not pressed
    assert desk.on(60).alarms is after

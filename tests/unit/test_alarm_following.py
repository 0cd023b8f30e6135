"""What one cause brings with it is told in one message."""

from collections.abc import Iterator
from dataclasses import replace

import pytest

from rules.alarms import brought_by
from rules.events import Horn
from rules.following import DEPTH
from rules.hazards import BY_TAG
from rules.hazards.base import Priority, Urgency
from rules.phases import Phase
from tests.unit.alarm_desk import TRIP, WARN, Desk, demo_hazards

MINUTE = 60
DEMO_LOUD = Horn.COME_NOW


@pytest.fixture
def desk() -> Iterator[Desk]:
    with demo_hazards():
        yield Desk()


def follows(desk: Desk) -> dict[str, str]:
    return {item.tag: item.follows for item in desk.alarms.standing}


@pytest.mark.parametrize("level", [WARN, TRIP])
def test_what_a_cause_brings_gives_no_message_of_its_own(desk, level):
    desk.see(demo__cause=level)
    desk.see(5 * MINUTE - 1, demo__cause=level, demo__brought=level)
    assert desk.short() == [("demo.brought", "-warn" if level is WARN else "-trip")]
    assert desk.told[0].follows == "demo.cause"
    assert "with cause" in desk.told[0].text.replace('"', "")
    assert "REFILL" not in desk.told[0].text
    assert [item.tag for item in brought_by(desk.alarms.standing, "demo.cause")] == ["demo.brought"]


def test_in_one_frame_the_cause_comes_first_whatever_the_names(desk):
    desk.see(demo__after=TRIP, demo__brought=TRIP, demo__cause=TRIP)
    assert desk.short() == [
        ("demo.cause", "trip"),
        ("demo.brought", "-trip"),
        ("demo.after", "-trip"),
    ]
    assert follows(desk) == {
        "demo.cause": "",
        "demo.brought": "demo.cause",
        "demo.after": "demo.brought",
    }
    tags = [item.tag for item in brought_by(desk.alarms.standing, "demo.cause")]
    assert tags == ["demo.brought", "demo.after"]
    page = desk.during(6 * MINUTE).told[0].page
    assert "brought" in page
    assert "after" in page


@pytest.mark.parametrize(("minutes", "own"), [(30, False), (30.1, True)])
def test_only_what_begins_soon_after_it(desk, minutes, own):
    desk.see(demo__cause=WARN).see(minutes * MINUTE, demo__cause=WARN, demo__brought=WARN)
    assert (("demo.brought", "warn") in desk.short()) is own


def test_what_was_there_before_is_not_brought(desk):
    desk.see(demo__brought=WARN).see(demo__brought=WARN, demo__cause=TRIP)
    assert follows(desk) == {"demo.brought": "", "demo.cause": ""}
    # But what it then comes to is told with it.
    assert desk.see(demo__brought=TRIP, demo__cause=TRIP).short() == [("demo.brought", "-trip")]


def test_without_its_cause_it_speaks_for_itself(desk):
    assert desk.see(demo__brought=TRIP, demo__high=TRIP).short() == [
        ("demo.high", "trip"),
        ("demo.brought", "trip"),
    ]
    assert "REFILL" in desk.told[1].text


def test_above_its_leader_it_always_speaks(desk):
    desk.see(demo__cause=WARN, demo__brought=WARN)
    assert desk.see(demo__cause=WARN, demo__brought=TRIP).short() == [("demo.brought", "trip")]
    worse = Desk().see(demo__cause=WARN, demo__brought=TRIP)
    assert worse.short() == [("demo.cause", "warn"), ("demo.brought", "trip")]
    # Once told it stays told, also when the other rises to it.
    worse.see(demo__cause=TRIP, demo__brought=TRIP)
    assert (worse.short(), follows(worse)["demo.brought"]) == ([("demo.cause", "trip")], "")
    # The leader falls below it: then it has no leader either.
    eased = Desk().see(demo__cause=TRIP, demo__brought=TRIP)
    assert eased.see(demo__cause=WARN, demo__brought=TRIP).short() == [
        ("demo.cause", "warn"),
        ("demo.brought", "trip"),
    ]


@pytest.mark.parametrize("lesser", ["demo__medium", "demo__morning"])
def test_what_is_more_urgent_than_its_cause_speaks_for_itself(desk, lesser):
    desk.see(**{lesser: WARN}).see(**{lesser: WARN}, demo__urgent=WARN)
    assert desk.short() == [("demo.urgent", "warn")]
    # As trips both are of high priority and have to be seen now.
    tripped = Desk().see(**{lesser: TRIP}).see(**{lesser: TRIP}, demo__urgent=TRIP)
    assert tripped.short() == [("demo.urgent", "-trip")]


def test_two_that_name_each_other_both_speak(desk):
    assert desk.see(demo__this=TRIP, demo__that=TRIP).short() == [
        ("demo.that", "trip"),
        ("demo.this", "trip"),
    ]


@pytest.mark.parametrize("first", ["demo.sooner", "demo.later"])
def test_of_two_that_show_the_same_trouble_the_first_tells(desk, first):
    desk.see(**{first.replace(".", "__"): TRIP})
    assert desk.short() == [(first, "trip")]
    other = "demo.later" if first == "demo.sooner" else "demo.sooner"
    assert desk.see(demo__sooner=TRIP, demo__later=TRIP).short() == [(other, "-trip")]
    assert follows(desk) == {first: "", other: first}
    # When the first is over the other speaks for itself.
    left = {other.replace(".", "__"): TRIP}
    assert desk.see(**left).short() == [(first, "clear"), (other, "trip")]


def test_of_two_that_show_the_same_trouble_in_one_frame_one_tells(desk):
    assert desk.see(demo__sooner=TRIP, demo__later=TRIP).short() == [
        ("demo.later", "trip"),
        ("demo.sooner", "-trip"),
    ]
    # The worse one tells, whichever it is, and goes on telling as it grows worse.
    worse = Desk().see(demo__sooner=TRIP, demo__later=WARN)
    assert worse.short() == [("demo.later", "-warn"), ("demo.sooner", "trip")]
    grows = Desk().see(demo__sooner=WARN).see(demo__sooner=WARN, demo__later=WARN)
    assert grows.short() == [("demo.later", "-warn")]
    assert grows.see(demo__sooner=TRIP, demo__later=WARN).short() == [("demo.sooner", "trip")]
    assert follows(grows)["demo.later"] == "demo.sooner"
    assert grows.see(demo__sooner=TRIP, demo__later=TRIP).short() == [("demo.later", "-trip")]


def test_to_stand_clear_is_never_told_by_what_does_not_say_so(desk):
    clear = replace(TRIP, horn=Horn.STAND_CLEAR)
    desk.see(demo__cause=TRIP).see(demo__cause=TRIP, demo__clear=clear)
    assert desk.short() == [("demo.clear", "trip")]
    both = Desk().see(demo__cause=clear).see(demo__cause=clear, demo__clear=clear)
    assert both.short() == [("demo.clear", "-trip")]


def test_what_began_before_its_cause_is_not_brought_when_it_first_speaks(desk):
    desk.out("demo.brought").see(demo__brought=WARN).see(demo__brought=WARN, demo__cause=WARN)
    desk.ask("in_service", "demo.brought")
    assert desk.on().short() == [("demo.brought", "warn")]


def test_when_the_cause_is_over_it_says_what_to_do_once(desk):
    desk.see(demo__cause=TRIP, demo__brought=TRIP).see(demo__brought=TRIP)
    assert desk.short() == [("demo.cause", "clear"), ("demo.brought", "trip")]
    assert "REFILL" in desk.told[1].text
    assert desk.on().told == []


def test_over_while_it_was_told_with_another_it_need_not_be_seen(desk):
    desk.see(demo__cause=TRIP, demo__brought=TRIP).see(demo__cause=TRIP)
    assert desk.short() == [("demo.brought", "-clear")]
    assert desk.alarms.over == ()


def test_it_neither_comes_back_nor_escalates_while_its_leader_does(desk):
    desk.see(demo__cause=TRIP, demo__brought=TRIP)
    assert {tag for tag, _ in desk.during(90 * MINUTE, 60).short()} == {"demo.cause"}


def test_what_is_said_of_the_cause_is_said_of_what_it_brought(desk):
    desk.see(demo__cause=TRIP, demo__brought=TRIP)
    assert desk.ask("going", "demo.cause") == "done: going: demo.cause, demo.brought"
    assert desk.life("demo.brought") == "seen"


def test_a_quiet_cause_and_what_it_brought_are_quiet_until_then(desk):
    desk.see(demo__cause=WARN, demo__brought=WARN).quiet("demo.cause", 30)
    assert desk.see(demo__brought=WARN).short() == [
        ("demo.cause", "clear"),
        ("demo.brought", "-warn"),
    ]
    assert desk.on(29 * MINUTE).told == []
    assert desk.on(MINUTE).short() == [("demo.brought", "warn")]


def test_who_says_nothing_leads_nobody(desk):
    desk.out("demo.cause").see(demo__cause=WARN, demo__brought=WARN)
    assert desk.short() == [("demo.cause", "-warn"), ("demo.brought", "warn")]


def test_its_horn_sounds_all_the_same(desk):
    desk.see(demo__cause=WARN)
    quiet = desk.sounds
    desk.see(demo__cause=WARN, demo__brought=replace(WARN, horn=DEMO_LOUD))
    assert quiet is not DEMO_LOUD
    assert desk.sounds is DEMO_LOUD


def test_suppressed_by_design_it_is_not_brought_either(desk):
    desk.phase = Phase.PREHEAT
    desk.see(demo__phased=WARN)
    assert follows(desk) == {"demo.phased": ""}


def test_every_row_names_hazards_that_are_there_and_none_can_follow_itself():
    for tag, hazard in BY_TAG.items():
        for leader in hazard.row.follows:
            assert leader in BY_TAG, f"{tag}: follows {leader}, which is no hazard"
            assert DEPTH[leader] < DEPTH[tag], f"{tag} and {leader} follow each other"
        for other in hazard.row.told_with:
            assert other in BY_TAG, f"{tag}: told with {other}, which is no hazard"


def test_priority_and_urgency_of_a_warning_agree():
    for tag, hazard in BY_TAG.items():
        row = hazard.row
        if not row.warn_do:
            continue
        if row.priority is Priority.HIGH:
            assert row.warn_urgency is Urgency.GO_NOW, f"{tag}: high, and can wait"
        if row.priority is Priority.LOW:
            assert row.warn_urgency is not Urgency.GO_NOW, f"{tag}: low, and GO NOW"


def test_few_warnings_are_high():
    rows = [hazard.row for hazard in BY_TAG.values()]
    high = [row.tag for row in rows if row.warn_do and row.priority is Priority.HIGH]
    assert len(high) <= len(rows) / 5, high

"""The words of messages: rig, how soon, heat, what to do with the air, what, since when."""

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest

from rules.alarms import AlarmLimits
from rules.alphabet import BASIC, EXTENSION, SHORT_MAX, room
from rules.document import alarms_page, lacks
from rules.document_lifecycle import STATES, lifecycle_page
from rules.document_messages import messages_page
from rules.events import Horn, Level
from rules.frame import NS_PER_S, Frame
from rules.hazards import HAZARDS, Hazard
from rules.hazards.base import Priority, Row, Urgency
from rules.lifecycle import TABLE, Life
from rules.messages import (
    NUISANCE,
    Subject,
    Telling,
    Told,
    alarm_told,
    clock_time,
    escalated_told,
    follower_told,
    in_service_told,
    nuisance_told,
    out_of_service_told,
    over_told,
    prompt_told,
    telling_of,
)
from rules.phases import TITLES
from tests.messages_page import said_by, samples

WALL_NS = 1_773_471_600 * NS_PER_S  # 2026-03-14 07:00:00 UTC, by `date -u -d @1773471600`
HERE = Telling("BAY 2", WALL_NS, 3600)
ROW = Row(
    "bag.low",
    "air low",
    "it blows",
    Priority.HIGH,
    "KEEP AIR ON.",
    "KEEP AIR ON. Do not open.",
    warn_urgency=Urgency.MORNING,
    trip_urgency=Urgency.GO_BY,
    causes=("a hose is off", "the valve leaks"),
    time_available="minutes",
    rescue="Repair safe while air is up.",
)
TRIP = Subject(ROW, Level.TRIP, "inner air 140 kPa", WALL_NS, horn=Horn.COME_NOW)
WARN = replace(TRIP, level=Level.WARN)
LONGEST = "TYRE BAY 2 SOUTHWEST"  # 20 characters, as many as a rig's title may have


@pytest.mark.parametrize(
    ("offset_s", "shown"),
    [(0, "07:00"), (3600, "08:00"), (-7 * 3600, "00:00"), (-8 * 3600, "23:00"), (20_700, "12:45")],
)
def test_times_are_local(offset_s, shown):
    assert clock_time(WALL_NS, offset_s) == shown


def test_a_clock_before_1970_is_still_a_time():
    assert clock_time(-NS_PER_S, 0) == "23:59"


def test_a_trip_begins_with_rig_urgency_heat_and_air():
    assert alarm_told(HERE, replace(TRIP, go_by_s=1200.0)).short == (
        "BAY 2 GO BY 08:20: HEAT CUT. KEEP AIR ON. Do not open. Inner air 140 kPa. Since 08:00. "
        "Repair safe while air is up."
    )


def test_what_can_wait_says_so_without_a_time():
    assert alarm_told(HERE, WARN).short == (
        "BAY 2 MORNING WILL DO: KEEP AIR ON. Inner air 140 kPa. Since 08:00. "
        "Repair safe while air is up."
    )


def test_a_rig_that_is_only_watched_cannot_say_that_heat_was_cut():
    watched = replace(HERE, watch_only=True)
    told = alarm_told(watched, TRIP)
    assert told.short.startswith("BAY 2 GO NOW: SWITCH HEAT OFF. KEEP AIR ON.")
    assert "HEAT CUT" not in told.short
    assert "WATCH-ONLY" in told.page
    assert "reset at the rig" not in told.page
    assert "HEAT" not in alarm_told(watched, WARN).short, "a warning takes no heat away"


def test_where_the_heat_would_not_go_nothing_says_that_it_was_cut():
    stays = replace(ROW, trip_do="KEEP AIR ON. SWITCH HEAT OFF AT THE SUPPLY.")
    assert "HEAT CUT" in alarm_told(HERE, TRIP).short
    assert "HEAT CUT" not in alarm_told(HERE, replace(TRIP, row=stays)).short


@pytest.mark.parametrize(
    ("go_by_s", "soon"),
    [
        (None, "GO NOW:"),  # by when is not known: the safe side
        (0.0, "GO NOW:"),
        (119.0, "GO NOW:"),
        (120.0, "GO BY 08:02:"),
        (179.9, "GO BY 08:02:"),  # the earlier minute
        (86400.0, "GO BY 04:00:"),  # a time tomorrow would be taken for today's
    ],
)
def test_by_when_somebody_must_be_there(go_by_s, soon):
    assert alarm_told(HERE, replace(TRIP, go_by_s=go_by_s)).short.startswith(f"BAY 2 {soon} ")


def test_a_time_is_given_only_where_the_row_says_that_it_can_wait_for_one():
    now = replace(ROW, trip_urgency=Urgency.GO_NOW)
    assert "GO NOW" in alarm_told(HERE, replace(TRIP, row=now, go_by_s=1200.0)).short


@pytest.mark.parametrize(
    ("save_s", "words"),
    [
        (None, "Repair safe while air is up."),
        (0.0, "The repair is past saving."),
        (119.0, "Save the repair now."),
        (120.0, "Save the repair by 08:02."),
        (1859.0, "Save the repair by 08:30."),
        (100_000.0, "The repair can be saved."),
    ],
)
def test_until_when_the_repair_can_be_saved(save_s, words):
    told = alarm_told(HERE, replace(TRIP, save_s=save_s))
    assert told.short.endswith(words)
    assert words in told.page.splitlines()


@pytest.mark.parametrize(
    ("ago_h", "at", "words"),
    [
        (19, "08:00", "Since 13:00."),
        (21, "08:00", "Since 11:00 yesterday."),
        (21, "23:00", "Since 02:00."),
        (50, "08:00", "Since 06:00, 2 days ago."),
    ],
)
def test_since_when_with_the_day_where_it_would_be_misread(ago_h, at, words):
    now_ns = WALL_NS + (int(at[:2]) - 8) * 3600 * NS_PER_S
    long = replace(TRIP, since_wall_ns=now_ns - ago_h * 3600 * NS_PER_S)
    assert words in alarm_told(replace(HERE, wall_ns=now_ns), long).short


def test_what_does_not_fit_is_left_out_in_the_stated_order():
    orders = "BAY 2 GO NOW: HEAT CUT. KEEP AIR ON. Do not open."
    rescue = ROW.rescue
    room_left = SHORT_MAX - len(orders) - 1
    whole = room_left - len(f" Since 08:00. {rescue}")
    without_since = room_left - len(f" {rescue}")
    for said_room, has_since, has_rescue, has_all in (
        (whole, True, True, True),
        (whole + 1, False, True, True),
        (without_since, False, True, True),
        (without_since + 1, False, False, True),
        (room_left, False, False, True),
        (room_left + 1, False, False, False),
    ):
        said = ("Air " * 50)[: said_room - 2].rstrip().ljust(said_room - 1, "x")
        text = alarm_told(HERE, replace(TRIP, said=said)).short
        assert text.startswith(orders)
        assert ("Since" in text, rescue in text, f"{said}." in text) == (
            has_since,
            has_rescue,
            has_all,
        )
        assert room(text) <= SHORT_MAX
    assert text.endswith(" Air..")


def test_a_word_longer_than_the_room_leaves_the_orders():
    assert alarm_told(HERE, replace(TRIP, said="x" * 300)).short == (
        "BAY 2 GO NOW: HEAT CUT. KEEP AIR ON. Do not open."
    )


def test_the_page_says_why_what_to_look_for_who_knows_and_how_to_go_on():
    told = alarm_told(HERE, replace(TRIP, also=("nobody at the rig",), brings=("hot and empty",)))
    assert told.page.splitlines() == [
        "BAY 2 GO NOW: HEAT CUT. KEEP AIR ON. Do not open.",
        "What: air low. Inner air 140 kPa.",
        "Since: 08:00.",
        "If nobody acts: it blows.",
        "Time: minutes.",
        "Repair safe while air is up.",
        "Look for: a hose is off; the valve leaks.",
        "Came with it: hot and empty.",
        "Also standing, oldest first: nobody at the rig.",
        "Nobody has seen it yet. Say seen; say going when you go.",
        "Horn: long with gaps means come now. A button at the rig stops it until it comes back; "
        "from afar say quiet, and why.",
        "Heat back: put it right, then reset at the rig. Nothing sent from afar does.",
        "Air in a bag can throw clamp and hoses: stand clear, pull no pin.",
        "Pads, leads and the repair burn skin: gloves.",
        "Data sheets, local codes and licensed practice come first.",
    ]


@pytest.mark.parametrize(
    ("seen_by", "going_by", "line"),
    [
        ("", "", "Nobody has seen it yet. Say seen; say going when you go."),
        ("Ada", "", "Ada has seen it; nobody is going. Say going when you go."),
        ("Ada", "Bo", "Bo is going; a press at the rig shows that somebody came."),
    ],
)
def test_seen_is_not_going_on_the_page(seen_by, going_by, line):
    told = alarm_told(HERE, replace(TRIP, seen_by=seen_by, going_by=going_by))
    assert line in told.page.splitlines()


def test_stand_clear_is_silenced_only_at_the_rig():
    told = alarm_told(HERE, replace(TRIP, horn=Horn.STAND_CLEAR))
    assert "continuous fast means stand clear. Only a button at the rig stops it" in told.page
    assert "for 2 minutes" in told.page
    assert AlarmLimits().stand_clear_again_s == 120
    assert "say quiet" not in told.page


def test_an_alarm_of_the_supervisor_itself_needs_no_cautions():
    disk = replace(ROW, tag="store.failing")
    assert "licensed" in alarm_told(HERE, TRIP).page
    assert "licensed" not in alarm_told(HERE, replace(TRIP, row=disk)).page


def test_a_clock_that_is_not_set_is_told_on_the_page():
    frame = Frame(1, 0, WALL_NS, False, "boot", {}, utc_offset_s=3600)
    unset = alarm_told(telling_of("BAY 2", frame, watch_only=False), TRIP)
    assert "times may be wrong" in unset.page
    assert "times may be wrong" not in alarm_told(HERE, TRIP).page
    assert "08:00" in unset.short


def test_what_came_with_another_gives_no_orders_and_does_not_say_how_soon():
    told = follower_told(HERE, TRIP, replace(ROW, title="a bag has let go"))
    assert (
        told.short
        == 'BAY 2: "air low" came with "a bag has let go": do what that says. Inner air 140 kPa.'
    )
    assert "GO " not in told.page


def test_escalation_says_who_has_not_come_and_keeps_the_orders():
    told = escalated_told(HERE, TRIP, "Ada said going 12 min ago, nobody has pressed")
    assert told.short.startswith(
        "BAY 2 GO NOW: Ada said going 12 min ago, nobody has pressed. HEAT CUT. KEEP AIR ON. "
        "Do not open. Inner air"
    )
    long = escalated_told(HERE, TRIP, "nobody " * 30)
    assert "HEAT CUT. KEEP AIR ON. Do not open." in long.short
    assert len(long.short) <= SHORT_MAX


def test_over_says_whether_anybody_had_seen_it():
    later = replace(HERE, wall_ns=WALL_NS + 600 * NS_PER_S)
    unseen, seen = over_told(later, TRIP), over_told(later, replace(TRIP, seen_by="Ada"))
    assert unseen.short == 'BAY 2: "air low" is over at 08:10. Nobody had seen it.'
    assert seen.short == 'BAY 2: "air low" is over at 08:10.'
    assert "Heat stays off until someone resets it at the rig." in unseen.page
    assert "Heat stays off" not in over_told(later, WARN).page
    assert "Heat stays off" not in over_told(replace(later, watch_only=True), TRIP).page


@pytest.mark.parametrize("kind", NUISANCE)
def test_noise_is_told_once_and_told_when_it_is_over(kind):
    row = None if kind == "flood" else ROW
    begun = nuisance_told(HERE, kind, row, "3 times in 1 min", begun=True)
    soon = "GO NOW" if kind == "flood" else "MORNING WILL DO"
    assert begun.short.startswith(f"BAY 2 {soon}: ")
    assert "3 times in 1 min." in begun.short
    assert NUISANCE[kind][2] in begun.page
    ended = nuisance_told(HERE, kind, row, "", begun=False)
    assert "over at 08:00" in ended.short


def test_out_of_service_says_who_since_when_why_and_that_a_trip_still_speaks():
    told = out_of_service_told(HERE, ROW, "Ada", "valve on order", WALL_NS - 30 * 3600 * NS_PER_S)
    assert told.short == (
        'BAY 2: "air low" is OUT OF SERVICE. By Ada since 02:00 yesterday. Valve on order.'
    )
    assert "a trip speaks and cuts heat all the same" in told.page
    assert in_service_told(HERE, ROW, "Ada").short == (
        'BAY 2: "air low" is back in service at 08:00, by Ada.'
    )


def test_a_prompt_is_no_alarm():
    told = prompt_told(HERE, "press here", ROW)
    assert told.short == "BAY 2: Press here."
    assert "no alarm" in told.page
    assert "If nobody comes: it blows." in told.page


def test_names_and_reasons_from_afar_cannot_break_a_message():
    odd = replace(HERE, title="BÄY: 2 °")
    for told in (
        alarm_told(odd, replace(TRIP, seen_by="Žofie")),
        escalated_told(odd, TRIP, "Žofie said going"),
        out_of_service_told(odd, ROW, "Žofie", "°" * 400, WALL_NS),
        prompt_told(odd, "{" * 200),
    ):
        _is_basic(told)


def _is_basic(told: Told) -> None:
    assert set(told.short) <= (BASIC | EXTENSION) - set("\n\r\f"), told.short
    assert set(told.page) <= BASIC | EXTENSION, told.page
    assert room(told.short) <= SHORT_MAX
    assert not re.search(r"\.\.\s|  ", told.short.removesuffix("..")), told.short


def _subjects(hazard: Hazard) -> Iterator[Subject]:
    """Each thing the hazard's cases make it say."""
    for _, finding in said_by(hazard):
        yield Subject(
            hazard.row,
            finding.level,
            finding.said,
            WALL_NS,
            finding.go_by_s,
            finding.save_s,
            finding.horn or hazard.row.trip_horn,
        )


def _everything_told(telling: Telling, subject: Subject) -> Iterator[Told]:
    if subject.level is Level.PROMPT:
        yield prompt_told(telling, subject.said, subject.row)
        return
    yield alarm_told(telling, subject)
    yield escalated_told(telling, subject, "Ada said going 12 min ago, nobody has pressed")
    yield follower_told(telling, subject, subject.row)
    yield over_told(telling, subject)
    yield out_of_service_told(telling, subject.row, "Ada", "sensor on order", WALL_NS)
    yield nuisance_told(telling, "chattering", subject.row, "3 times in 1 min", begun=True)


@pytest.mark.parametrize("hazard", HAZARDS, ids=lambda hazard: hazard.row.tag)
def test_no_message_of_a_hazard_leaves_the_basic_alphabet_or_its_room(hazard):
    """Every finding of every case, with the longest title and the longer words on heat."""
    telling = Telling(LONGEST, WALL_NS, 3600, watch_only=True)
    row = hazard.row
    for words in (row.title, row.consequence, row.time_available, row.rescue, *row.causes):
        assert set(words) <= BASIC | EXTENSION, words
    for subject in _subjects(hazard):
        assert set(subject.said) <= BASIC | EXTENSION, subject.said
        do = row.trip_do if subject.level is Level.TRIP else row.warn_do
        for told in _everything_told(telling, subject):
            _is_basic(told)
        if subject.level is not Level.PROMPT:
            assert do in alarm_told(telling, subject).short
            assert do in escalated_told(telling, subject, "nobody has come").short


@pytest.mark.parametrize("hazard", HAZARDS, ids=lambda hazard: hazard.row.tag)
def test_with_a_short_title_nothing_of_what_was_seen_is_cut(hazard):
    for subject in _subjects(hazard):
        if subject.level is not Level.PROMPT:
            text = alarm_told(replace(HERE, title="TYRE BAY 2"), subject).short
            assert subject.said.lower() in text.lower(), text


@pytest.mark.parametrize("hazard", HAZARDS, ids=lambda hazard: hazard.row.tag)
def test_every_alarm_says_all_that_its_card_must_hold(hazard):
    """IEC 62682 / ISA-18.2, alarm rationalisation: consequence, cause, response, time."""
    assert lacks(hazard) == []
    card = alarms_page((hazard,))
    for name in ("if nobody acts", "likely causes", "time available", "priority", "standard"):
        assert re.search(rf"(?m)^\| {name} \| .{{3,}} \|$", card), name
    for level, do in (("warning", hazard.row.warn_do), ("trip", hazard.row.trip_do)):
        assert (f"| do now, on a {level} |" in card) == bool(do)
    for phase, why in hazard.row.silent_in.items():
        assert f"{TITLES[phase]}: {why}" in card


def test_what_a_card_lacks_is_told():
    bare = replace(HAZARDS[0], row=replace(HAZARDS[0].row, causes=(), time_available=""))
    assert lacks(bare) == ["causes", "time_available"]


def test_each_of_the_ten_is_told_with_its_reason():
    page = messages_page(samples())
    ten = page.split("## The ten")[1].split("\n## ")[0]
    assert re.findall(r"(?m)^(\d+)\. \*\*BAY 2", ten) == [str(n) for n in range(1, 11)]
    for hazard in HAZARDS:
        assert f"\n### {hazard.row.tag}\n" in page
    assert "No case of it speaks yet." not in page


def test_the_life_of_an_alarm_is_told_whole():
    page = lifecycle_page()
    assert set(STATES) == set(Life)
    ways = {
        (life, into) for (life, _), into in TABLE.items() if into is not None and into is not life
    }
    assert {f"    {life} --> {into}" for life, into in ways} <= set(page.splitlines())
    for (life, happening), into in TABLE.items():
        if into is not None and into is not life:
            row = rf"(?m)^\| `{life}` \| .*{happening.replace('_', ' ')}.* \| `{into}` \|$"
            assert re.search(row, page), (life, happening)


@pytest.mark.parametrize("who", ["x" * 40, "\u20ac" * 40])
def test_who_took_it_out_of_service_never_makes_a_message_too_long(who):
    telling = Telling("[" * 20, 1_773_471_600 * 10**9)
    for hazard in HAZARDS:
        told = out_of_service_told(telling, hazard.row, who, "sensor ordered", telling.wall_ns)
        assert room(told.short) <= SHORT_MAX

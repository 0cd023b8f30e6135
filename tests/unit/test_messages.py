"""The words of a message: rig, how soon, what to do with the air, what, since when."""

import pytest

from rules.events import Level
from rules.frame import NS_PER_S, Frame
from rules.hazards import HAZARDS
from rules.hazards.base import Priority, Row, Urgency
from rules.messages import alarm_text, cleared_text, clock_time, prompt_text

WALL_NS = 1_773_471_600 * NS_PER_S  # 2026-03-14 07:00:00 UTC, by `date -u -d @1773471600`
FRAME = Frame(1, 0, WALL_NS, True, "boot", {}, utc_offset_s=3600)
ROW = Row(
    "bag.low",
    "air low",
    "it blows",
    Priority.HIGH,
    "KEEP AIR ON.",
    "KEEP AIR ON. Do not open.",
    warn_urgency=Urgency.MORNING,
)


@pytest.mark.parametrize(
    ("offset_s", "shown"),
    [(0, "07:00"), (3600, "08:00"), (-7 * 3600, "00:00"), (-8 * 3600, "23:00"), (20_700, "12:45")],
)
def test_times_are_local(offset_s, shown):
    assert clock_time(WALL_NS, offset_s) == shown


def test_a_clock_before_1970_is_still_a_time():
    assert clock_time(-NS_PER_S, 0) == "23:59"


def test_a_trip_begins_with_rig_urgency_heat_and_air():
    text = alarm_text("BAY 2", ROW, Level.TRIP, "inner air 140 kPa", FRAME, watch_only=False)
    assert text == (
        "BAY 2 GO NOW: HEAT CUT. KEEP AIR ON. Do not open. inner air 140 kPa. Since 08:00."
    )


def test_a_rig_that_is_only_watched_cannot_say_that_heat_was_cut():
    text = alarm_text("BAY 2", ROW, Level.TRIP, "inner air 140 kPa", FRAME, watch_only=True)
    assert text.startswith("BAY 2 GO NOW: SWITCH HEAT OFF. KEEP AIR ON.")
    assert "HEAT CUT" not in text


def test_what_can_wait_says_so_without_a_time():
    text = alarm_text("BAY 2", ROW, Level.WARN, "inner air 179 kPa", FRAME, watch_only=False)
    assert text == "BAY 2 MORNING WILL DO: KEEP AIR ON. inner air 179 kPa. Since 08:00."


def test_over_and_prompts():
    assert cleared_text("BAY 2", ROW, FRAME) == "BAY 2: over at 08:00: air low."
    assert prompt_text("BAY 2", "press here") == "BAY 2: press here."


def test_a_message_fits_one_short_message():
    """160 characters of the basic alphabet: 3GPP TS 23.040."""
    text = alarm_text("BAY 2", ROW, Level.TRIP, "x" * 300, FRAME, watch_only=False)
    assert len(text) == 160
    assert text.endswith("...")
    exact = prompt_text("BAY 2", "x" * 152)
    assert (len(exact), exact.endswith("x.")) == (160, True)


# The basic alphabet of 3GPP TS 23.038 holds more; these are the ASCII part of it, from memory.
BASIC = set(" !\"#%&'()*+,-./:;<=>?@$_\n") | {chr(c) for c in range(48, 58)}
BASIC |= {chr(c) for c in range(65, 91)} | {chr(c) for c in range(97, 123)}


@pytest.mark.parametrize("hazard", HAZARDS, ids=lambda hazard: hazard.row.tag)
@pytest.mark.parametrize("level", [Level.WARN, Level.TRIP])
def test_every_hazards_words_are_basic_and_leave_room(hazard, level):
    text = alarm_text("BAY 2", hazard.row, level, "", FRAME, watch_only=True)
    assert set(text) <= BASIC, set(text) - BASIC
    assert len(text) <= 120, "no room for what was seen"

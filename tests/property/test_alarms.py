"""Alarms under any findings, commands, presses, phases and gaps of invented hazards."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from rules.alarms import AlarmLimits, Alarms
from rules.annunciator import update
from rules.events import AlarmChanged, AlarmLife, Escalated, Event, Horn, Level, as_dict, from_dict
from rules.frame import NS_PER_S
from rules.hazards.base import Finding
from rules.lifecycle import SPEAKING, TABLE, Happening, Life
from rules.messages import SHORT_MAX
from rules.phases import Phase
from tests.unit.alarm_desk import PROMPT, ROWS, TRIP, WARN, Desk, demo_hazards

QUICK = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
TAGS = tuple(item.tag for item in ROWS)
LOUD = Finding(Level.WARN, "loud", Horn.STAND_CLEAR)
ODD = Finding(Level.WARN, "odd", go_by_s=float("nan"), save_s=float("inf"))
ADAPTER = TypeAdapter(Alarms)
VERBS = ("seen", "going", "quiet", "note", "out_of_service", "in_service", "start", "reset", "")


@dataclass(frozen=True)
class Change:
    """What is different in the next frame."""

    dt_s: float
    found: tuple[tuple[str, Finding | None], ...]
    pressed: bool
    phase: Phase
    commands: tuple[tuple[str, str, float, str], ...]


CHANGES = st.builds(
    Change,
    st.sampled_from([1.0] * 6 + [0.0, 10.0, 10.0, 30.0, 60.0, 120.0, 300.0, 900.0, 3600.0, 9e4]),
    st.lists(
        st.tuples(
            st.sampled_from(TAGS),
            st.sampled_from([WARN, WARN, TRIP, TRIP, PROMPT, LOUD, ODD, None, None, None]),
        ),
        max_size=3,
    ).map(tuple),
    st.sampled_from([False] * 5 + [True]),
    st.sampled_from([Phase.CURE] * 4 + [Phase.PREHEAT] * 2),
    st.lists(
        st.tuples(
            st.sampled_from(VERBS),
            st.sampled_from(("", *TAGS, "nonsense")),
            st.sampled_from([0.0, 5.0, 60.0, 1e300, float("nan"), -1.0]),
            st.sampled_from(["", "busy", "x" * 600]),
        ),
        max_size=2,
    ).map(tuple),
)
# Half of all tales begin in the thick of it: all at once, or coming and going.
MANY = Change(1.0, tuple((tag, WARN) for tag in TAGS), False, Phase.CURE, ())
NONE = Change(10.0, tuple((tag, None) for tag in TAGS), False, Phase.CURE, ())
BEGINNINGS = st.sampled_from([(), (), (MANY,), (MANY, NONE) * 3])
TALES = st.builds(
    lambda beginning, rest: (*beginning, *rest), BEGINNINGS, st.lists(CHANGES, max_size=25)
)


@pytest.fixture(autouse=True, scope="module")
def _demo() -> Iterator[None]:
    with demo_hazards():
        yield


@dataclass
class Told:
    """One frame of a tale: the alarms before and after, what was found and told."""

    desk: Desk
    before: Alarms
    answered: list[Event]
    events: list[Event]


def play(tale: tuple[Change, ...], *, people: bool = True) -> Iterator[Told]:
    """Frame by frame; without people nobody presses and nobody asks for anything."""
    desk, found = Desk(AlarmLimits()), {}
    for change in tale:
        for tag, finding in change.found:
            found[tag] = finding
        desk.phase, before, answered = change.phase, desk.alarms, []
        for verb, tag, minutes, text in change.commands if people else ():
            desk.ask(verb, tag, minutes=minutes, text=text)
            answered += desk.told
        now = {tag.replace(".", "__"): item for tag, item in found.items() if item is not None}
        desk.see(change.dt_s, pressed=change.pressed and people, **now)
        yield Told(desk, before, answered, list(desk.told))


@given(TALES)
@QUICK
def test_it_never_raises_and_is_the_same_after_a_checkpoint(tale):
    for frame in play(tale):
        kept = ADAPTER.validate_json(ADAPTER.dump_json(frame.desk.alarms))
        assert kept == frame.desk.alarms
        frame.desk.alarms = kept
        for event in (*frame.answered, *frame.events):
            assert from_dict(as_dict(event)) == event
            assert len(getattr(event, "text", "")) <= SHORT_MAX


@given(TALES)
@QUICK
def test_what_is_found_is_what_the_hazards_find_whatever_people_do(tale):
    for frame, alone in zip(play(tale), play(tale, people=False), strict=True):
        found = {tag: finding.level for tag, finding in frame.desk.found.items()}
        assert dict(frame.desk.alarms.found) == found
        for level in Level:
            wanted = {tag for tag, at in found.items() if at >= level}
            assert set(frame.desk.alarms.tags(level)) == wanted
            assert frame.desk.alarms.tags(level) == alone.desk.alarms.tags(level)
        stands = [(item.tag, item.level) for item in frame.desk.alarms.standing]
        assert stands == [(item.tag, item.level) for item in alone.desk.alarms.standing]


@given(TALES)
@QUICK
def test_nothing_is_missed_by_not_looking(tale):
    """What was passed over because nothing seemed to change gives the same when looked at."""
    for frame in play(tale):
        desk = frame.desk
        now, later = round(desk.now_s * NS_PER_S), desk.alarms.next_ns - 1
        for at_ns in (now, min(later, now + 10**15)):
            view = desk.view()._replace(now_ns=at_ns)
            findings = sorted(desk.found.items())
            assert update(desk.limits, desk.alarms, findings, view) == (desk.alarms, ())
            looked = replace(desk.alarms, next_ns=0)
            assert update(desk.limits, looked, findings, view) == (desk.alarms, ())


@given(TALES)
@QUICK
def test_one_event_for_one_change_and_each_by_the_table(tale):
    lives: dict[str, Life] = {}
    for frame in play(tale):
        for event in (*frame.answered, *frame.events):
            if isinstance(event, AlarmLife):
                was = lives.get(event.tag, Life.NORMAL)
                assert TABLE[was, Happening(event.change)] is not None
                lives[event.tag] = Life(event.life)
            elif isinstance(event, AlarmChanged):
                was = lives.get(event.tag, Life.NORMAL)
                assert Life(event.life) in _within_reach(was, event.state), (was, event)
                lives[event.tag] = Life(event.life)
        told = Counter(
            (event.tag, event.event)
            for event in frame.events
            if isinstance(event, AlarmChanged | AlarmLife | Escalated) and event.tag
        )
        assert all(count == 1 for count in told.values()), told
        for tag in TAGS:
            assert frame.desk.alarms.life_of(tag) is lives.get(tag, Life.NORMAL)


BY_STATE = {
    "warn": {
        Happening.RAISED,
        Happening.SUPPRESSED,
        Happening.EASED,
        Happening.SUPPRESSION_OVER,
        Happening.QUIET_OVER,
    },
    "trip": {Happening.TRIPPED},
    "clear": {Happening.OVER, Happening.LAPSED, Happening.OUT_OF_SERVICE},
}


def _within_reach(was: Life, state: str) -> set[Life]:
    """Where the table leads by what can be behind such an event, at most two at once."""
    reach = {was} if state != "clear" else set()
    for _ in range(2):
        reach |= {
            into
            for life in reach | {was}
            for happening in BY_STATE[state]
            if (into := TABLE[life, happening]) is not None
        }
    return reach


@given(TALES)
@QUICK
def test_a_trip_always_speaks(tale):
    for frame in play(tale):
        standing = {item.tag: item for item in frame.desk.alarms.standing}
        for tag in frame.desk.alarms.tags(Level.TRIP):
            item = standing[tag]
            assert item.level is Level.TRIP
            assert item.life in SPEAKING
            while item.follows:
                item = standing[item.follows]
                assert item.level is Level.TRIP
            assert item.told


@given(TALES)
@QUICK
def test_stand_clear_is_silenced_only_at_the_rig_and_for_two_minutes(tale):
    pressed_s = -1e9
    for change, frame in zip(tale, play(tale), strict=True):
        if change.pressed:
            pressed_s = frame.desk.now_s
        loud = any(
            item.horn is Horn.STAND_CLEAR and item.life in SPEAKING
            for item in frame.desk.alarms.standing
        )
        if frame.desk.now_s >= pressed_s + 120:
            assert (frame.desk.sounds is Horn.STAND_CLEAR) is loud


@given(TALES)
@QUICK
def test_each_step_once_for_each_level_risen_to(tale):
    steps: dict[str, int] = {}
    for frame in play(tale):
        for event in frame.events:
            if isinstance(event, AlarmChanged) and event.state in ("trip", "clear"):
                steps[event.tag] = 0
            if isinstance(event, Escalated):
                assert steps.get(event.tag, 0) < event.step <= 3
                steps[event.tag] = event.step

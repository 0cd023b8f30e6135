"""`rules.step` over arbitrary frames: it never raises, repeats itself and keeps its promises.

Frames are invented by hypothesis, told on from places of an ordinary repair so
that the permit, the latch and the bags are in play.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.channels import BAGS, BUTTONS, BY_NAME, PADS
from rules.checkpoint import dump, load
from rules.events import Decision, Level
from rules.frame import NS_PER_S, Command, Frame, Health, Quality, Reading, Reason
from rules.limits import LimitsBase
from rules.state import State
from rules.step import step
from tests.unit.story import Story, story_in

QUICK = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
PLACES = ("idle", "preheat", "fitting", "inflation", "heat_up", "cure", "cool_down", "release")
LIKELY = {
    **{pad: [20.0, 60.0, 99.0, 121.0, 138.0, 140.0, 147.9, 149.0, 156.0, 300.0] for pad in PADS},
    **{bag: [0.0, 15.0, 25.0, 140.0, 176.0, 200.0, 207.0, 215.0, 260.0] for bag in BAGS},
    "ambient_c": [20.0, 25.0],
}
ODD = st.sampled_from([1e308, -1e308, float("inf"), float("-inf"), float("nan"), -0.0, 5e-324])
GOOD_REASON = st.just(Reason.NONE)


def readings(channel: str) -> st.SearchStrategy[Reading | None]:
    """Mostly likely values, now and then anything at all; None: no longer fitted."""
    likely = st.sampled_from(LIKELY.get(channel, [0.0, 1.0]))
    good = st.builds(Reading, likely, st.just(Quality.GOOD), GOOD_REASON, st.just(0))
    bad = st.builds(Reading, st.none(), st.just(Quality.BAD), st.sampled_from(Reason), st.just(0))
    ages_ns = st.integers(-(10**15), 10**15)
    odd = st.builds(
        Reading,
        st.none() | st.floats() | ODD,
        st.sampled_from(Quality),
        st.sampled_from(Reason),
        ages_ns,
    )
    return st.one_of(good, good, good, good, good, bad, odd, st.none())


COMMANDS = st.lists(
    st.builds(
        Command,
        st.sampled_from(["a", "b", "c", ""]),
        st.sampled_from(["seen", "going", "quiet", "note", "start", "reset", "here", ""]),
        st.just("Ada"),
        st.sampled_from(["mqtt", "socket"]),
        st.integers(),
        tag=st.sampled_from(["", "bag.low", "bag.burst", "start_button", "heat_permit"]),
        minutes=st.sampled_from([0.0, 5.0, 1e300, float("nan"), float("inf"), -1.0]),
        text=st.sampled_from(["", "looking", "x" * 600]),
    ),
    max_size=2,
).map(tuple)


@dataclass(frozen=True)
class Change:
    """What is different in the next frame."""

    dt_s: float
    boots: bool
    wall_s: float
    values: tuple[tuple[str, Reading | None], ...]
    start: float | None
    reset: float | None
    readback: bool | None
    commands: tuple[Command, ...]


CHANGES = st.builds(
    Change,
    st.sampled_from([1.0] * 8 + [0.0, 0.5, 2.0, 3.1, 10.0, 20.0, 60.0, 61.0, 700.0, -5.0]),
    st.sampled_from([False] * 19 + [True]),
    st.sampled_from([0.0] * 9 + [3e8, -3e8]),
    st.lists(
        st.one_of(
            *[
                st.tuples(st.just(name), readings(name))
                for name in (*PADS, *BAGS, *BUTTONS, *BY_NAME)
            ]
        ),
        max_size=2,
    ).map(tuple),
    st.sampled_from([None, 0.0, 1.0]),
    st.sampled_from([None, None, 0.0, 1.0]),
    st.sampled_from([True, True, False, None]),
    COMMANDS,
)


@dataclass(frozen=True)
class Tale:
    """Where it starts, and what then happens."""

    limits: LimitsBase
    state: State
    frames: tuple[Frame, ...]


def _mains_lost(story: Story) -> None:
    story.set(mains_ok=0.0).tick().set(mains_ok=1.0).tick()


def _tripped(story: Story) -> None:
    pads_c = story.values["pad_inner_c"], story.values["pad_outer_c"]
    story.pads(156).tick().tick()
    story.set(**dict(zip(PADS, pads_c, strict=True))).run(61)


BEFORE = {"nothing": lambda story: None, "mains lost": _mains_lost, "tripped": _tripped}


@cache
def _begun(place: str, hold_min: float | None, before: str) -> Story:
    story = story_in(place, 1.0, hold_min=hold_min)
    BEFORE[before](story)
    return story


@st.composite
def tales(draw: st.DrawFn) -> Tale:
    place = draw(st.sampled_from(PLACES))
    story = _begun(place, draw(st.sampled_from([None, 9.2])), draw(st.sampled_from(sorted(BEFORE))))
    last = story.frames[-1]
    frames = []
    for change in draw(st.lists(CHANGES, min_size=1, max_size=30)):
        last = _next(last, change)
        frames.append(last)
    return Tale(story.limits, story.state, tuple(frames))


def _next(last: Frame, change: Change) -> Frame:
    passed_ns = round(change.dt_s * NS_PER_S)
    t_ns = 5 * NS_PER_S if change.boots else last.t_ns + passed_ns
    values = dict(last.values)
    for button, on in (("start_button", change.start), ("reset_button", change.reset)):
        if on is not None:
            values[button] = Reading(on, Quality.GOOD, Reason.NONE, 0)
    for name, reading in change.values:
        if reading is None:
            values.pop(name, None)
        else:
            values[name] = reading
    answered = {
        name: reading if reading.at_ns else replace(reading, at_ns=t_ns)
        for name, reading in values.items()
    }
    return Frame(
        last.seq + 1,
        t_ns,
        last.wall_ns + passed_ns + round(change.wall_s * NS_PER_S),
        True,
        f"{last.boot_id}*" if change.boots else last.boot_id,
        answered,
        {"heat_permit": change.readback},
        Health(),
        change.commands,
    )


def _fold(tale: Tale) -> Iterator[tuple[State, Decision]]:
    state = tale.state
    for frame in tale.frames:
        state, decision = step(tale.limits, state, frame)
        yield state, decision


@given(tales())
@QUICK
def test_it_never_raises_and_repeats_itself(tale):
    # By their words, since not-a-number does not equal itself.
    assert repr(list(_fold(tale))) == repr(list(_fold(tale)))


@pytest.mark.proves("a checkpoint and the frames after it give the same state to the bit")
@given(tales(), st.integers(0, 29))
@QUICK
def test_resuming_anywhere_gives_the_same_to_the_bit(tale, cut):
    told = list(_fold(tale))
    cut %= len(tale.frames)
    resumed = Tale(tale.limits, load(dump(told[cut][0])), tale.frames[cut + 1 :])
    assert repr(resumed.state) == repr(told[cut][0])
    assert repr(list(_fold(resumed))) == repr(told[cut + 1 :])


@given(tales())
@QUICK
def test_nothing_that_is_a_command_changes_heat_presence_or_phase(tale):
    silent = replace(tale, frames=tuple(replace(frame, commands=()) for frame in tale.frames))
    for (state, decision), (without, quiet) in zip(_fold(tale), _fold(silent), strict=True):
        assert decision.outputs.heat_permit == quiet.outputs.heat_permit
        kept = ("signals", "place", "run", "hold", "unplugged", "buttons", "permit", "memories")
        for name in kept:
            assert repr(getattr(state, name)) == repr(getattr(without, name))
        alarms = [(item.tag, item.level) for item in state.alarms.standing]
        assert alarms == [(item.tag, item.level) for item in without.alarms.standing]


def _is(frame: Frame, channel: str) -> bool | None:
    reading = frame.values.get(channel)
    if reading is None or reading.quality is not Quality.GOOD or reading.value is None:
        return None
    return reading.value >= 0.5


def _gap(before: Frame, frame: Frame) -> bool:
    if frame.boot_id != before.boot_id or frame.t_ns < before.t_ns:
        return True
    return frame.t_ns - before.t_ns > 3 * NS_PER_S


def _pressed(frames: tuple[Frame, ...], index: int) -> bool:
    """Start was up when last read, at most some seconds ago, and is down now."""
    if not _is(frames[index], "start_button"):
        return False
    for back in range(index, 0, -1):
        if _gap(frames[back - 1], frames[back]):
            return False
        was = _is(frames[back - 1], "start_button")
        if was is not None:
            return was is False
    return False


def _came_back(granted: list[bool], frames: tuple[Frame, ...], index: int) -> bool:
    """One short gap, in one boot, not long ago, took what was granted just before it."""
    gaps = [at for at in range(1, index + 1) if _gap(frames[at - 1], frames[at])]
    if not gaps or gaps[-1] == index or not granted[gaps[-1] - 1]:
        return False
    before, after = frames[gaps[-1] - 1], frames[gaps[-1]]
    return (
        before.boot_id == after.boot_id
        and 0 <= after.t_ns - before.t_ns <= 60 * NS_PER_S
        and frames[index].t_ns - after.t_ns <= 15 * NS_PER_S
        and _is(frames[index], "mains_ok") is True
        and all(_is(frame, "mains_ok") is not False for frame in frames[gaps[-1] : index])
        and all(_is(frame, "estop_ok") is not False for frame in frames[gaps[-1] : index])
    )


@given(tales())
@settings(QUICK, max_examples=100)
def test_heat_is_allowed_only_by_a_press_or_after_a_short_gap(tale):
    start = story_frame(tale)
    frames = (start, *tale.frames)
    granted = [tale.state.permit.granted]
    for index, (state, decision) in enumerate(_fold(tale), 1):
        frame = frames[index]
        granted.append(state.permit.granted)
        assert decision.outputs.heat_permit == state.permit.granted
        if not state.permit.granted:
            continue
        assert not state.alarms.tags(Level.TRIP)
        assert not _gap(frames[index - 1], frame)
        assert _is(frame, "estop_ok") is not False
        assert _is(frame, "mains_ok") is not False
        assert "start_button" in frame.values
        assert state.place.phase not in ("release", "aborted")
        if not granted[index - 1]:
            assert _pressed(frames, index) or _came_back(granted, frames, index)


def story_frame(tale: Tale) -> Frame:
    """The frame before the tale, as far as the checks look at it."""
    first = tale.frames[0]
    return replace(
        first,
        t_ns=tale.state.t_ns,
        boot_id=tale.state.boot_id,
        values={
            name: Reading(on, Quality.GOOD, Reason.NONE, 0)
            for name, on in (("start_button", 0.0), ("mains_ok", 1.0), ("estop_ok", 1.0))
        },
    )


@given(tales())
@settings(QUICK, max_examples=100)
def test_a_latch_ends_only_by_a_reset_at_the_rig(tale):
    before = tale.state.permit
    for (state, decision), frame in zip(_fold(tale), tale.frames, strict=True):
        latched = before.tag if before.state in ("latched", "watch_only") else ""
        if latched and not state.permit.tag:
            resets = [
                e for e in decision.events if getattr(e, "did", "") == f"reset after {latched}"
            ]
            assert resets
            assert not state.alarms.tags(Level.TRIP)
            assert _is(frame, "reset_button") or _is(frame, "start_button")
            assert not state.permit.granted
        before = state.permit

"""`rules.step` over arbitrary frames: it never raises, repeats itself and keeps its promises.

Frames are invented by hypothesis, told on from places of an ordinary repair so
that the permit, the latch and the bags are in play.
"""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.checkpoint import dump, load
from rules.events import Level
from rules.frame import NS_PER_S, Frame
from tests.property.tales import QUICK, Tale, fold, gap_between, is_on, story_frame, tales


@given(tales())
@QUICK
def test_it_never_raises_and_repeats_itself(tale):
    # By their words, since not-a-number does not equal itself.
    assert repr(list(fold(tale))) == repr(list(fold(tale)))


@pytest.mark.proves("a checkpoint and the frames after it give the same state to the bit")
@given(tales(), st.integers(0, 29))
@QUICK
def test_resuming_anywhere_gives_the_same_to_the_bit(tale, cut):
    told = list(fold(tale))
    cut %= len(tale.frames)
    resumed = Tale(tale.limits, load(dump(told[cut][0])), tale.frames[cut + 1 :])
    assert repr(resumed.state) == repr(told[cut][0])
    assert repr(list(fold(resumed))) == repr(told[cut + 1 :])


@given(tales())
@QUICK
def test_nothing_that_is_a_command_changes_heat_presence_or_phase(tale):
    silent = replace(tale, frames=tuple(replace(frame, commands=()) for frame in tale.frames))
    for (state, decision), (without, quiet) in zip(fold(tale), fold(silent), strict=True):
        assert decision.outputs.heat_permit == quiet.outputs.heat_permit
        kept = ("signals", "place", "run", "hold", "unplugged", "buttons", "permit", "memories")
        for name in kept:
            assert repr(getattr(state, name)) == repr(getattr(without, name))
        alarms = [(item.tag, item.level) for item in state.alarms.standing]
        assert alarms == [(item.tag, item.level) for item in without.alarms.standing]


def _pressed(frames: tuple[Frame, ...], index: int) -> bool:
    """Start was up when last read, at most some seconds ago, and is down now."""
    if not is_on(frames[index], "start_button"):
        return False
    for back in range(index, 0, -1):
        if gap_between(frames[back - 1], frames[back]):
            return False
        was = is_on(frames[back - 1], "start_button")
        if was is not None:
            return was is False
    return False


def _came_back(granted: list[bool], frames: tuple[Frame, ...], index: int) -> bool:
    """One short gap, in one boot, not long ago, took what was granted just before it."""
    gaps = [at for at in range(1, index + 1) if gap_between(frames[at - 1], frames[at])]
    if not gaps or gaps[-1] == index or not granted[gaps[-1] - 1]:
        return False
    before, after = frames[gaps[-1] - 1], frames[gaps[-1]]
    return (
        before.boot_id == after.boot_id
        and 0 <= after.t_ns - before.t_ns <= 60 * NS_PER_S
        and frames[index].t_ns - after.t_ns <= 15 * NS_PER_S
        and is_on(frames[index], "mains_ok") is True
        and all(is_on(frame, "mains_ok") is not False for frame in frames[gaps[-1] : index])
        and all(is_on(frame, "estop_ok") is not False for frame in frames[gaps[-1] : index])
    )


@given(tales())
@settings(QUICK, max_examples=100)
def test_heat_is_allowed_only_by_a_press_or_after_a_shortgap_between(tale):
    start = story_frame(tale)
    frames = (start, *tale.frames)
    granted = [tale.state.permit.granted]
    for index, (state, decision) in enumerate(fold(tale), 1):
        frame = frames[index]
        granted.append(state.permit.granted)
        assert decision.outputs.heat_permit == state.permit.granted
        if not state.permit.granted:
            continue
        assert not state.alarms.tags(Level.TRIP)
        assert not gap_between(frames[index - 1], frame)
        assert is_on(frame, "estop_ok") is not False
        assert is_on(frame, "mains_ok") is not False
        assert "start_button" in frame.values
        assert state.place.phase not in ("release", "aborted")
        if not granted[index - 1]:
            assert _pressed(frames, index) or _came_back(granted, frames, index)


@given(tales())
@settings(QUICK, max_examples=100)
def test_a_latch_ends_only_by_a_reset_at_the_rig(tale):
    before = tale.state.permit
    for (state, decision), frame in zip(fold(tale), tale.frames, strict=True):
        latched = before.tag if before.state in ("latched", "watch_only") else ""
        if latched and not state.permit.tag:
            resets = [
                e for e in decision.events if getattr(e, "did", "") == f"reset after {latched}"
            ]
            assert resets
            assert not state.alarms.tags(Level.TRIP)
            assert is_on(frame, "reset_button") or is_on(frame, "start_button")
            assert not state.permit.granted
        before = state.permit

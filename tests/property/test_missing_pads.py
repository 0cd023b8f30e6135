"""Heat is never allowed for longer than the allowance while a pad cannot be read.

However the pad is lost: open, no answer, no number, doubtful, one after another
in any order, with frames as they come. The allowance is the longer of the two
limits that stand for a lost pad, its sensor's and its link's, and one frame.
"""

from collections.abc import Iterator

from hypothesis import example, given
from hypothesis import strategies as st

from rules.channels import PADS
from rules.frame import LINK_REASONS, NS_PER_S, Quality, Reading, Reason
from rules.placing import patience_s
from rules.step import step
from tests.property.tales import QUICK
from tests.unit.story import Story, story_in

HEATED = ("preheat", "inflation", "heat_up", "cure")
LOST = tuple(
    reason for reason in Reason if reason not in (Reason.NONE, Reason.MAINTENANCE_REQUIRED)
)

# The frame's distance, which pads are lost in it, and how; told on for some two minutes.
losses = st.lists(
    st.tuples(
        st.sampled_from([1.0, 1.0, 1.0, 0.5, 2.0, 3.0]),
        st.sampled_from([PADS, PADS[:1], PADS[1:]]),
        st.sampled_from(LOST),
        st.sampled_from([Quality.BAD, Quality.BAD, Quality.UNCERTAIN]),
    ),
    min_size=1,
    max_size=4,
)
repeats = st.integers(1, 30)


Told = list[tuple[float, tuple[str, ...], Reason, Quality]]


def granted_for(
    story: Story, told: list[tuple[float, tuple[str, ...], Reason, Quality]]
) -> Iterator[float]:
    """How long a pad had been lost at each frame with heat still allowed, s."""
    last, state = story.frames[-1], story.state
    t_ns, lost_since_ns = last.t_ns, dict.fromkeys(PADS, None)
    answered_ns = dict.fromkeys(PADS, t_ns)
    for seq, (dt_s, lost, reason, quality) in enumerate(told, last.seq + 1):
        t_ns += round(dt_s * NS_PER_S)
        frame = story.frame()
        values = {}
        for name, reading in frame.values.items():
            values[name] = Reading(reading.value, reading.quality, reading.reason, t_ns)
        for name in PADS:
            if name not in lost:
                lost_since_ns[name], answered_ns[name] = None, t_ns
                continue
            if lost_since_ns[name] is None:
                lost_since_ns[name] = t_ns
            link = reason in LINK_REASONS
            if not link:
                answered_ns[name] = t_ns
            value = 140.0 if quality is Quality.UNCERTAIN and not link else None
            said = Quality.BAD if value is None else quality
            values[name] = Reading(value, said, reason, answered_ns[name])
        made = type(frame)(
            seq,
            t_ns,
            last.wall_ns + t_ns - last.t_ns,
            True,
            last.boot_id,
            values,
            {"heat_permit": state.permit.granted},
        )
        state, decision = step(story.limits, state, made)
        since = [since_ns for since_ns in lost_since_ns.values() if since_ns is not None]
        if decision.outputs.heat_permit and since:
            yield (t_ns - min(since)) / NS_PER_S


@given(st.sampled_from(HEATED), losses, repeats)
@example("cure", [(1.0, PADS, Reason.OPEN_CIRCUIT, Quality.BAD)], 30)
@example("cure", [(1.0, PADS, Reason.NO_REPLY, Quality.BAD)], 30)
@QUICK
def test_no_heat_on_a_pad_that_cannot_be_read(place, told, times):
    story = story_in(place, 1.0).press("start_button")
    assert story.permit == "granted"
    limits = story.limits
    limit_s = max(limits.pad_sensor.trip_after_s, limits.link_stale.trip_after_s)
    worst_s = max(granted_for(story, told * times), default=0.0)
    assert worst_s <= limit_s + patience_s(limits)

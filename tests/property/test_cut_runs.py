"""A run cut at any durable prefix and resumed tells the same story.

What is equal, and when:

- Up to the cut: everything, it is the same fold.
- Resumed from a checkpoint or never stopped, the same frames: equal to the bit,
  also the frame that shows the gap (`test_step` proves that for any frames).
- Against the run that was never cut: what begins a quarter of an hour after the
  gap or later is told in the same order, with the same tags, levels, phases and
  outcome. Left out are what the gap honestly changes: `run.interrupted`, the
  permit and the presses that bring heat back, and every figure and time in the
  words, since the hold does not run on while nobody looks.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from rules.checkpoint import dump, load
from rules.events import AlarmChanged, Event, PhaseChanged, RunClosed
from rules.frame import NS_PER_S, Frame, Quality, Reading, Reason
from rules.state import State
from rules.step import step
from tests.property.tales import QUICK
from tests.unit.story import Story, story_in

PERIOD_S = 10.0
QUIET_S = 2700.0
GAP_S_MAX = 540.0
AGAIN_S = 900.0
CUT_S_MAX = QUIET_S - GAP_S_MAX - AGAIN_S
PRESSED_AFTER = 6  # frames from the gap's end to somebody's press of start


def _hot(story: Story) -> None:
    story.run(60, pad_inner_c=158.0).run(120).run(120, pad_inner_c=140.0).run(120)
    story.press("reset_button").press("start_button").run(300)


def _leaks(story: Story) -> None:
    story.run(1200, bag_inner_kpa=130.0).run(300)


def _silent(story: Story) -> None:
    story.set(pad_inner_c="no_reply", pad_outer_c="no_reply").run(120).pads(140).run(300)


def _alone(story: Story) -> None:
    # In a quiet hold nobody need come for longer; a gap is no quiet one.
    story.run(6300)


def _pins_out(story: Story) -> None:
    story.set(pins_in=0.0).run(120)


def _ends(story: Story) -> None:
    story.press("here_button").run(600, pad_inner_c=115.0, pad_outer_c=115.0)
    story.press("here_button").run(600, pad_inner_c=80.0, pad_outer_c=80.0)
    story.press("here_button").run(300, bag_inner_kpa=0.0, bag_outer_kpa=0.0).run(200)


# What happens after the quiet stretch. No hold is stated, so that none ends in it.
UPSETS: dict[str, Callable[[Story], None]] = {
    "a pad runs hot": _hot,
    "a bag leaks": _leaks,
    "a module is silent": _silent,
    "nobody comes": _alone,
    "pins are pulled": _pins_out,
    "nothing": _ends,
}


@cache
def _straight(upset: str) -> tuple[Story, int]:
    """The run that is never cut, from the cure on, and how many of its frames were before."""
    story = story_in("cure", PERIOD_S)
    begun = len(story.frames)
    story.run(1200).press("here_button").run(1180).press("here_button")
    story.run(QUIET_S - 2420)  # two presses took four frames
    UPSETS[upset](story)
    return story, begun


@cache
def _before(upset: str) -> list[State]:
    """The state before each frame in which a cut may come; every one of them is durable."""
    straight, begun = _straight(upset)
    states = [story_in("cure", PERIOD_S).state]
    for frame in straight.frames[begun : begun + int(CUT_S_MAX / PERIOD_S)]:
        states.append(step(straight.limits, states[-1], frame)[0])
    return states


def _again(last: Frame, frame: Frame, boots: int, *, granted: bool, pressed: bool) -> Frame:
    """A frame of the straight run as it comes after the gap; the relay follows this run."""
    values = dict(frame.values)
    if pressed:
        values["start_button"] = Reading(1.0, Quality.GOOD, Reason.NONE, frame.t_ns)
    since_ns = last.t_ns - 5 * NS_PER_S if boots else 0
    return replace(
        frame,
        t_ns=frame.t_ns - since_ns,
        boot_id="boot-2" if boots else frame.boot_id,
        values={
            name: replace(reading, at_ns=max(0, reading.at_ns - since_ns))
            for name, reading in values.items()
        },
        readback={"heat_permit": granted},
    )


def _cut(upset: str, cut: int, lost: int, boots: int) -> list[tuple[int, Event]]:
    """All events from the cut on, with the wall time of each, of the run cut and resumed."""
    straight, begun = _straight(upset)
    fresh = story_in("cure", PERIOD_S)
    frames = straight.frames[begun:]
    state: State = load(dump(_before(upset)[cut]))
    told: list[tuple[int, Event]] = []
    granted = False  # whoever closed it, the relay has opened
    for index, frame in enumerate(frames[cut + lost :]):
        made = _again(
            frames[cut - 1], frame, boots, granted=granted, pressed=index == PRESSED_AFTER
        )
        state, decision = step(fresh.limits, state, made)
        granted = decision.outputs.heat_permit
        told += [(frame.wall_ns, event) for event in decision.events]
    return told


def _story_of(told: list[tuple[int, Event]], from_ns: int) -> list[tuple[str, ...]]:
    """What is to be equal: alarms, phases, outcome, in order."""
    lines: list[tuple[str, ...]] = []
    for wall_ns, event in told:
        if wall_ns < from_ns:
            continue
        if isinstance(event, AlarmChanged) and event.tag != "run.interrupted":
            lines.append((event.tag, event.state))
        elif isinstance(event, PhaseChanged):
            lines.append((event.phase, event.was))
        elif isinstance(event, RunClosed):
            lines.append((event.outcome,))
    return lines


@given(
    upset=st.sampled_from(sorted(UPSETS)),
    cut=st.integers(1, int(CUT_S_MAX / PERIOD_S)),
    lost=st.integers(3, int(GAP_S_MAX / PERIOD_S)),
    boots=st.sampled_from([0, 1]),
)
@settings(QUICK, max_examples=15)
def test_a_run_cut_and_resumed_tells_the_same_story(upset, cut, lost, boots):
    straight, begun = _straight(upset)
    quiet_ns = straight.frames[begun].wall_ns + round(QUIET_S * NS_PER_S)
    wall_0 = straight.frames[0].wall_ns
    told = [(wall_0 + round(at_s * NS_PER_S), event) for at_s, event in straight.told]
    expected = _story_of(told, quiet_ns)
    assert expected, "nothing happens in it"
    assert _story_of(_cut(upset, cut, lost, boots), quiet_ns) == expected

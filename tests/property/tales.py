"""Tales for property tests: arbitrary frames told on from places of an ordinary repair.

So the permit, the latch and the bags are in play. Nothing here asserts anything.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from rules.channels import BAGS, BUTTONS, BY_NAME, PADS
from rules.events import Decision
from rules.frame import LINK_REASONS, NS_PER_S, Command, Frame, Health, Quality, Reading, Reason
from rules.limits import LimitsBase
from rules.state import State
from rules.step import step
from tests.unit.story import Story, limits_with, story_in

QUICK = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
VERBS = ("seen", "going", "quiet", "note", "out_of_service", "in_service")
PLACES = ("idle", "preheat", "fitting", "inflation", "heat_up", "cure", "cool_down", "release")
LIKELY = {
    **{pad: [20.0, 60.0, 99.0, 121.0, 138.0, 140.0, 147.9, 149.0, 156.0, 300.0] for pad in PADS},
    **{bag: [0.0, 15.0, 25.0, 140.0, 176.0, 200.0, 207.0, 215.0, 260.0] for bag in BAGS},
    "ambient_c": [20.0, 25.0],
}
HUGE = st.sampled_from([1e308, -1e308, 1e20, -1e20, 4e9, 3276.7, -3276.8])
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
        st.none() | st.floats() | ODD | HUGE,
        st.sampled_from(Quality),
        st.sampled_from(Reason),
        ages_ns,
    )
    return st.one_of(good, good, good, good, good, bad, odd, st.none())


COMMANDS = st.lists(
    st.builds(
        Command,
        st.sampled_from(["a", "b", "c", ""]),
        st.sampled_from([*VERBS, "start", "reset", "here", ""]),
        st.just("Ada"),
        st.sampled_from(["mqtt", "socket"]),
        st.integers(),
        tag=st.sampled_from(
            ["", "bag.low", "bag.burst", "pad.sensor", "start_button", "heat_permit"]
        ),
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
    health: Health
    wall_trusted: bool


HEALTH = st.builds(
    Health,
    store_ok=st.sampled_from([True, True, False]),
    broker_ok=st.sampled_from([True, None, False]),
    store_free_mb=st.sampled_from([None, 0, 1, 50, 20_000]),
    delivery_failing=st.sampled_from(["", "", "phones", "broker"]),
)
# Mostly sound, or nearly every tale would be about a sick computer.
HEALTHS = st.one_of(*[st.just(Health())] * 9, HEALTH)

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
    HEALTHS,
    st.sampled_from([True] * 9 + [False]),
)

# The rig the tale goes on on may be held in another way, high up, or have one pad.
STATED = (
    {},
    {"air_mode": "locked_off", "site_altitude_m": 3000.0},
    {"air_mode": "non_relieving", "commissioned_on": "2026-03-02", "closing_time": "08:00"},
    {"pads": "inner_only"},
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


@cache
def _stated(hold_min: float | None, number: int) -> LimitsBase:
    return limits_with(facts={"hold_min": hold_min, **STATED[number]})


@st.composite
def tales(draw: st.DrawFn) -> Tale:
    place = draw(st.sampled_from(PLACES))
    hold_min = draw(st.sampled_from([None, 9.2]))
    story = _begun(place, hold_min, draw(st.sampled_from(sorted(BEFORE))))
    limits = _stated(hold_min, draw(st.sampled_from(range(len(STATED)))))
    last = story.frames[-1]
    frames = []
    for change in draw(st.lists(CHANGES, min_size=1, max_size=30)):
        last = _next(last, change)
        frames.append(last)
    return Tale(limits, story.state, tuple(frames))


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
        name: replace(reading, at_ns=_answered_ns(last, name, reading, t_ns))
        for name, reading in values.items()
    }
    return Frame(
        last.seq + 1,
        t_ns,
        last.wall_ns + passed_ns + round(change.wall_s * NS_PER_S),
        change.wall_trusted,
        f"{last.boot_id}*" if change.boots else last.boot_id,
        answered,
        {"heat_permit": change.readback},
        change.health,
        change.commands,
    )


def _answered_ns(last: Frame, name: str, reading: Reading, t_ns: int) -> int:
    """When an answer last came, as a driver would say it; a mad reading keeps its own time."""
    if reading.at_ns and name in last.values and last.values[name].at_ns != reading.at_ns:
        return reading.at_ns
    if reading.reason not in LINK_REASONS:
        return t_ns
    # Since a restart no answer has come at all.
    before = last.values.get(name)
    return 0 if before is None else min(before.at_ns, t_ns)


def fold(tale: Tale) -> Iterator[tuple[State, Decision]]:
    state = tale.state
    for frame in tale.frames:
        state, decision = step(tale.limits, state, frame)
        yield state, decision


def is_on(frame: Frame, channel: str) -> bool | None:
    reading = frame.values.get(channel)
    if reading is None or reading.quality is not Quality.GOOD or reading.value is None:
        return None
    return reading.value >= 0.5


def gap_between(before: Frame, frame: Frame) -> bool:
    if frame.boot_id != before.boot_id or frame.t_ns < before.t_ns:
        return True
    return frame.t_ns - before.t_ns > 3 * NS_PER_S


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

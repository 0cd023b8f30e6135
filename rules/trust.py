"""Which readings jump as no pad and no bag can, though the input calls them good.

A pad of kilograms changes by a fraction of a degree in a second, and a hose
fills a bag by some kPa in one. Until a reading that jumped has settled nothing is
judged by it; `pad.sensor` and `bag.sensor` count that time as a fault of the
sensor. A bag may fall as fast as it likes: it may have burst.

A runaway rises by 0.1 °C/s and is never doubted. A rate is taken over the time
between frames, so that a slow trace is not doubted for being slow, and over no
less than a second, so that fast frames do not make noise look like speed.

Source:
    This project's design; figures are common practice, no source.
"""

from typing import NamedTuple

from pydantic import BaseModel, Field

from rules.believed import believed
from rules.channels import BAGS, PADS
from rules.facts import STRICT
from rules.frame import NS_PER_S, Frame, Quality

WATCHED = (*PADS, *BAGS)
PAD_INNER, PAD_OUTER = PADS
BAG_INNER, BAG_OUTER = BAGS
SHORTEST_S = 1.0


class TrustLimits(BaseModel):
    """Figures of what pads and bags can do.

    Attributes:
        slew_c_per_s: a pad cannot change faster.
        fill_kpa_per_s: a bag cannot be filled faster.
        settle_s: how long a reading that jumped must go on plausibly to be
            believed again.
        settle_wild_s: the same once it has jumped more than out and back.
    """

    model_config = STRICT

    slew_c_per_s: float = Field(default=3.0, gt=0, le=50)
    fill_kpa_per_s: float = Field(default=25.0, gt=0, le=500)
    settle_s: float = Field(default=5.0, ge=0, le=60)
    settle_wild_s: float = Field(default=30.0, ge=0, le=600)


Four = tuple[float | None, float | None, float | None, float | None]
FourTimes = tuple[int | None, int | None, int | None, int | None]
NOTHING: Four = (None, None, None, None)
NEVER: FourTimes = (None, None, None, None)
CALM = (0, 0, 0, 0)
# Out and back: one wrong sample.
JUMPS_MAX = 2
NONE_DOUBTED: frozenset[str] = frozenset()


class Trust(NamedTuple):
    """What is remembered of both pads and both bags.

    Attributes:
        doubted: channels whose good readings are not believed now.
        at_ns: process time of the frame before, ns.
        last: the last possible reading of each of `WATCHED`, °C and kPa, or None.
        jumped_ns: when each last jumped, ns, while it is doubted; else None.
        jumps: how often each has jumped while doubted, counted to one beyond
            `JUMPS_MAX`.
    """

    doubted: frozenset[str] = NONE_DOUBTED
    at_ns: int = 0
    last: Four = NOTHING
    jumped_ns: FourTimes = NEVER
    jumps: tuple[int, int, int, int] = CALM


def follow(limits: TrustLimits, trust: Trust, frame: Frame, now_ns: int, gap_s: float) -> Trust:
    """The trust after one more frame.

    Args:
        limits: figures.
        trust: so far.
        frame: the frame.
        now_ns: process time, ns.
        gap_s: length of an interruption just before this frame, s, or 0: nothing
            is compared across it.

    Source:
        Own method.
    """
    if gap_s > 0:
        trust = Trust(at_ns=now_ns)
    span_s = (now_ns - trust.at_ns) / NS_PER_S
    if span_s < SHORTEST_S:  # noqa: PLR1730  # max() costs a third of this function's time
        span_s = SHORTEST_S
    most_c, most_kpa = limits.slew_c_per_s * span_s, limits.fill_kpa_per_s * span_s
    if not trust.doubted:
        followed = _plausible(trust, frame, now_ns, most_c, most_kpa)
        if followed is not None:
            return followed
    return _compared(limits, trust, frame, now_ns, most_c, most_kpa)


def _compared(
    limits: TrustLimits, trust: Trust, frame: Frame, now_ns: int, most_c: float, most_kpa: float
) -> Trust:
    """The trust reading by reading."""
    last, jumped, jumps = list(trust.last), list(trust.jumped_ns), list(trust.jumps)
    for place, name in enumerate(WATCHED):
        value = believed(name, frame.values.get(name))
        if value is None:
            continue
        was = last[place]
        change = 0.0 if was is None else value - was
        since_ns = jumped[place]
        if (abs(change) > most_c) if name in PADS else (change > most_kpa):
            jumped[place] = now_ns
            jumps[place] = min(jumps[place] + 1, JUMPS_MAX + 1)
        elif since_ns is not None:
            wild = jumps[place] > JUMPS_MAX
            settle_s = limits.settle_wild_s if wild else limits.settle_s
            if now_ns - since_ns >= settle_s * NS_PER_S:
                jumped[place], jumps[place] = None, 0
        last[place] = value
    doubted = frozenset(
        name for name, at_ns in zip(WATCHED, jumped, strict=True) if at_ns is not None
    )
    inner_c, outer_c, inner_kpa, outer_kpa = last
    first, second, third, fourth = jumped
    one, two, three, four = jumps
    return Trust(
        doubted,
        now_ns,
        (inner_c, outer_c, inner_kpa, outer_kpa),
        (first, second, third, fourth),
        (one, two, three, four),
    )


def _plausible(
    trust: Trust, frame: Frame, now_ns: int, most_c: float, most_kpa: float
) -> Trust | None:
    """The trust if all four are good and none jumps, the way of nearly every frame."""
    inner_c, outer_c, inner_kpa, outer_kpa = trust.last
    if inner_c is None or outer_c is None or inner_kpa is None or outer_kpa is None:
        return None
    values, good = frame.values, Quality.GOOD
    try:
        one, two = values[PAD_INNER], values[PAD_OUTER]
        three, four = values[BAG_INNER], values[BAG_OUTER]
    except KeyError:
        return None
    first, second, third, fourth = one.value, two.value, three.value, four.value
    if first is None or second is None or third is None or fourth is None:
        return None
    if (
        one.quality is good
        and two.quality is good
        and three.quality is good
        and four.quality is good
        and -most_c <= first - inner_c <= most_c
        and -most_c <= second - outer_c <= most_c
        and third - inner_kpa <= most_kpa
        and fourth - outer_kpa <= most_kpa
    ):
        return Trust(NONE_DOUBTED, now_ns, (first, second, third, fourth), NEVER)
    return None

"""What a heater takes, held against what it took when this run began.

Elements that burn out and a joint that works loose show in the current long before
they show in a pad's temperature, for the thermostat sits in the middle of the pad.
The mains' own ups and downs are taken out by the other pad's current.

Source:
    Ohm's law; own method. Clamps and heaters change by less than a hundredth over a
    cure: common practice, no source.
"""

from dataclasses import dataclass, replace

from rules.frame import NS_PER_S
from rules.heating import CURRENTS, FLOWS_A
from rules.view import View

# Looks, ten seconds apart, that make the first figure; and over how many the newer
# ones are evened out.
FIRST_LOOKS = 24
EVENED_LOOKS = 6
# What the other heater told of the mains some minutes ago says whether there is a brown-out;
# hundredths only what it tells at the same look.
MAINS_KNOWN_NS = 600 * NS_PER_S
# Heaters that take turns are compared by so many looks of each, and twice: a step of the
# mains between the one's turn and the other's passes for a joint once.
TURN_LOOKS = 6
MAINS_SHARES = (0.5, 1.2)
# A look that is further from the one before shows a heater that is just switched, in part.
STEADY_SHARE = 0.07
NEVER_NS = -2 * MAINS_KNOWN_NS
# The other heater's own fault must not lift this one's share out of sight.
SHARE_MOST = 1.02


@dataclass(frozen=True, slots=True)
class Heater:
    """One heater's current.

    Attributes:
        looks: that have made `first_a` so far.
        first_a: what it took when the run began, A.
        now_a: what it took at the last look, A; None: it was not on.
        share: of the first, the mains' changes taken out, evened out; None: not yet.
        low_looks: how many looks in a row it took far too little.
    """

    looks: int = 0
    first_a: float = 0.0
    now_a: float | None = None
    share: float | None = None
    low_looks: int = 0


UNKNOWN = Heater()


@dataclass(frozen=True, slots=True)
class Turns:
    """Both heaters compared though they are seldom on at once.

    Attributes:
        sums: of their shares of their first currents, since they were last compared.
        counts: looks in them.
        ratio: the first's share to the second's, when last compared.
        shares: of each to the other's, the higher of the last two.
    """

    sums: tuple[float, float] = (0.0, 0.0)
    counts: tuple[int, int] = (0, 0)
    ratio: float = 1.0
    shares: tuple[float, float] = (1.0, 1.0)


NO_TURN = Turns()


@dataclass(frozen=True, slots=True)
class Currents:
    """Both heaters.

    Attributes:
        heaters: in the order of `rules.channels.PADS`.
        mains: the mains' voltage as a share of what it was when the run began, as
            each heater shows it.
        mains_ns: when each last did, ns; long before the start: never.
        turns: both compared though they take turns.
    """

    heaters: tuple[Heater, Heater] = (UNKNOWN, UNKNOWN)
    mains: tuple[float, float] = (1.0, 1.0)
    mains_ns: tuple[int, int] = (NEVER_NS, NEVER_NS)
    turns: Turns = NO_TURN


NONE_YET = Currents()


def follow(currents: Currents, view: View, low_share: float) -> Currents:
    """Both heaters' currents after one more look.

    Args:
        currents: so far.
        view: the frame; call this every `rules.heating.LOOK_S`.
        low_share: below this share of its first current a heater takes far too little.

    Source:
        Own method.
    """
    amperes = (view.good(CURRENTS[0]), view.good(CURRENTS[1]))
    if amperes == (None, None):
        return currents if currents is NONE_YET else NONE_YET
    inner, outer = currents.heaters
    mains, mains_ns, turns = list(currents.mains), list(currents.mains_ns), currents.turns
    for index, (was, value) in enumerate(zip((inner, outer), amperes, strict=True)):
        share = _steady_share(was, value)
        if share is not None and MAINS_SHARES[0] <= share <= MAINS_SHARES[1]:
            mains[index], mains_ns[index] = share, view.now_ns
            turns = _compared(turns, index, share)
    ages_ns = (view.now_ns - mains_ns[0], view.now_ns - mains_ns[1])
    return Currents(
        (
            _one(inner, amperes[0], mains[1], ages_ns[1], low_share),
            _one(outer, amperes[1], mains[0], ages_ns[0], low_share),
        ),
        (mains[0], mains[1]),
        (mains_ns[0], mains_ns[1]),
        turns,
    )


def _compared(was: Turns, index: int, share: float) -> Turns:
    """The comparison after one more look at one heater."""
    (one, other), (ones, others) = was.sums, was.counts
    if index == 0:
        one, ones = one + share, ones + 1
    else:
        other, others = other + share, others + 1
    if ones < TURN_LOOKS or others < TURN_LOOKS:
        return Turns((one, other), (ones, others), was.ratio, was.shares)
    ratio = (one / ones) / (other / others)
    return Turns(ratio=ratio, shares=(max(ratio, was.ratio), 1.0 / min(ratio, was.ratio)))


def _steady_share(was: Heater, value: float | None) -> float | None:
    """Of its first current, while it is on, and was at the look before: not just switched."""
    if value is None or value < FLOWS_A or was.looks < FIRST_LOOKS or not _steady(was, value):
        return None
    return value / was.first_a


def _steady(was: Heater, value: float) -> bool:
    """It takes what it took at the look before."""
    return was.now_a is not None and abs(value - was.now_a) <= STEADY_SHARE * was.now_a


def _one(
    was: Heater, value: float | None, mains: float, mains_age_ns: int, low_share: float
) -> Heater:
    """One heater after one more look, by what the other told of the mains so long ago."""
    if value is None or value < FLOWS_A:
        return was if was.now_a is None else replace(was, now_a=None)
    if was.now_a is None:
        return replace(was, now_a=value)
    steady = _steady(was, value)
    if was.looks < FIRST_LOOKS:
        if not steady:
            return replace(was, now_a=value)
        first_a = was.first_a + (value - was.first_a) / (was.looks + 1)
        return replace(was, looks=was.looks + 1, first_a=first_a, now_a=value)
    share = value / was.first_a / (mains if mains_age_ns <= MAINS_KNOWN_NS else 1.0)
    low_looks = was.low_looks + 1 if share < low_share else 0
    evened = was.share
    if mains_age_ns == 0 and steady and not low_looks:
        before = 1.0 if evened is None else evened
        evened = before + (min(share, SHARE_MOST) - before) / EVENED_LOOKS
    return Heater(was.looks, was.first_a, value, evened, low_looks)

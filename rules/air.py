"""The air in the bags: how warm it is, what its pressure would be at 20 °C, what becomes of it.

Looked at on a grid of 3 s and at constant cost. What a hand or a regulator does is a move
far quicker than the leaks that `bag.drift` is for: it is told apart, and the averages
begin afresh after it.

Source:
    Gas law; this project's design: ambient + f (pad - ambient), f 0.3 to 0.6.
"""

from enum import StrEnum
from functools import lru_cache
from math import exp
from typing import NamedTuple

from rules.atmosphere import atmosphere_kpa
from rules.averages import Averages, begun
from rules.believed import believed
from rules.boiling import KELVIN
from rules.channels import PADS
from rules.facts import AirMode, RigFacts
from rules.frame import NS_PER_S, Frame
from rules.gas_share import PRIOR_SCALE, SEGMENT_K, learned_share
from rules.gas_share import AirLimits as AirLimits  # noqa: PLC0414  # the limits of the model
from rules.signals import Now

REFERENCE_K = KELVIN + 20.0
LOOK_EVERY_NS = 3 * NS_PER_S
# How far its two quicker averages are apart while it moves, and once it is still again. A
# regulator's refill is small, and quicker than anything else that goes up.
FALL_KPA, RISE_KPA, STILL_KPA = 0.9, 0.6, 0.35
JUMP_KPA = 1.2
REFILL_KPA_LOW = 0.8
SLICE_NS, HIGHS_NS = 10 * NS_PER_S, 60 * NS_PER_S
FORGET_S = 3600.0
LOST_S = 120.0


class Doing(StrEnum):
    """What is happening to the air in a bag."""

    UNKNOWN = "unknown"
    EMPTY = "empty"
    FILLING = "filling"
    REFILL = "refill"
    STEADY = "steady"
    TRIM = "trim"
    LEAKING = "leaking"
    LETTING_DOWN = "letting down"


class Track(NamedTuple):
    """Running statistics of one bag.

    Attributes:
        corrected: averages of the corrected pressure, kPa absolute.
        gauge: averages of the gauge pressure, kPa.
        ambient_k: temperature around, lag and all.
        warmth_k: how much warmer than that what warms the air is, lag and all.
        highs_kpa: highest near average of the corrected pressure in slices of 10 s,
            the newest first.
        slice_ns: when the newest slice began; rates are taken then.
        moving_ns: since when it moves quickly, ns; None: it does not.
        moving_from_kpa: corrected pressure from which it moves.
        anchor_k: `warmth_k` at which a sealed bag was last compared.
        anchor_kpa: its absolute pressure then; 0: none.
        learned_scale: how much has been learned of the share, K².
    """

    corrected: Averages
    gauge: Averages
    ambient_k: float
    warmth_k: float
    highs_kpa: tuple[float, ...]
    slice_ns: int
    moving_ns: int | None = None
    moving_from_kpa: float = 0.0
    anchor_k: float = 0.0
    anchor_kpa: float = 0.0
    learned_scale: float = PRIOR_SCALE


class BagAir(NamedTuple):
    """One bag's air at the last look; a look is taken every 3 s of process time.

    Attributes:
        kpa: gauge pressure; None: not fitted or not believed. While it stays empty,
            as it was when it became so.
        gas_c: modelled temperature of its air, °C; None while no pad is believed.
        corrected_kpa: absolute pressure, kPa, brought to 20 °C at constant volume;
            None without `gas_c`, or empty.
        rate_kpa_per_h: of the corrected pressure over some minutes, without what a
            regulator or a hand does at once; below 0 it loses air. None: not known.
        gauge_rate_kpa_per_h: the same of the gauge.
        share: how far its air goes from ambient to its pad, as learned.
        doing: what is happening to it.
        refills_per_h: how often a regulator puts air back, 1/h.
        refill_kpa_per_h: how much it puts back, kPa/h.
        settled_kpa: gauge pressure when it last came to rest after a filling or a
            trim; None: not seen.
        settled_c: modelled temperature of its air then, °C.
        hottest_c: hottest its air has been since it was last empty, °C, to 10 s.
        track: statistics; None: empty or not seen.
    """

    kpa: float | None = None
    gas_c: float | None = None
    corrected_kpa: float | None = None
    rate_kpa_per_h: float | None = None
    gauge_rate_kpa_per_h: float | None = None
    share: float = 0.0
    doing: Doing = Doing.UNKNOWN
    refills_per_h: float = 0.0
    refill_kpa_per_h: float = 0.0
    settled_kpa: float | None = None
    settled_c: float = 20.0
    hottest_c: float = -KELVIN
    track: Track | None = None

    @property
    def fast_kpa_per_s(self) -> float:
        """What air coming and going does to the gauge, over half a minute; 0 while not known.

        Source:
            `rules.averages`; the corrected pressure's, at the temperature that the air has.
        """
        if self.track is None or self.gas_c is None:
            return 0.0
        return self.track.corrected.fast_per_s * (KELVIN + self.gas_c) / REFERENCE_K

    @property
    def fell_60_kpa(self) -> float:
        """How far the corrected pressure is below its highest of the last 60 s, kPa; at least 0.

        Source:
            Own method.
        """
        if self.track is None or self.corrected_kpa is None:
            return 0.0
        return max(0.0, max(self.track.highs_kpa) - self.corrected_kpa)


class Air(NamedTuple):
    """Both bags' air, in the order of `rules.channels.BAGS`.

    Attributes:
        bags: the two.
        looked_ns: process time of the last look, ns.
    """

    bags: tuple[BagAir, BagAir] = (BagAir(), BagAir())
    looked_ns: int = -LOOK_EVERY_NS


class _Look(NamedTuple):
    """What is the same for both bags in one look."""

    limits: AirLimits
    mode: AirMode
    now_ns: int
    lost_ns: int
    ambient_k: float
    around_kpa: float


def follow(
    limits: AirLimits,
    air: Air,
    facts: RigFacts,
    frame: Frame,
    now: Now,
    now_ns: int,
    gap_s: float,
) -> Air:
    """The air after one more frame; the same object when nothing changed.

    Args:
        limits: figures.
        air: so far.
        facts: of the rig.
        frame: the frame.
        now: its pads and bags.
        now_ns: process time, ns.
        gap_s: length of an interruption just before this frame, s, or 0.

    Source:
        Own method.
    """
    if now_ns - air.looked_ns < LOOK_EVERY_NS and not gap_s:
        return air
    (first, second), (one_kpa, other_kpa) = air.bags, now.bags
    if one_kpa is None and other_kpa is None and first.kpa is None and second.kpa is None:
        return air
    ambient_c = believed("ambient_c", frame.values.get("ambient_c"))
    lost_s = max(LOST_S, 3 * facts.frame_period_s)
    look = _Look(
        limits,
        facts.air_mode,
        now_ns,
        0 if gap_s else int(lost_s * NS_PER_S),
        KELVIN + (limits.ambient_c if ambient_c is None else ambient_c),
        atmosphere_kpa(facts.site_altitude_m),
    )
    (one_c, other_c), values = now.pads, frame.values
    bags = (
        _followed(look, first, one_kpa, one_c, other_c, bare=PADS[0] not in values),
        _followed(look, second, other_kpa, other_c, one_c, bare=PADS[1] not in values),
    )
    if bags[0] is first and bags[1] is second:
        return air
    return Air(bags, now_ns)


def _followed(
    look: _Look,
    bag: BagAir,
    kpa: float | None,
    pad_c: float | None,
    other_c: float | None,
    *,
    bare: bool,
) -> BagAir:
    if kpa is None:
        return bag if bag.kpa is None else _unknown(bag, None)
    if kpa <= look.limits.empty_kpa:
        if bag.doing is Doing.EMPTY:
            return bag
        return BagAir(kpa, share=bag.share, doing=Doing.EMPTY)
    warm_c = other_c if pad_c is None else pad_c
    if warm_c is None:
        return _unknown(bag, kpa)
    towards_k = KELVIN + warm_c - look.ambient_k
    track, share = bag.track, bag.share
    if track is None or look.now_ns - track.corrected.at_ns > look.lost_ns:
        share = share or (look.limits.bare_share if bare else look.limits.gas_share)
        return _first(look, bag, kpa, towards_k, share)
    step_share = _lag(look.limits.gas_lag_s, look.now_ns - track.corrected.at_ns)
    ambient_k = track.ambient_k + (look.ambient_k - track.ambient_k) * step_share
    warmth_k = track.warmth_k + (towards_k - track.warmth_k) * step_share
    return _next(look, bag, track, kpa, ambient_k, warmth_k, bare=bare)


def _unknown(bag: BagAir, kpa: float | None) -> BagAir:
    """What cannot be known is not; what was counted goes on if it is soon known again."""
    return BagAir(
        kpa,
        share=bag.share,
        refills_per_h=bag.refills_per_h,
        refill_kpa_per_h=bag.refill_kpa_per_h,
        settled_kpa=bag.settled_kpa,
        settled_c=bag.settled_c,
        hottest_c=bag.hottest_c,
        track=bag.track,
    )


@lru_cache(maxsize=256)
def _lag(lag_s: float, dt_ns: int) -> float:
    """Share of the way that a first-order lag goes in one step."""
    return 1.0 - exp(-dt_ns / NS_PER_S / lag_s)


def _first(look: _Look, bag: BagAir, kpa: float, towards_k: float, share: float) -> BagAir:
    """Air that is just put in is as warm as what is around; other air has long been there."""
    warmth_k = 0.0 if bag.doing is Doing.EMPTY else towards_k
    gas_k = look.ambient_k + share * warmth_k
    corrected_kpa = (kpa + look.around_kpa) * REFERENCE_K / gas_k
    track = Track(
        begun(look.now_ns, corrected_kpa),
        begun(look.now_ns, kpa),
        look.ambient_k,
        warmth_k,
        (corrected_kpa,),
        look.now_ns,
    )
    return BagAir(
        kpa,
        gas_k - KELVIN,
        corrected_kpa,
        share=share,
        refills_per_h=bag.refills_per_h,
        refill_kpa_per_h=bag.refill_kpa_per_h,
        settled_kpa=bag.settled_kpa,
        settled_c=bag.settled_c,
        hottest_c=max(bag.hottest_c, gas_k - KELVIN),
        track=track,
    )


def _next(
    look: _Look,
    bag: BagAir,
    track: Track,
    kpa: float,
    ambient_k: float,
    warmth_k: float,
    *,
    bare: bool,
) -> BagAir:
    """A bag whose air has been followed so far, one look later."""
    now_ns = look.now_ns
    gas_k = ambient_k + bag.share * warmth_k
    corrected_kpa = (kpa + look.around_kpa) * REFERENCE_K / gas_k
    before, gauge, _, _, highs_kpa, slice_ns, moving_ns, *_ = track
    corrected = before.push(now_ns, corrected_kpa)
    near_kpa = corrected.near
    if near_kpa > highs_kpa[0]:
        highs_kpa = (near_kpa, *highs_kpa[1:])
    track = Track(corrected, gauge, ambient_k, warmth_k, highs_kpa, *track[5:])
    bag = BagAir(kpa, gas_k - KELVIN, corrected_kpa, *bag[3:-1], track)
    apart_kpa = near_kpa - corrected.middle
    doing = None
    if moving_ns is not None:
        if -STILL_KPA < apart_kpa < STILL_KPA:
            return _stopped(look, bag, track)
        doing = _move(look, track, kpa)
    elif apart_kpa < -FALL_KPA or (
        apart_kpa > RISE_KPA and corrected_kpa - corrected.middle > JUMP_KPA
    ):
        # A fall is under way when it is seen; a refill is seen at once.
        from_kpa = before.near if apart_kpa > 0 else before.middle
        track = track._replace(moving_ns=now_ns, moving_from_kpa=from_kpa, anchor_kpa=0.0)
        doing = _move(look, track, kpa)
    if now_ns - slice_ns >= SLICE_NS:
        return _slow(look, bag, track, gas_k, doing, bare=bare)
    return bag if doing is None else bag._replace(doing=doing, track=track)


def _slow(
    look: _Look, bag: BagAir, track: Track, gas_k: float, doing: Doing | None, *, bare: bool
) -> BagAir:
    """What is looked at every 10 s: rates, what is forgotten, what is learned."""
    now_ns, corrected = look.now_ns, track.corrected
    dt_ns = now_ns - track.slice_ns
    # Frames that come seldom fill a slice each.
    kept = max(1, HIGHS_NS // max(SLICE_NS, dt_ns))
    near_kpa = corrected.near * gas_k / REFERENCE_K
    gauge = track.gauge.push(now_ns, near_kpa - look.around_kpa)
    moves = doing is not None
    rate, gauge_rate = bag.rate_kpa_per_h, bag.gauge_rate_kpa_per_h
    if not moves:
        # A move would be spread over the minutes after it.
        rate, gauge_rate = corrected.rate_per_h, gauge.rate_per_h
    if doing is None and rate is not None and gauge_rate is not None:
        # Air that a warm bag vents, and pressure that a cooling bag loses, are no leak.
        leaks = max(rate, gauge_rate) < -look.limits.leak_kpa_per_h
        doing = Doing.LEAKING if leaks else Doing.STEADY
    left_share = 1.0 - _lag(FORGET_S, dt_ns)
    highs_kpa = (corrected.near, *track.highs_kpa[:kept])
    track = Track(corrected, gauge, track.ambient_k, track.warmth_k, highs_kpa, now_ns, *track[6:])
    bag = BagAir(
        bag.kpa,
        bag.gas_c,
        bag.corrected_kpa,
        rate,
        gauge_rate,
        bag.share,
        doing or Doing.UNKNOWN,
        bag.refills_per_h * left_share,
        bag.refill_kpa_per_h * left_share,
        bag.settled_kpa,
        bag.settled_c,
        max(bag.hottest_c, gas_k - KELVIN),
        track,
    )
    if look.mode is AirMode.RELIEVING or bare or moves:
        return bag
    return _learned(look, bag, near_kpa)


def _stopped(look: _Look, bag: BagAir, track: Track) -> BagAir:
    """A move is over: whose it was, and the averages begin afresh."""
    corrected, now_ns = track.corrected, look.now_ns
    gas_k = KELVIN + (bag.gas_c or 0.0)
    amount_kpa = (corrected.near - track.moving_from_kpa) * gas_k / REFERENCE_K
    gauge_kpa = corrected.near * gas_k / REFERENCE_K - look.around_kpa
    track = track._replace(
        corrected=begun(now_ns, corrected.near),
        gauge=begun(now_ns, gauge_kpa),
        moving_ns=None,
        slice_ns=now_ns,
    )
    bag = bag._replace(
        rate_kpa_per_h=None, gauge_rate_kpa_per_h=None, doing=Doing.UNKNOWN, track=track
    )
    if _is_refill(look, amount_kpa, gauge_kpa):
        return bag._replace(
            refills_per_h=bag.refills_per_h + 1.0,
            refill_kpa_per_h=bag.refill_kpa_per_h + amount_kpa,
        )
    if _is_by_hand(look, amount_kpa):
        return bag._replace(settled_kpa=gauge_kpa, settled_c=gas_k - KELVIN)
    return bag


def _is_refill(look: _Look, amount_kpa: float, gauge_kpa: float) -> bool:
    if look.mode is AirMode.LOCKED_OFF or gauge_kpa < look.limits.band_low_kpa:
        return False
    return REFILL_KPA_LOW <= amount_kpa <= look.limits.refill_kpa


def _is_by_hand(look: _Look, amount_kpa: float) -> bool:
    """Within its band a regulator vents and refills; only a locked-off bag is never moved by it."""
    return look.mode is AirMode.LOCKED_OFF or abs(amount_kpa) > look.limits.refill_kpa


def _learned(look: _Look, bag: BagAir, absolute_kpa: float) -> BagAir:
    """A sealed bag that has warmed by a segment more tells how far its air follows its pad."""
    track = bag.track
    if track is None or bag.gas_c is None or bag.corrected_kpa is None:
        return bag  # never so: it has just been looked at
    warmth_k, anchor_k = track.warmth_k, track.anchor_k
    if track.anchor_kpa and anchor_k <= warmth_k < anchor_k + SEGMENT_K:
        return bag
    share, learned = bag.share, track.learned_scale
    ratio = 1.0
    if track.anchor_kpa and warmth_k > anchor_k:
        rose = absolute_kpa / track.anchor_kpa
        span_k = warmth_k - rose * anchor_k
        share, learned = learned_share(
            look.limits, share, learned, span_k, track.ambient_k * (rose - 1.0)
        )
        gas_k = KELVIN + bag.gas_c
        ratio = gas_k / (gas_k + (share - bag.share) * warmth_k)
    # The averages speak of the same air: what it was is seen by the new share too.
    return bag._replace(
        gas_c=(KELVIN + bag.gas_c) / ratio - KELVIN,
        corrected_kpa=bag.corrected_kpa * ratio,
        share=share,
        track=track._replace(
            corrected=track.corrected.scaled(ratio),
            highs_kpa=tuple(high_kpa * ratio for high_kpa in track.highs_kpa),
            anchor_k=warmth_k,
            anchor_kpa=absolute_kpa,
            learned_scale=learned,
        ),
    )


def _move(look: _Look, track: Track, kpa: float) -> Doing:
    """What a move looks like so far."""
    limits, moved_kpa = look.limits, track.corrected.near - track.moving_from_kpa
    if moved_kpa < 0:
        return Doing.TRIM if kpa >= limits.band_low_kpa else Doing.LETTING_DOWN
    if kpa - moved_kpa < limits.band_low_kpa:
        return Doing.FILLING
    regulated = look.mode is not AirMode.LOCKED_OFF
    return Doing.REFILL if regulated and moved_kpa <= limits.refill_kpa else Doing.TRIM

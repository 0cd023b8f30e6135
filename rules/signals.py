"""What the phase table and the permit need to remember of the raw signals.

Source:
    This project's design, "Phases"; figures are common practice, no source.
"""

from typing import NamedTuple

from rules.believed import believed
from rules.channels import BAGS, PADS
from rules.frame import NS_PER_S, Frame
from rules.window import Bucket, Window


class PadSignal(NamedTuple):
    """One pad's recent past.

    Attributes:
        name: channel.
        minutes: the last 10 min.
        hour: the last hour of this phase, one sample per bucket of `minutes`.
        plateau: the 10-min medians in the last hour of this phase.
        peak_c: highest good reading since the last preheat began.
    """

    name: str
    minutes: Window = Window(600.0, 60)
    hour: Window = Window(3600.0, 60)
    plateau: Window = Window(3600.0, 12)
    peak_c: float | None = None


class Signals(NamedTuple):
    """Timers and windows over the fitted pads and bags.

    Attributes:
        pads: one per fitted pad.
        higher_bag: higher bag over the last 5 min.
        held_since_ns: since when the lower bag has been held, or None.
        empty_since_ns: since when the higher bag has been empty, or None.
        filling_since_ns: since when the higher bag has shown air, or None.
        hot_since_ns: since when the coldest pad has been hot, or None.
    """

    pads: tuple[PadSignal, ...] = ()
    higher_bag: Window = Window(300.0, 60)
    held_since_ns: int | None = None
    empty_since_ns: int | None = None
    filling_since_ns: int | None = None
    hot_since_ns: int | None = None


class Now(NamedTuple):
    """The present frame in the phase table's terms; None where not known.

    Attributes:
        hottest_c: hottest good pad, °C.
        coldest_c: coldest good pad, °C; None unless every fitted pad is good.
        lower_kpa: lower bag; None unless every fitted bag is good.
        higher_kpa: higher bag; None unless every fitted bag is good.
        pads: what each pad is believed to have, °C, in the order of
            `rules.channels.PADS`; None: not fitted or not believed.
        bags: the same of the bags, kPa gauge, in the order of `rules.channels.BAGS`.
    """

    hottest_c: float | None
    coldest_c: float | None
    lower_kpa: float | None
    higher_kpa: float | None
    pads: tuple[float | None, float | None] = (None, None)
    bags: tuple[float | None, float | None] = (None, None)


def now_of(frame: Frame, doubted: frozenset[str] = frozenset()) -> Now:
    """The pads and bags of one frame.

    Args:
        frame: the frame.
        doubted: channels whose good readings are not believed, from `rules.trust`.

    Source:
        Own method.
    """
    pads, hottest_c, coldest_c = _pair(frame, PADS, doubted)
    bags, higher_kpa, lower_kpa = _pair(frame, BAGS, doubted)
    whole_kpa = None if lower_kpa is None else higher_kpa
    return Now(hottest_c, coldest_c, lower_kpa, whole_kpa, pads, bags)


Pair = tuple[float | None, float | None]


def _pair(
    frame: Frame, names: tuple[str, str], doubted: frozenset[str]
) -> tuple[Pair, float | None, float | None]:
    """Both values, the greatest of what is believed, the least if all fitted are believed."""
    values, (one, other) = frame.values, names
    first = None if one in doubted else believed(one, values.get(one))
    second = None if other in doubted else believed(other, values.get(other))
    if first is not None and second is not None:
        return (first, second), max(first, second), min(first, second)
    value = second if first is None else first
    missing = (first is None and one in values) or (second is None and other in values)
    return (first, second), value, None if missing else value


def cleared(signals: Signals) -> Signals:
    """The signals after a gap: no window or timer reaches across it; peaks stay.

    Source:
        Own method.
    """
    return Signals(pads=tuple(PadSignal(pad.name, peak_c=pad.peak_c) for pad in signals.pads))


def follow(
    signals: Signals,
    frame: Frame,
    now: Now,
    now_ns: int,
    *,
    held_kpa: float,
    empty_kpa: float,
    filling_kpa: float,
    hot_c: float,
) -> Signals:
    """The signals with one more frame.

    Args:
        signals: so far.
        frame: the frame.
        now: its digest.
        now_ns: process time, ns.
        held_kpa: held from here up.
        empty_kpa: empty from here down.
        filling_kpa: air is going in from here up.
        hot_c: hot from here up.

    Source:
        Own method.
    """
    low, high, cold = now.lower_kpa, now.higher_kpa, now.coldest_c
    return Signals(
        _follow_pads(signals.pads, frame, now, now_ns),
        signals.higher_bag if high is None else signals.higher_bag.push(now_ns, high),
        _since(signals.held_since_ns, now_ns, on=low is not None and low >= held_kpa),
        _since(signals.empty_since_ns, now_ns, on=high is not None and high <= empty_kpa),
        _since(signals.filling_since_ns, now_ns, on=high is not None and high >= filling_kpa),
        _since(signals.hot_since_ns, now_ns, on=cold is not None and cold >= hot_c),
    )


def _since(since_ns: int | None, now_ns: int, *, on: bool) -> int | None:
    if not on:
        return None
    return now_ns if since_ns is None else since_ns


def _follow_pads(
    pads: tuple[PadSignal, ...], frame: Frame, now: Now, now_ns: int
) -> tuple[PadSignal, ...]:
    known = {pad.name: pad for pad in pads}
    followed = []
    for name, value in zip(PADS, now.pads, strict=True):
        if name not in frame.values:
            continue
        pad = known.get(name) or PadSignal(name)
        followed.append(pad if value is None else _follow_pad(pad, now_ns, value))
    return tuple(followed)


def _follow_pad(pad: PadSignal, now_ns: int, value_c: float) -> PadSignal:
    minutes, hour, plateau = pad.minutes.push(now_ns, value_c), pad.hour, pad.plateau
    # The long windows need no more than one sample for each bucket of the short one.
    if minutes.newest is not None and minutes.newest.samples == 1:
        hour = hour.push(now_ns, value_c)
        # A median is dear, and within a minute much the same.
        minute_began = hour.newest is not None and hour.newest.samples == 1
        median_c = minutes.median if minute_began and minutes.covered_s >= 300 else None
        if median_c is not None:
            plateau = plateau.push(now_ns, median_c)
    peak_c = pad.peak_c
    if peak_c is None or value_c > peak_c:
        peak_c = value_c
    return PadSignal(pad.name, minutes, hour, plateau, peak_c)


def phase_began(signals: Signals) -> Signals:
    """What is counted within a phase begins afresh; peaks go on.

    Source:
        Own method.
    """
    fresh = PadSignal("")
    return signals._replace(
        pads=tuple(pad._replace(hour=fresh.hour, plateau=fresh.plateau) for pad in signals.pads),
    )


def peaks_restarted(signals: Signals) -> Signals:
    """Peaks counted afresh from the present readings: a preheat begins.

    Source:
        Own method.
    """
    return signals._replace(
        pads=tuple(pad._replace(peak_c=pad.minutes.last) for pad in signals.pads)
    )


def lasted_s(since_ns: int | None, now_ns: int) -> float:
    """How long something has lasted, s; -1 if it is not so now.

    Source:
        Own method.
    """
    return -1.0 if since_ns is None else (now_ns - since_ns) / NS_PER_S


def rise(window: Window, now_ns: int, span_s: float) -> float:
    """Newest value less the lowest of the last `span_s`; 0 when empty.

    Source:
        Own method; at least one interval is looked at, however long.
    """
    if window.newest is None:
        return 0.0
    low = window.newest.low
    for bucket in _recent(window, now_ns, span_s):
        low = min(low, bucket.low)
    return window.newest.last - low


def fall(window: Window, now_ns: int, span_s: float) -> float:
    """Highest value of the last `span_s` less the newest; 0 when empty.

    Source:
        Own method; at least one interval is looked at, however long.
    """
    if window.newest is None:
        return 0.0
    high = window.newest.high
    for bucket in _recent(window, now_ns, span_s):
        high = max(high, bucket.high)
    return high - window.newest.last


def _recent(window: Window, now_ns: int, span_s: float) -> tuple[Bucket, ...]:
    """Whole buckets of the last `span_s`, at least one."""
    horizon_ns = now_ns - int(span_s * NS_PER_S)
    closed = window.closed
    start = max(0, len(closed) - 1)
    while start > 0 and closed[start - 1].end_ns >= horizon_ns:
        start -= 1
    return closed[start:]

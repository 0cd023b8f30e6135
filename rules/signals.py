"""What the phase table and the permit need to remember of the raw signals.

Source:
    This project's design, "Phases"; figures are common practice, no source.
"""

from dataclasses import dataclass, replace

from rules.believed import believed
from rules.channels import PADS
from rules.frame import NS_PER_S, Frame
from rules.window import Bucket, Window


@dataclass(frozen=True, slots=True)
class PadSignal:
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


@dataclass(frozen=True, slots=True)
class Signals:
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


@dataclass(frozen=True, slots=True)
class Now:
    """The present frame in the phase table's terms; None where not known.

    Attributes:
        hottest_c: hottest good pad, °C.
        coldest_c: coldest good pad, °C; None unless every fitted pad is good.
        lower_kpa: lower bag; None unless every fitted bag is good.
        higher_kpa: higher bag; None unless every fitted bag is good.
    """

    hottest_c: float | None
    coldest_c: float | None
    lower_kpa: float | None
    higher_kpa: float | None


def now_of(frame: Frame, bags: tuple[str, ...]) -> Now:
    """Hottest and coldest pad, lower and higher bag of one frame.

    Source:
        Own method.
    """
    pads_c, pads_whole = _good(frame, PADS)
    bags_kpa, bags_whole = _good(frame, bags)
    return Now(
        max(pads_c) if pads_c else None,
        min(pads_c) if pads_c and pads_whole else None,
        min(bags_kpa) if bags_kpa and bags_whole else None,
        max(bags_kpa) if bags_kpa and bags_whole else None,
    )


def _good(frame: Frame, names: tuple[str, ...]) -> tuple[list[float], bool]:
    found: list[float] = []
    whole = True
    for name in names:
        if name not in frame.values:
            continue
        value = believed(name, frame.values[name])
        if value is None:
            whole = False
        else:
            found.append(value)
    return found, whole


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
        _follow_pads(signals.pads, frame, now_ns),
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


def _follow_pads(pads: tuple[PadSignal, ...], frame: Frame, now_ns: int) -> tuple[PadSignal, ...]:
    known = {pad.name: pad for pad in pads}
    followed = []
    for name in PADS:
        reading = frame.values.get(name)
        if reading is None:
            continue
        pad = known.get(name, PadSignal(name))
        value = believed(name, reading)
        if value is not None:
            pad = _follow_pad(pad, now_ns, value)
        followed.append(pad)
    return tuple(followed)


def _follow_pad(pad: PadSignal, now_ns: int, value_c: float) -> PadSignal:
    minutes, hour, plateau = pad.minutes.push(now_ns, value_c), pad.hour, pad.plateau
    # The long windows need no more than one sample for each bucket of the short one.
    if minutes.buckets[-1].count == 1:
        hour = hour.push(now_ns, value_c)
        if minutes.covered_s >= 300 and minutes.median is not None:
            plateau = plateau.push(now_ns, minutes.median)
    peak_c = value_c if pad.peak_c is None else max(pad.peak_c, value_c)
    return PadSignal(pad.name, minutes, hour, plateau, peak_c)


def phase_began(signals: Signals) -> Signals:
    """What is counted within a phase begins afresh; peaks go on.

    Source:
        Own method.
    """
    fresh = PadSignal("")
    return replace(
        signals,
        pads=tuple(replace(pad, hour=fresh.hour, plateau=fresh.plateau) for pad in signals.pads),
    )


def peaks_restarted(signals: Signals) -> Signals:
    """Peaks counted afresh from the present readings: a preheat begins.

    Source:
        Own method.
    """
    return replace(
        signals, pads=tuple(replace(pad, peak_c=pad.minutes.last) for pad in signals.pads)
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
    recent = _recent(window, now_ns, span_s)
    return 0.0 if not recent else recent[-1].last - min(bucket.low for bucket in recent)


def fall(window: Window, now_ns: int, span_s: float) -> float:
    """Highest value of the last `span_s` less the newest; 0 when empty.

    Source:
        Own method; at least one interval is looked at, however long.
    """
    recent = _recent(window, now_ns, span_s)
    return 0.0 if not recent else max(bucket.high for bucket in recent) - recent[-1].last


def _recent(window: Window, now_ns: int, span_s: float) -> tuple[Bucket, ...]:
    horizon_ns = now_ns - int(span_s * NS_PER_S)
    buckets = window.buckets
    start = max(0, len(buckets) - 2)
    while start > 0 and buckets[start - 1].end_ns >= horizon_ns:
        start -= 1
    return buckets[start:]

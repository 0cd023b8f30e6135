"""Telling a pad that was unplugged from a pad whose sensor failed.

Between preheat and mounting pads are unplugged and carried; that is normal
work. With the bags under pressure nobody unplugs a pad, and it is a fault.

Source:
    This project's design; figures are common practice, no source.
"""

from dataclasses import dataclass, replace

from rules.believed import PAD_C_POSSIBLE, believed
from rules.channels import BAGS, PADS
from rules.frame import NS_PER_S, Frame, Quality, Reading, Reason
from rules.phases import Phase
from rules.signals import Signals

OFF_THE_TYRE = frozenset({Phase.IDLE, Phase.PREHEAT, Phase.FITTING, Phase.DONE, Phase.ABORTED})
NO_AIR_KPA = 10.0
DROP_C_PER_S = 1.0
NEAR_AMBIENT_C = 5.0


@dataclass(frozen=True, slots=True)
class Unplugged:
    """One pad that was unplugged on purpose.

    Attributes:
        name: channel.
        by_drop: seen by a sudden fall to the air's temperature, not as an
            open circuit.
        good_since_ns: since when it has read well again, or None.
    """

    name: str
    by_drop: bool
    good_since_ns: int | None = None


def follow(
    unplugged: tuple[Unplugged, ...],
    frame: Frame,
    signals: Signals,
    phase: Phase,
    now_ns: int,
    dt_s: float,
    *,
    replug_s: float,
) -> tuple[Unplugged, ...]:
    """The pads that are unplugged after one more frame.

    Args:
        unplugged: so far.
        frame: the frame.
        signals: as they were before this frame.
        phase: as it was before this frame.
        now_ns: process time, ns.
        dt_s: time since the frame before, s; 0 across a gap.
        replug_s: how long a pad must read well to count as plugged in.

    Source:
        This project's design, "Phases".
    """
    if phase not in OFF_THE_TYRE:
        return ()
    no_air = _no_air(frame)
    if no_air is False:
        return ()
    if no_air is None:
        return unplugged
    known = {item.name: item for item in unplugged}
    found = []
    for name in PADS:
        item = known.get(name)
        if item is None:
            item = _newly(name, frame, signals, now_ns, dt_s)
        if item is not None:
            item = _still(item, frame, now_ns, replug_s)
        if item is not None:
            found.append(item)
    return tuple(found) if found or unplugged else unplugged


def _no_air(frame: Frame) -> bool | None:
    """The bags hold no air; None while one of them cannot be read."""
    readings = [frame.values[name] for name in BAGS if name in frame.values]
    bags_kpa = [item.value for item in readings if item.quality is Quality.GOOD]
    if not readings or any(value is not None and value > NO_AIR_KPA for value in bags_kpa):
        return False
    return True if len(bags_kpa) == len(readings) and None not in bags_kpa else None


def _newly(name: str, frame: Frame, signals: Signals, now_ns: int, dt_s: float) -> Unplugged | None:
    reading = frame.values.get(name)
    if reading is None:
        return None
    if _is_open(reading):
        return Unplugged(name, by_drop=False)
    past = next((pad.minutes.buckets for pad in signals.pads if pad.name == name), ())
    ambient = frame.values.get("ambient_c")
    if reading.value is None or not past or dt_s <= 0:
        return None
    if ambient is None or ambient.value is None or ambient.quality is not Quality.GOOD:
        return None
    # Against the last good reading, however long ago: an hour unread is no drop.
    passed_s = (now_ns - past[-1].end_ns) / NS_PER_S
    dropped = past[-1].last - reading.value > DROP_C_PER_S * passed_s
    near = abs(reading.value - ambient.value) <= NEAR_AMBIENT_C
    return Unplugged(name, by_drop=True) if dropped and near else None


def _is_open(reading: Reading) -> bool:
    """An open circuit, as the input tells it, as a trace has it, or as the end of the scale."""
    if reading.reason in (Reason.OPEN_CIRCUIT, Reason.MISSING):
        return True
    return reading.value is not None and reading.value > PAD_C_POSSIBLE[1]


def _still(item: Unplugged, frame: Frame, now_ns: int, replug_s: float) -> Unplugged | None:
    reading = frame.values.get(item.name)
    if reading is None:
        return None
    if not _back(item, frame):
        return item if item.good_since_ns is None else replace(item, good_since_ns=None)
    if item.good_since_ns is None:
        return replace(item, good_since_ns=now_ns)
    return None if now_ns - item.good_since_ns >= replug_s * NS_PER_S else item


def _back(item: Unplugged, frame: Frame) -> bool:
    """The pad reads as a plugged-in pad would."""
    value = believed(item.name, frame.values[item.name])
    if value is None:
        return False
    ambient = frame.values.get("ambient_c")
    if not item.by_drop or ambient is None or ambient.value is None:
        return True
    return abs(value - ambient.value) > NEAR_AMBIENT_C

"""How the pads have warmed and cooled of late, and whether heat is seen to flow.

One sample of each pad every `LOOK_S`, over the last five minutes, kept once for all
hazards that ask how fast a pad rises or falls.

Source:
    Own method.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.frame import NS_PER_S
from rules.signals import Now

if TYPE_CHECKING:
    from rules.view import View

LOOK_S = 10.0
LOOK_NS = int(LOOK_S * NS_PER_S)
TRAIL_S = 300.0
# A heater's relay or clamp shows less than this from noise alone; a pad takes several.
FLOWS_A = 1.0
CURRENTS = ("heat_current_inner_a", "heat_current_outer_a")

Trail = tuple[tuple[int, float], ...]
Pair = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class Heating:
    """Both pads' recent past, in the order of `rules.channels.PADS`.

    Attributes:
        trails: process time, ns, and believed reading, °C, oldest first; empty since
            the last gap in the frames or in the readings.
    """

    trails: tuple[Trail, Trail] = ((), ())


REST = Heating()


def follow(heating: Heating, now: Now, now_ns: int, dt_s: float, gap_s: float) -> Heating:
    """The pads' past after one more frame; the same object between two looks.

    Args:
        heating: so far.
        now: what is believed of the pads in this frame.
        now_ns: process time, ns.
        dt_s: process time since the frame before, s.
        gap_s: length of an interruption just before this frame, s, or 0.

    Source:
        Own method.
    """
    if gap_s > 0:
        return REST
    if now_ns // LOOK_NS == (now_ns - int(dt_s * NS_PER_S)) // LOOK_NS:
        return heating
    inner, outer = heating.trails
    return Heating(
        (_longer(inner, now_ns, now.pads[0]), _longer(outer, now_ns, now.pads[1])),
    )


def _longer(trail: Trail, now_ns: int, value_c: float | None) -> Trail:
    if value_c is None:
        return ()
    oldest_ns = now_ns - int(TRAIL_S * NS_PER_S)
    # One sample beyond the span is kept, so that slow frames still show a slope.
    if len(trail) > 1 and trail[1][0] <= oldest_ns:
        trail = trail[1:]
    return (*trail, (now_ns, value_c))


def change(trail: Trail, span_s: float) -> tuple[float, float] | None:
    """By how much a pad has changed, °C, and in what time, s, at least `span_s`.

    Args:
        trail: of one pad.
        span_s: the least time looked back over, s.

    Returns:
        None when the trail does not reach back so far.

    Source:
        Own method.
    """
    if not trail:
        return None
    newest_ns, newest_c = trail[-1]
    latest_ns = newest_ns - int(span_s * NS_PER_S)
    for at_ns, value_c in reversed(trail):
        if at_ns <= latest_ns:
            return newest_c - value_c, (newest_ns - at_ns) / NS_PER_S
    return None


def rate_c_min(trail: Trail, span_s: float) -> float | None:
    """How fast a pad has risen over at least `span_s`, °C/min; below 0 it fell.

    Args:
        trail: of one pad.
        span_s: the least time looked back over, s.

    Returns:
        None when the trail does not reach back so far.

    Source:
        Own method.
    """
    found = change(trail, span_s)
    return None if found is None else found[0] / found[1] * 60.0


def flows(view: "View", index: int) -> bool | None:
    """One pad's own current shows that it is heated; None when that is not known.

    Args:
        view: the frame.
        index: of the pad in `rules.channels.PADS`.

    Source:
        Own method.
    """
    amperes = view.good(CURRENTS[index])
    return None if amperes is None else amperes >= FLOWS_A


def heat_seen(view: "View") -> str | None:
    """What shows that heat is, or can be, on, in words.

    Args:
        view: the frame.

    Returns:
        Empty: it is off, or every thermostat rests; None: nothing fitted can show it.

    Source:
        Own method.
    """
    closed = view.is_on("contactor_closed")
    if closed:
        return "contactor is closed"
    known = closed is not None
    for name, title in zip(CURRENTS, ("inner pad", "outer pad"), strict=True):
        amperes = view.good(name)
        if amperes is not None:
            known = True
            if amperes >= FLOWS_A:
                return f"{title} takes {amperes:.1f} A"
    on = view.is_on("heat_on")
    if on:
        return "heat signal is on"
    return "" if known or on is not None else None


def surely_off(view: "View", then_c: Pair, cooled_c: float) -> bool:
    """Heat is off for good, not only while a thermostat rests.

    Args:
        view: a frame in which no heat is seen.
        then_c: what each pad read while there was heat, °C, or None.
        cooled_c: by how much they must have cooled since, °C: more than a
            thermostat swings.

    Source:
        Own method: the contactor is seen to be open, or every pad that can be read
        has cooled.
    """
    if view.is_on("contactor_closed") is False:
        return True
    known = [
        was_c - now_c
        for was_c, now_c in zip(then_c, view.now.pads, strict=True)
        if was_c is not None and now_c is not None
    ]
    return bool(known) and min(known) >= cooled_c

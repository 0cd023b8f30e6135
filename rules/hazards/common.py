"""What several hazards share: timers, levels that stand, plausible readings, physics of air.

Source:
    Named at each function; common practice, no source, where none is named.
"""

from dataclasses import dataclass

from rules.atmosphere import atmosphere_kpa as atmosphere_kpa  # noqa: PLC0414  # for hazards of air
from rules.boiling import opens_below_c
from rules.channels import BY_NAME, PADS
from rules.events import Level
from rules.facts import RigFacts
from rules.frame import NS_PER_S
from rules.phases import Phase
from rules.view import View

UNDER_AIR = frozenset({Phase.HEAT_UP, Phase.CURE, Phase.COOL_DOWN})
# Frames further apart than this are each taken at their word: waiting for a
# second opinion would cost more than a rogue sample.
SLOW_FRAMES_S = 5.0


@dataclass(frozen=True, slots=True)
class Standing:
    """A level that rises at once and ends only after the trouble has stayed away.

    Attributes:
        level: how bad it stands.
        away_ns: process time since which the trouble has been away, ns, or None.
    """

    level: Level = Level.CLEAR
    away_ns: int | None = None


QUIET = Standing()


def stand(
    view: View, was: Standing, demand: Level, *, away: bool, clear_after_s: float
) -> Standing:
    """The level that stands after one more frame; the same object when nothing changed.

    Args:
        view: the frame.
        was: what stood.
        demand: what this frame alone asks for; below what stands it is not heard.
        away: the trouble is over its deadband, so that the level may end.
        clear_after_s: how long it must stay away, s.

    Source:
        IEC 62682 / ISA-18.2, deadband and off-delay.
    """
    if demand > was.level:
        return Standing(demand)
    if was.level is Level.CLEAR:
        return was
    if not away:
        return was if was.away_ns is None else Standing(was.level)
    if was.away_ns is None:
        return Standing(was.level, view.now_ns)
    return QUIET if lasted_s(view, was.away_ns) >= clear_after_s else was


def began_ns(view: View, was_ns: int | None, *, holds: bool) -> int | None:
    """Process time since which something holds; a gap in the frames starts it afresh.

    Source:
        Own method.
    """
    if not holds:
        return None
    return view.now_ns if was_ns is None or view.gap_s > 0 else was_ns


def lasted_s(view: View, since_ns: int | None) -> float:
    """How long something has held, s; -1 when it does not.

    Source:
        Own method.
    """
    return -1.0 if since_ns is None else (view.now_ns - since_ns) / NS_PER_S


def confirmed(view: View, since_ns: int | None, after_s: float) -> bool:
    """Something has held for `after_s`, or frames are too far apart to wait for another.

    Source:
        Own method.
    """
    if since_ns is None:
        return False
    return view.dt_s > SLOW_FRAMES_S or lasted_s(view, since_ns) >= after_s


def hottest_pad(view: View) -> tuple[str, float] | None:
    """Channel and reading of the hottest good pad, °C; None when no pad is good.

    Source:
        Own method.
    """
    hottest_c = view.now.hottest_c
    if hottest_c is None:
        return None
    return PADS[view.now.pads.index(hottest_c)], hottest_c


# A switch's title says when it is on; unread it is neither.
SWITCHES = {
    "heat_on": "heat signal",
    "pins_in": "clamp pins",
    "release_request": "release request",
    "estop_ok": "emergency stop",
    "mains_ok": "mains",
    "contactor_closed": "contactor",
    "cutout_ok": "thermal cut-out",
    "horn_heard": "horn sensor",
    "supervisor_power_ok": "supervisor's supply",
}


def title_of(channel: str) -> str:
    """A channel's name for people.

    Source:
        `rules.channels`.
    """
    known = BY_NAME.get(channel)
    return SWITCHES.get(channel) or (known.title if known else channel)


def hot_above_c(facts: RigFacts, highest_c: float) -> float:
    """From here up nothing may be let down or opened, °C; see `opens_below_c`.

    Args:
        facts: of the rig, for its altitude.
        highest_c: the threshold at sea level, °C.

    Source:
        `rules.boiling`.
    """
    return opens_below_c(facts.site_altitude_m, highest_c)


def hot(view: View, highest_c: float) -> bool | None:
    """Any good pad is too hot to let down; None when no pad can be read.

    Source:
        `hot_above_c`.
    """
    hottest_c = view.now.hottest_c
    return None if hottest_c is None else hottest_c >= hot_above_c(view.facts, highest_c)


def pressure_needed(view: View, highest_c: float) -> bool:
    """The bags have been held, and the repair still needs their pressure.

    In cool-down it does while any pad is hot; pads that cannot be read count
    as hot.

    Source:
        Pressure is held until below 100 °C: common practice, no source.
    """
    if not view.pressurised or view.phase not in UNDER_AIR:
        return False
    return view.phase is not Phase.COOL_DOWN or hot(view, highest_c) is not False


def duration(seconds: float) -> str:
    """A time for people: "45 s", "4 min 10 s", "2 h 5 min".

    Source:
        Own words.
    """
    whole = int(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        minutes, rest = divmod(whole, 60)
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, rest = divmod(whole // 60, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"

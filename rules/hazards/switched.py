"""A switch that takes heat away without a latch: it stands until heat is back, or not wanted.

The permit gives way to the mains and to the emergency stop in the frame that shows
them off, and comes back by a press of start only. Whoever reads the message must
learn that, also when the switch itself was off for one frame.

Source:
    This project's design; `rules.permit`.
"""

from dataclasses import dataclass

from rules.events import Level
from rules.hazards.common import QUIET, Standing, began_ns, confirmed, stand
from rules.phases import Phase
from rules.view import View

_HEATED = frozenset({Phase.PREHEAT, Phase.FITTING, Phase.INFLATION, Phase.HEAT_UP, Phase.CURE})


@dataclass(frozen=True, slots=True)
class Off:
    """What is remembered of one switch.

    Attributes:
        since_ns: since when it has been off, ns; None while it is on.
        heat_gone: heat was allowed when it went off, and has not been since.
        standing: what stands.
    """

    since_ns: int | None = None
    heat_gone: bool = False
    standing: Standing = QUIET


ON = Off()


def follow(
    was: Off,
    view: View,
    *,
    on: bool | None,
    level: Level,
    confirm_s: float,
    clear_after_s: float,
) -> Off:
    """What is remembered after one more frame; `ON` when there is nothing.

    Args:
        was: so far.
        view: the frame.
        on: the switch; None: it cannot be read, and nothing changes.
        level: how loud it is to be told now; CLEAR: nobody needs to know.
        confirm_s: how long it must be off, s; not waited for where heat went.
        clear_after_s: how long all must be well again, s.

    Source:
        Own method.
    """
    if level is Level.CLEAR:
        return ON
    since_ns = was.since_ns if on is None else began_ns(view, was.since_ns, holds=not on)
    heat_gone = _heat_gone(view, was=was.heat_gone, on=on)
    demand = level if heat_gone or confirmed(view, since_ns, confirm_s) else Level.CLEAR
    standing = stand(
        view,
        was.standing,
        demand,
        away=on is True and not heat_gone,
        clear_after_s=clear_after_s,
    )
    after = Off(since_ns, heat_gone, standing)
    if after == ON:
        return ON
    return was if after == was else after


def _heat_gone(view: View, *, was: bool, on: bool | None) -> bool:
    # Pads that cool because of it bring a cool-down nobody planned: heat is wanted yet.
    if view.hold_over or (view.phase not in _HEATED and view.phase is not Phase.COOL_DOWN):
        return False
    if view.permit_granted:
        # Granted on the frame before: it goes with this one, or it has come back.
        return on is False and view.phase in _HEATED
    return was

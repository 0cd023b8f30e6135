"""A trouble that is told once it has lasted, and is over once it has stayed away.

Source:
    IEC 62682 / ISA-18.2, on-delay and off-delay.
"""

from dataclasses import dataclass

from rules.events import Level
from rules.hazards.common import QUIET, Standing, began_ns, confirmed, stand
from rules.view import View


@dataclass(frozen=True, slots=True)
class Lasting:
    """What is remembered of one trouble.

    Attributes:
        since_ns: since when it is there, ns; None while it is not.
        standing: what stands.
    """

    since_ns: int | None = None
    standing: Standing = QUIET


WELL = Lasting()


def follow(
    was: Lasting, view: View, *, wrong: bool | None, after_s: float, clear_after_s: float
) -> Lasting:
    """What is remembered after one more frame; `WELL` when there is nothing.

    Args:
        was: so far.
        view: the frame.
        wrong: it is there; None: it cannot be told, and nothing changes.
        after_s: how long it must last before it is warned of, s.
        clear_after_s: how long it must stay away, s.

    Source:
        Own method.
    """
    since_ns = was.since_ns if wrong is None else began_ns(view, was.since_ns, holds=wrong)
    lasts = wrong is True and confirmed(view, since_ns, after_s)
    standing = stand(
        view,
        was.standing,
        Level.WARN if lasts else Level.CLEAR,
        away=wrong is False,
        clear_after_s=clear_after_s,
    )
    after = Lasting(since_ns, standing)
    if after == WELL:
        return WELL
    return was if after == was else after

"""The lifecycle of an alarm: seven states, and every transition in one table.

Source:
    IEC 62682:2014 and ANSI/ISA-18.2-2016, alarm state transition diagram (from
    memory). Where this table departs from it, and why:
    docs/decisions/0012-the-lifecycle-of-an-alarm.md.
"""

from collections.abc import Mapping
from enum import StrEnum


class Life(StrEnum):
    """Where an alarm is in its lifecycle, in the words that people see.

    In the order and by the names of the standards: normal; unacknowledged;
    acknowledged; returned to normal unacknowledged; shelved; suppressed by
    design; out of service.
    """

    NORMAL = "normal"
    UNSEEN = "unseen"
    SEEN = "seen"
    OVER_UNSEEN = "over_unseen"
    QUIET = "quiet"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out_of_service"


class Happening(StrEnum):
    """What can happen to an alarm.

    `raised`: a warning begins. `tripped`: a trip begins, or a warning becomes
    one. `eased`: a trip becomes a warning. `over`: nothing is found any more.
    `lapsed`: nobody need see any more that it was there. `seen`, `going`,
    `quiet`, `out_of_service`, `in_service`: somebody said so, or the time
    allowed for it has passed. `quiet_over`: the quiet has ended while it stands.
    `suppressed`: a warning stands in a phase in which it is to say nothing;
    `suppression_over`: that phase has ended and it stands. `again`: it comes
    back, since nothing has come of it.
    """

    RAISED = "raised"
    TRIPPED = "tripped"
    EASED = "eased"
    OVER = "over"
    LAPSED = "lapsed"
    SEEN = "seen"
    GOING = "going"
    QUIET = "quiet"
    QUIET_OVER = "quiet_over"
    SUPPRESSED = "suppressed"
    SUPPRESSION_OVER = "suppression_over"
    OUT_OF_SERVICE = "out_of_service"
    IN_SERVICE = "in_service"
    AGAIN = "again"


_N, _U, _S, _O, _Q, _D, _X = Life
_: None = None

# One column for each state, in the order of `Life`; `_` cannot happen there.
_ROWS: Mapping[Happening, tuple[Life | None, ...]] = {
    #                           _N  _U  _S  _O  _Q  _D  _X
    Happening.RAISED: (         _U, _,  _,  _U, _,  _,  _X),
    Happening.TRIPPED: (        _U, _U, _U, _U, _U, _U, _U),
    Happening.EASED: (          _,  _U, _S, _,  _Q, _,  _),
    Happening.OVER: (           _,  _O, _N, _,  _N, _N, _X),
    Happening.LAPSED: (         _,  _N, _,  _N, _,  _,  _),
    Happening.SEEN: (           _,  _S, _,  _N, _,  _,  _),
    Happening.GOING: (          _,  _S, _S, _,  _Q, _,  _),
    Happening.QUIET: (          _,  _Q, _Q, _,  _Q, _,  _),
    Happening.QUIET_OVER: (     _,  _,  _,  _,  _U, _,  _),
    Happening.SUPPRESSED: (     _D, _D, _D, _D, _D, _,  _X),
    Happening.SUPPRESSION_OVER: (_, _,  _,  _,  _,  _U, _),
    Happening.OUT_OF_SERVICE: ( _X, _X, _X, _,  _X, _X, _),
    Happening.IN_SERVICE: (     _,  _U, _S, _O, _Q, _,  _N),
    Happening.AGAIN: (          _,  _U, _S, _,  _Q, _,  _),
}  # fmt: skip

TABLE: Mapping[tuple[Life, Happening], Life | None] = {
    (life, happening): into
    for happening, row in _ROWS.items()
    for life, into in zip(Life, row, strict=True)
}

SPEAKING = frozenset({Life.UNSEEN, Life.SEEN, Life.QUIET})


def can(life: Life, happening: Happening) -> bool:
    """Whether this can happen to an alarm there.

    Source:
        The table.
    """
    return TABLE[life, happening] is not None


def after(life: Life, happening: Happening) -> Life:
    """Where an alarm is afterwards; what cannot happen changes nothing.

    Source:
        The table.
    """
    return TABLE[life, happening] or life

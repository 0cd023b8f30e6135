"""A pad goes cold in the hold.

Hazard:
    A lead, a thermostat, a cut-out or the contactor has failed, or somebody has
    turned the knob down: below 120 C the hold does not count, and one side or both
    miss cure.
Standard:
    Common practice, no source: 140 C works, from 120 C up the time counts. Deadband
    and off-delay as IEC 62682 / ISA-18.2 ask for.
Limits:
    `armed_below_set_c` and `armed_after_s`, how warm all pads must have been and
    how long, or `armed_anyway_s` into the hold; `cold_below_set_c` for `cold_s`.
    To tell it early: `falling_below_set_c`, `falling_c_min` and `falling_s`;
    `settled_drop_c`, below what that pad has reached or kept of late; `spare_s`, how much of
    the hold must be left for both pads to be meant. `counts_c`, below which the
    hold does not count; `deadband_c` and `clear_after_s` for the end.
Trips when:
    It never trips: without heat there is none to take. Warns when a pad is under
    set - 10 C for 5 min; or early, when one is under set - 7 C, 4 C below what it
    had reached, and has fallen by more than 0.6 C/min for half a minute. Both pads
    together are told early only once armed, and while more than 10 min of a stated
    hold are left: else somebody has switched off on purpose.
Clears when:
    The pads are above set - 8 C for 60 s; or heat is taken away; or the hold is
    over; or, on a rig that is only watched, it cools down.
When data is missing:
    A pad that cannot be read is not judged, and what stands goes on standing. No
    rate is taken across a gap.
Not covered:
    Pads cold because a trip, the emergency stop or the mains took heat away: that
    is told there. The rim of a pad, and the rubber.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import PADS
from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import QUIET, Standing, began_ns, lasted_s, stand, title_of
from rules.heating import LOOK_S, Pair, flows, heat_seen, rate_c_min
from rules.phases import Phase
from rules.view import View

RATE_OVER_S = 60.0
KEPT_LOOKS = 90.0


class Limits(BaseModel):
    """Limits of `pad.undertemperature`; what each is for stands above."""

    model_config = STRICT

    armed_below_set_c: float = Field(default=5.0, gt=0, le=50)
    armed_after_s: float = Field(default=300.0, ge=0, le=3600)
    armed_anyway_s: float = Field(default=1800.0, ge=0, le=7200)
    cold_below_set_c: float = Field(default=10.0, gt=0, le=50)
    cold_s: float = Field(default=300.0, ge=0, le=3600)
    falling_below_set_c: float = Field(default=7.0, gt=0, le=50)
    falling_c_min: float = Field(default=0.6, gt=0, le=10)
    falling_s: float = Field(default=30.0, ge=0, le=600)
    settled_drop_c: float = Field(default=4.0, gt=0, le=30)
    spare_s: float = Field(default=600.0, ge=0, le=7200)
    counts_c: float = Field(default=120.0, ge=60, le=180)
    deadband_c: float = Field(default=2.0, ge=0, le=20)
    clear_after_s: float = Field(default=60.0, ge=0, le=3600)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "armed_below_set_c", "falling_below_set_c", "cold_below_set_c")
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        warm_ns: since when all pads have been warm enough, ns.
        armed: they were for long enough in this hold.
        kept_c: what each pad has kept of late, °C, evened out; None: not known.
        falling_ns: since when each pad has been falling, ns.
        cold_ns: since when each pad has been too cold, ns.
        standing: what stands.
        finding: that of the last look.
    """

    warm_ns: int | None = None
    armed: bool = False
    kept_c: Pair = (None, None)
    falling_ns: tuple[int | None, int | None] = (None, None)
    cold_ns: tuple[int | None, int | None] = (None, None)
    standing: Standing = QUIET
    finding: Finding = NOT_JUDGED


IDLE = Memory()
NOT_KNOWN: Pair = (None, None)

ROW = Row(
    tag="pad.undertemperature",
    title="a pad goes cold in the hold",
    consequence="the repair misses cure and fails on the road",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Bring the heat back.",
    trip_do="",
    warn_urgency=Urgency.GO_BY,
    warn_horn=Horn.COME_NOW,
    follows=("output.mismatch", "rig.cutout_open", "pad.not_heating", "mains.lost", "rig.estop"),
    causes=(
        "lead, plug or heater failed",
        "thermostat stuck open, or turned down",
        "thermal cut-out open",
        "contactor, permit relay or fuse open",
    ),
    time_available="some 5 min until the hold no longer counts; then it only takes longer",
    rescue="Hold goes on from 120 C.",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge one frame; the pads are looked at every 10 s.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    if not view.due(LOOK_S) and view.gap_s == 0:
        return memory, memory.finding
    if not _meant_to_be_hot(memory, view):
        return IDLE, NOT_JUDGED
    after = _look(limits, memory, view)
    return after, after.finding


def _meant_to_be_hot(memory: Memory, view: View) -> bool:
    """Nobody and nothing has taken the heat away, as far as this program knows."""
    if view.hold_over or view.latched or not (view.watch_only or view.permit_granted):
        return False
    if view.phase is Phase.CURE:
        return True
    # Pads that go cold together look like a cool-down meant; while heat is allowed here
    # they are not.
    warned = memory.standing.level is not Level.CLEAR
    return warned and view.permit_granted and view.phase in (Phase.COOL_DOWN, Phase.HEAT_UP)


def _look(limits: Limits, was: Memory, view: View) -> Memory:
    warm_ns, armed = _armed(limits, was, view)
    kept_c = _kept(was.kept_c, view.now.pads) if armed else NOT_KNOWN
    falling_ns = (
        began_ns(view, was.falling_ns[0], holds=_falls(limits, view, 0, kept_c[0])),
        began_ns(view, was.falling_ns[1], holds=_falls(limits, view, 1, kept_c[1])),
    )
    cold_ns = (
        began_ns(view, was.cold_ns[0], holds=_below(view, 0, limits.cold_below_set_c)),
        began_ns(view, was.cold_ns[1], holds=_below(view, 1, limits.cold_below_set_c)),
    )
    early = [i for i in (0, 1) if lasted_s(view, falling_ns[i]) >= limits.falling_s]
    both = all(_falls(limits, view, i, kept_c[i]) or view.now.pads[i] is None for i in (0, 1))
    if both and not (armed and _much_left(limits, view)):
        early = []
    late = [i for i in (0, 1) if armed and lasted_s(view, cold_ns[i]) >= limits.cold_s]
    demand = Level.WARN if early or late else Level.CLEAR
    standing = stand(
        view, was.standing, demand, away=_away(limits, view), clear_after_s=limits.clear_after_s
    )
    finding = was.finding
    if standing.level > was.standing.level:
        finding = _finding(limits, view, early or late)
    elif standing.level is Level.CLEAR:
        finding = CLEAR
    return Memory(warm_ns, armed, kept_c, falling_ns, cold_ns, standing, finding)


def _armed(limits: Limits, was: Memory, view: View) -> tuple[int | None, bool]:
    coldest_c = view.now.coldest_c
    warm = coldest_c is not None and coldest_c >= view.facts.set_c - limits.armed_below_set_c
    warm_ns = began_ns(view, was.warm_ns, holds=warm)
    long_in = lasted_s(view, view.phase_since_ns) >= limits.armed_anyway_s
    anyway = view.phase is Phase.CURE and long_in
    return warm_ns, was.armed or anyway or lasted_s(view, warm_ns) >= limits.armed_after_s


def _kept(was: Pair, now: Pair) -> Pair:
    """What the pads have kept over the last quarter of an hour or so, °C."""
    return _evened(was[0], now[0]), _evened(was[1], now[1])


def _evened(was_c: float | None, now_c: float | None) -> float | None:
    if was_c is None or now_c is None:
        return now_c if was_c is None else was_c
    return was_c + (now_c - was_c) / KEPT_LOOKS


def _below(view: View, index: int, below_set_c: float) -> bool:
    value = view.now.pads[index]
    return value is not None and value < view.facts.set_c - below_set_c


def _falls(limits: Limits, view: View, index: int, kept_c: float | None) -> bool:
    """A pad falls below its thermostat's swing, and goes on falling."""
    value = view.now.pads[index]
    if value is None or not _below(view, index, limits.falling_below_set_c):
        return False
    trail = view.heating.trails[index]
    highest_c = max((reading for _, reading in trail), default=value)
    reached_c = highest_c if kept_c is None else max(highest_c, kept_c)
    if reached_c - value < limits.settled_drop_c or flows(view, index):
        return False
    rate = rate_c_min(trail, RATE_OVER_S)
    return rate is not None and rate < -limits.falling_c_min


def _much_left(limits: Limits, view: View) -> bool:
    """So much of a stated hold is left that nobody means to end it."""
    hold_min = view.facts.hold_min
    return hold_min is not None and hold_min * 60 - view.held_s > limits.spare_s


def _away(limits: Limits, view: View) -> bool:
    coldest_c = view.now.coldest_c
    over_c = limits.cold_below_set_c - limits.deadband_c
    return coldest_c is not None and coldest_c >= view.facts.set_c - over_c


def _finding(limits: Limits, view: View, pads: list[int]) -> Finding:
    read = ", ".join(f"{title_of(PADS[i])} {view.now.pads[i] or 0.0:.0f} C" for i in pads)
    left = []
    for index in pads:
        value, rate = view.now.pads[index], rate_c_min(view.heating.trails[index], RATE_OVER_S)
        if value is not None and rate is not None and rate < 0:
            left.append(max(0.0, (value - limits.counts_c) / -rate * 60.0))
    left_s = min(left, default=None)
    cold = "and falling" if left_s is not None else "in the hold"
    why = ", no heat comes" if heat_seen(view) == "" else ""
    return Finding(Level.WARN, f"{read} {cold}{why}", go_by_s=left_s)

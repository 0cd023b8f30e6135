"""A pad does not heat as it should, or its sensor says so.

Hazard:
    A heater burnt out in whole or in part, a lead or a plug that fails: one side
    of the repair stays cold while the other cures. Worse, a thermocouple that has
    come off its pad reads cold while the pad is hot: a runaway would go unseen.
Standard:
    Common practice, no source: a pad on cold rubber rises by more than 0.5 C/min
    below 120 C. What no pad can do follows from its mass: 18 kJ/K and 2 kW taken
    away are 7 C/min (invented plant; heat balance).
Limits:
    `contact_s`, from the air going in until pads are judged; `rise_c_min`, the
    least rise below `judged_below_set_c`, or `learned_share` of what this rig's
    pads have shown below `learned_to_c`, or `other_share` of the other pad's;
    `preheat_below_c`, above which a pad in preheat may rest; `warn_behind_c` and
    `trip_behind_c`, the heat missing, as C; `deadband_c` and `clear_after_s` for
    the end. `flat_s`, `flat_rise_c` and `flat_on_share`: heat on with nothing to
    show for it. `fell_c` and `fell_within_s`: faster than any pad. `low_share`,
    of a heater's first current, for `low_looks` looks of 10 s; `joint_lost_a`, what
    a joint that works loose takes from it, evened out over a minute, and
    `joint_share`, what clamps and heaters change by alone.
Trips when:
    Heat is allowed and a pad is 30 C behind what it should have risen by, unless
    its own current shows that it is dead and not blind; or its heat has been on
    for 90 % of 15 min, well below set, with no rise; or it reads 30 C less within
    3 min, which no pad does. Warns at 15 C behind; when a heater takes under 80 %
    of its first current; or, compared with the other, 0.16 A less than it did and
    under 98.5 %: a joint that takes 0.16 A sheds 37 W at 230 V, and a plug chars from
    some 50 W (Ohm's law; the 50 W from memory).
Clears when:
    The pad has caught up by 5 C, or the current is back, for 60 s; or heat-up is
    over. A trip ends when someone presses a button at the rig with heat off: only
    who looked can say that it is mended.
When data is missing:
    A pad that cannot be read is not judged, and what it was behind is kept. With
    no current fitted nothing is judged by it, and a dead pad is taken for a blind
    one. No rate is taken across a gap. With one pad there is no other to compare.
Not covered:
    A pad that does not lie flat heats well; the estimate of the cure will tell.
    Both heaters weak by less than half, on a rig that has not learned its rate.
"""

from dataclasses import dataclass, replace
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import PADS
from rules.events import Level
from rules.facts import STRICT, must_rise
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import QUIET, Standing, duration, lasted_s, stand, title_of
from rules.heater_current import NONE_YET, Currents, follow
from rules.heating import LOOK_S, flows, rate_c_min
from rules.phases import Phase
from rules.view import View

JUDGED = frozenset({Phase.PREHEAT, Phase.INFLATION, Phase.HEAT_UP, Phase.CURE})
RATE_OVER_S = 120.0
LEARN_FROM_C = 60.0
SPARE_S = 900.0
# A pad that has fallen by `fell_c` falls by more than this as it gets there.
FALLS_C_MIN = -3.0
JOINT_DEADBAND_A = 0.06
LEADERS = ("output.mismatch", "mains.lost")


class Limits(BaseModel):
    """Limits of `pad.not_heating`; what each is for stands above."""

    model_config = STRICT

    contact_s: float = Field(default=300.0, ge=0, le=3600)
    rise_c_min: float = Field(default=0.5, gt=0, le=10)
    judged_below_set_c: float = Field(default=20.0, gt=0, le=100)
    learned_share: float = Field(default=0.5, gt=0, lt=1)
    learned_to_c: float = Field(default=110.0, gt=70, le=150)
    other_share: float = Field(default=0.75, gt=0, lt=1)
    preheat_below_c: float = Field(default=45.0, gt=0, le=60)
    warn_behind_c: float = Field(default=15.0, gt=0, le=60)
    trip_behind_c: float = Field(default=30.0, gt=0, le=100)
    deadband_c: float = Field(default=5.0, ge=0, le=30)
    clear_after_s: float = Field(default=60.0, ge=0, le=3600)
    flat_s: float = Field(default=900.0, gt=0, le=7200)
    flat_rise_c: float = Field(default=1.0, gt=0, le=10)
    flat_on_share: float = Field(default=0.9, gt=0, le=1)
    fell_c: float = Field(default=30.0, gt=0, le=100)
    fell_within_s: float = Field(default=180.0, gt=0, le=280)
    low_share: float = Field(default=0.8, gt=0, lt=1)
    low_looks: int = Field(default=3, ge=1, le=60)
    joint_lost_a: float = Field(default=0.16, gt=0, le=10)
    joint_share: float = Field(default=0.985, gt=0, lt=1)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "deadband_c", "warn_behind_c", "trip_behind_c")
        must_rise(self, "low_share", "joint_share")
        return self


@dataclass(frozen=True, slots=True)
class Pad:
    """What is remembered of one pad.

    Attributes:
        behind_c: heat missing, as °C.
        learning_ns: when it passed `LEARN_FROM_C` in this heat-up, ns.
        learned_c_min: what it rose by from there in heat-ups before, °C/min.
        flat_ns: since when it has not risen, ns.
        flat_c: what it read then, °C.
        looks: looks since then.
        on_looks: of these, with its heat on.
    """

    behind_c: float = 0.0
    learning_ns: int | None = None
    learned_c_min: float | None = None
    flat_ns: int | None = None
    flat_c: float = 0.0
    looks: int = 0
    on_looks: int = 0


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        pads: in the order of `rules.channels.PADS`.
        contact_ns: when air began to press the pads on the rubber, ns.
        currents: of both heaters.
        standing: what stands.
        finding: that of the last look.
    """

    pads: tuple[Pad, Pad] = (Pad(), Pad())
    contact_ns: int | None = None
    currents: Currents = NONE_YET
    standing: Standing = QUIET
    finding: Finding = NOT_JUDGED


@dataclass(frozen=True, slots=True)
class Told:
    """What one look tells: how bad, in words, and that it is over."""

    level: Level = Level.CLEAR
    said: str = ""
    away: bool = True


ROW = Row(
    tag="pad.not_heating",
    title="a pad does not heat as it should",
    consequence="one side of the repair misses cure, or a runaway goes unseen",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Check heater, lead and plug.",
    trip_do="KEEP AIR ON. Check the sensor on the pad.",
    warn_urgency=Urgency.GO_BY,
    follows=(*LEADERS, "rig.estop", "rig.cutout_open"),
    causes=(
        "heater burnt out, in whole or along an edge",
        "lead broken, plug or joint loose",
        "thermostat not turned up, or stuck open",
        "thermocouple off its pad",
    ),
    time_available="some 25 min: then one face is too far ahead of the other",
    rescue="Saved if both heat soon.",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge one frame; both pads are looked at every 10 s.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    pressed = view.someone_here and memory.standing.level is Level.TRIP
    if not (view.due(LOOK_S) or view.gap_s > 0 or pressed):
        return memory, memory.finding
    if view.gap_s > 0:
        return _after_gap(memory), memory.finding
    if pressed and not view.permit_granted:
        return replace(memory, pads=_forgiven(memory), standing=QUIET, finding=CLEAR), CLEAR
    if view.phase not in JUDGED or not _heat_allowed(view):
        return _at_rest(limits, memory, view)
    return _look(limits, memory, view)


def _heat_allowed(view: View) -> bool:
    return view.permit_granted or (view.watch_only and view.heated is not False)


def _forgiven(memory: Memory) -> tuple[Pad, Pad]:
    """Nothing counts against the pads any more; what was learned stays."""
    inner, outer = memory.pads
    return Pad(learned_c_min=inner.learned_c_min), Pad(learned_c_min=outer.learned_c_min)


def _after_gap(memory: Memory) -> Memory:
    pads = tuple(replace(pad, learning_ns=None, flat_ns=None) for pad in memory.pads)
    return replace(memory, pads=(pads[0], pads[1]))


def _at_rest(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """No heat is asked for: nothing new is found, and a warning ends."""
    standing = memory.standing
    if standing.level is Level.TRIP:
        return memory, memory.finding
    if standing.level is Level.WARN:
        standing = stand(view, standing, Level.CLEAR, away=True, clear_after_s=limits.clear_after_s)
    finding = memory.finding if standing.level is Level.WARN else NOT_JUDGED
    currents = memory.currents if view.run_open else NONE_YET
    contact_ns = memory.contact_ns if view.phase in JUDGED else None
    pads = memory.pads if standing.level is Level.WARN else _forgiven(memory)
    after = Memory(pads, contact_ns, currents, standing, finding)
    if after == memory:
        after = memory
    return after, finding


def _look(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """One look at both pads while heat is allowed."""
    contact_ns = memory.contact_ns
    if contact_ns is None and view.phase in (Phase.INFLATION, Phase.HEAT_UP):
        contact_ns = view.now_ns
    settled = lasted_s(view, contact_ns) >= limits.contact_s
    currents = follow(memory.currents, view, limits.low_share)
    rates = (
        rate_c_min(view.heating.trails[0], RATE_OVER_S),
        rate_c_min(view.heating.trails[1], RATE_OVER_S),
    )
    pads = (
        _follow(limits, memory.pads[0], view, 0, rates, settled=settled),
        _follow(limits, memory.pads[1], view, 1, rates, settled=settled),
    )
    warned = memory.standing.level is Level.WARN
    told = max(
        (
            _told(limits, pads, currents, view, index, rates[index], warned=warned)
            for index in (0, 1)
        ),
        key=lambda item: (item.level, not item.away),
    )
    demand = told.level
    if any(tag in view.standing for tag in LEADERS):
        demand = Level.CLEAR
    standing = memory.standing
    if standing.level is not Level.TRIP:
        standing = stand(view, standing, demand, away=told.away, clear_after_s=limits.clear_after_s)
    finding = memory.finding
    if standing.level > memory.standing.level:
        left_s = _left_s(limits, view, rates)
        finding = Finding(standing.level, told.said, go_by_s=left_s, save_s=left_s)
    elif standing.level is Level.CLEAR:
        finding = NOT_JUDGED if view.now.hottest_c is None else CLEAR
    return Memory(pads, contact_ns, currents, standing, finding), finding


def _follow(
    limits: Limits,
    was: Pad,
    view: View,
    index: int,
    rates: tuple[float | None, float | None],
    *,
    settled: bool,
) -> Pad:
    value, rate = view.now.pads[index], rates[index]
    if value is None or rate is None:
        return was if was.flat_ns is None else replace(was, flat_ns=None)
    behind_c = was.behind_c
    if view.phase is Phase.PREHEAT or (view.phase is Phase.HEAT_UP and settled):
        expected = _expected_c_min(limits, was, view, index, value, rates[1 - index])
        behind_c = max(0.0, behind_c + (expected - rate) * LOOK_S / 60.0)
    elif view.phase is Phase.CURE:
        behind_c = 0.0
    learning_ns, learned = _learn(limits, was, view, value)
    flat = was.flat_ns is not None and value - was.flat_c <= 2 * limits.flat_rise_c
    on = _on(view, index)
    return Pad(
        behind_c,
        learning_ns,
        learned,
        was.flat_ns if flat else view.now_ns,
        was.flat_c if flat else value,
        was.looks + 1 if flat else 0,
        was.on_looks + int(on) if flat else 0,
    )


def _expected_c_min(
    limits: Limits, pad: Pad, view: View, index: int, value: float, other_c_min: float | None
) -> float:
    """The least this pad should rise by now, °C/min."""
    if view.phase is Phase.PREHEAT:
        # Nothing but the other pad says that anybody has turned the heat up.
        if value >= limits.preheat_below_c or other_c_min is None:
            return 0.0
        return limits.other_share * max(0.0, other_c_min)
    least = 0.0
    if value < view.facts.set_c - limits.judged_below_set_c:
        least = limits.rise_c_min
    if pad.learned_c_min is not None and value < limits.learned_to_c:
        least = max(least, limits.learned_share * pad.learned_c_min)
    if other_c_min is not None and value < view.facts.set_c - limits.deadband_c:
        other_c = view.now.pads[1 - index]
        if other_c is not None and other_c > value:
            least = max(least, limits.other_share * other_c_min)
    return least


def _learn(limits: Limits, was: Pad, view: View, value: float) -> tuple[int | None, float | None]:
    """What this pad rises by in an ordinary heat-up, from its own heat-ups so far."""
    learned = was.learned_c_min
    if view.phase is not Phase.HEAT_UP:
        return None, learned
    if value < LEARN_FROM_C:
        return view.now_ns, learned
    if was.learning_ns is None or value < limits.learned_to_c:
        return was.learning_ns, learned
    took_min = max(1.0, lasted_s(view, was.learning_ns) / 60.0)
    rate = (limits.learned_to_c - LEARN_FROM_C) / took_min
    return None, rate if learned is None else learned + (rate - learned) / 4


def _on(view: View, index: int) -> bool:
    own = flows(view, index)
    return view.is_on("heat_on") is True if own is None else own


def _told(
    limits: Limits,
    pads: tuple[Pad, Pad],
    currents: Currents,
    view: View,
    index: int,
    rate_c_min: float | None,
    *,
    warned: bool,
) -> Told:
    """What one pad tells."""
    pad, value = pads[index], view.now.pads[index]
    if value is None:
        return Told(away=PADS[index] not in view.frame.values)
    name = title_of(PADS[index])
    fell_c = _fell_c(limits, view, index, value, rate_c_min)
    if fell_c >= limits.fell_c:
        return Told(Level.TRIP, f"{name} fell {fell_c:.0f} C, no pad cools so fast", away=False)
    if _is_flat(limits, pad, view, value):
        minutes = duration(lasted_s(view, pad.flat_ns))
        return Told(Level.TRIP, f"{name} {value:.0f} C, heat on {minutes}, no rise", away=False)
    if pad.behind_c >= limits.warn_behind_c:
        dead = flows(view, index) is False
        trips = pad.behind_c >= limits.trip_behind_c and not dead
        said = f"{name} {value:.0f} C, {pad.behind_c:.0f} C behind"
        said += ", takes no current" if dead else ""
        return Told(Level.TRIP if trips else Level.WARN, said, away=False)
    said = _current(limits, currents, index, warned=warned)
    if said:
        return Told(Level.WARN, said, away=False)
    return Told(away=pad.behind_c <= limits.warn_behind_c - limits.deadband_c)


def _fell_c(
    limits: Limits, view: View, index: int, value: float, rate_c_min: float | None
) -> float:
    """By how much a pad reads less than it did minutes ago, °C; 0 unless it falls fast."""
    if view.phase is not Phase.CURE and view.phase is not Phase.HEAT_UP:
        return 0.0
    if rate_c_min is not None and rate_c_min > FALLS_C_MIN:
        return 0.0
    since_ns = view.now_ns - int(limits.fell_within_s * 1e9)
    recent = [reading for at_ns, reading in view.heating.trails[index] if at_ns >= since_ns]
    return max(recent, default=value) - value


def _is_flat(limits: Limits, pad: Pad, view: View, value: float) -> bool:
    return (
        pad.looks > 0
        and lasted_s(view, pad.flat_ns) >= limits.flat_s
        and pad.on_looks >= limits.flat_on_share * pad.looks
        and value - pad.flat_c < limits.flat_rise_c
        and value < view.facts.set_c - 2 * limits.deadband_c
    )


def _current(limits: Limits, currents: Currents, index: int, *, warned: bool) -> str:
    """That a heater takes less than it did, in words."""
    heater, name = currents.heaters[index], title_of(PADS[index])
    if heater.low_looks >= limits.low_looks:
        now_a = heater.first_a * limits.low_share if heater.now_a is None else heater.now_a
        return f"{name} takes {now_a:.1f} A, had {heater.first_a:.1f}"
    share = currents.turns.shares[index]
    if heater.share is not None:
        share = min(share, heater.share)
    limit_a = max(limits.joint_lost_a, (1.0 - limits.joint_share) * heater.first_a)
    limit_a -= JOINT_DEADBAND_A if warned else 0.0
    if (1.0 - share) * heater.first_a >= limit_a:
        lost = 100.0 * (1.0 - share)
        return f"{name} takes {lost:.0f} % less current: hot joint or plug"
    return ""


def _left_s(limits: Limits, view: View, rates: tuple[float | None, float | None]) -> float | None:
    """How long until the hotter face is too far ahead of the other, s; None: not known."""
    hottest_c = view.now.hottest_c
    if hottest_c is None or view.phase is not Phase.HEAT_UP:
        return None
    rate = max((item for item in rates if item is not None), default=0.0)
    to_go_c = max(0.0, view.facts.set_c - hottest_c)
    return SPARE_S + (to_go_c / rate * 60.0 if rate > limits.rise_c_min else 0.0)

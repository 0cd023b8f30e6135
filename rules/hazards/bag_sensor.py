"""A bag's pressure cannot be believed.

Hazard:
    Air is lost unseen: damp rubber opens under the pads, and nobody knows whether
    a bag still holds before the pins are pulled.
Standard:
    Failure told apart from a process value as in NAMUR NE 107; a current loop that
    has failed as in NAMUR NE 43. The figures are common practice, no source.
Limits:
    `warn_after_s`; `jump_after_s`, how long a reading may jump (`rules.trust`)
    before it is told; `trip_after_s` for one bag, while the other holds, and
    `blind_after_s` when no bag can be read; `fall_kpa`, by which the other bag has
    fallen since; `below_kpa`, under zero, that no gauge may show; `clear_after_s`,
    how long it must read well again; `zero_kpa`, what an empty bag may show, after
    `zero_after_s`.
Trips when:
    One bag has been unread for 10 min with heat on and air in, at once when the
    other bag has fallen by 10 kPa since or the supply is low; when no bag can be
    read, after 30 s. Warns after 2 s: open, short, out of range, doubtful, missing,
    5 kPa or more under zero; after 8 s when it jumps; when it stands still to the
    last digit under air though it used to flicker. In preheat, cool-down and
    let-down it warns and never trips. Prompts, no more, when with both bags empty
    one has shown over 3 kPa for 10 min and the other has not.
Clears when:
    The bag has read well for 15 s.
When data is missing:
    An empty cell in a trace counts as a fault. No answer from the module is
    `link.stale`'s alone: here nothing changes meanwhile.
Not covered:
    A gauge that follows late because its tap is iced or dirty, while nothing moves
    in the bag; one that drifts slowly: `bag.imbalance`. A reading that falls to zero
    at a stroke is a burst until a person has looked: `bag.burst`.
"""

from dataclasses import dataclass, replace
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules import stillness
from rules.channels import BAGS
from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.frame import LINK_REASONS, Quality, Reading, Reason
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import began_ns, duration, lasted_s, title_of
from rules.heating import LOOK_NS, LOOK_S
from rules.losses import HOLDING, LOSSES, Lost
from rules.phases import Phase
from rules.stillness import UNSEEN, Stillness
from rules.view import View

INNER, OUTER = BAGS
JUMPS = "jumps"
STILL = "stands still"
# An empty bag's gauge may rest against its zero.
AIR_KPA = 20.0
UNDER_AIR = HOLDING | {Phase.COOL_DOWN}
EMPTY = frozenset(Phase) - UNDER_AIR - {Phase.RELEASE}

WORDS = {
    Reason.OPEN_CIRCUIT: "open circuit",
    Reason.SHORT_CIRCUIT: "short circuit",
    Reason.BELOW_RANGE: "current below its range",
    Reason.ABOVE_RANGE: "current above its range",
    Reason.NOT_A_NUMBER: "gives no number",
    Reason.MISSING: "reading missing",
    Reason.FAILURE: "instrument says it has failed",
    Reason.CHECK_FUNCTION: "instrument is being checked",
    Reason.OUT_OF_SPECIFICATION: "instrument says out of specification",
}


class Limits(BaseModel):
    """Limits of `bag.sensor`; what each is for stands above."""

    model_config = STRICT

    warn_after_s: float = Field(default=2.0, ge=0, le=600)
    jump_after_s: float = Field(default=8.0, ge=0, le=600)
    blind_after_s: float = Field(default=30.0, gt=0, le=600)
    trip_after_s: float = Field(default=600.0, gt=0, le=3600)
    fall_kpa: float = Field(default=10.0, gt=0, le=100)
    below_kpa: float = Field(default=5.0, gt=0, le=50)
    clear_after_s: float = Field(default=15.0, ge=0, le=600)
    zero_kpa: float = Field(default=3.0, gt=0, le=20)
    zero_after_s: float = Field(default=600.0, ge=0, le=7200)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "warn_after_s", "jump_after_s", "blind_after_s", "trip_after_s")
        return self


@dataclass(frozen=True, slots=True)
class BagMemory:
    """What is remembered of one bag.

    Attributes:
        fault_ns: process time at which the fault began, ns; None when sound.
        bad_ns: process time of the last bad reading, ns.
        other_kpa: what the other bag had when the fault began, kPa, or None.
        level: what stands.
        still: how long it has stood still, looked at every 10 s.
    """

    fault_ns: int | None = None
    bad_ns: int = 0
    other_kpa: float | None = None
    level: Level = Level.CLEAR
    still: Stillness = UNSEEN


SOUND = BagMemory()


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        bags: in the order of `rules.channels.BAGS`.
        look_ns: when the readings are looked at again, ns.
        calm: no bag has a fault, so that until then only a bad reading counts.
        off_ns: since when one empty bag's gauge has not been at zero, ns, or None.
        off: that bag's place in `rules.channels.BAGS`.
    """

    bags: tuple[BagMemory, BagMemory] = (SOUND, SOUND)
    look_ns: int = 0
    calm: bool = True
    off_ns: int | None = None
    off: int = 0


ROW = Row(
    tag="bag.sensor",
    title="a bag's pressure cannot be believed",
    consequence="air is lost unseen and the rubber opens",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Read the gauge, mend the sensor.",
    trip_do="KEEP AIR ON. Mend the sensor, reset.",
    warn_urgency=Urgency.GO_BY,
    causes=(
        "plug or loop wire off, wet connector",
        "transmitter failed or frozen",
        "tap iced or full of dirt",
    ),
    time_available="10 min while the other bag holds: a leak unseen opens the rubber in 6",
    rescue="Repair safe while air stays.",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge both bags' sensors in one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    inner_kpa, outer_kpa = view.now.bags
    if (
        memory.calm
        and view.now_ns < memory.look_ns
        and inner_kpa is not None
        and outer_kpa is not None
        and inner_kpa > -limits.below_kpa
        and outer_kpa > -limits.below_kpa
        and not view.gap_s
    ):
        return memory, CLEAR if memory.off_ns is None else _zero(limits, memory, view)
    readings = (view.reading(INNER), view.reading(OUTER))
    if readings == (None, None):
        return memory, NOT_JUDGED
    memory = _followed(limits, memory, view, readings)
    level = max(memory.bags[0].level, memory.bags[1].level)
    if level is not Level.CLEAR:
        return memory, _finding(limits, memory, view, level)
    if memory.off_ns is not None:
        return memory, _zero(limits, memory, view)
    silent = all(item is None or _unanswered(item) for item in readings)
    return memory, NOT_JUDGED if silent else CLEAR


def _followed(
    limits: Limits, was: Memory, view: View, readings: tuple[Reading | None, Reading | None]
) -> Memory:
    looks = view.now_ns >= was.look_ns or view.gap_s > 0
    inner, outer = was.bags
    bags = (
        _follow(limits, inner, view, 0, readings[0], looks=looks),
        _follow(limits, outer, view, 1, readings[1], looks=looks),
    )
    off = _off_zero(limits, view) if looks else (None if was.off_ns is None else was.off)
    after = Memory(
        bags,
        (view.now_ns // LOOK_NS + 1) * LOOK_NS if looks else was.look_ns,
        calm=bags[0].fault_ns is None and bags[1].fault_ns is None,
        off_ns=began_ns(view, was.off_ns, holds=off is not None),
        off=0 if off is None else off,
    )
    return was if after == was else after


def _follow(
    limits: Limits, was: BagMemory, view: View, index: int, reading: Reading | None, *, looks: bool
) -> BagMemory:
    if reading is None:
        return SOUND
    if _unanswered(reading):
        return was
    value_kpa, still = view.now.bags[index], was.still
    if looks and value_kpa is not None:
        still = stillness.follow(still, value_kpa)
    fault = _fault(limits, reading, view, index, still)
    if not fault:
        over = was.fault_ns is None or lasted_s(view, was.bad_ns) >= limits.clear_after_s
        if over:
            was = SOUND
        return was if still is was.still else replace(was, still=still)
    fault_ns, other_kpa = was.fault_ns, was.other_kpa
    if fault_ns is None or view.gap_s > 0:
        fault_ns, other_kpa = view.now_ns, view.now.bags[1 - index]
    for_s, demand = lasted_s(view, fault_ns), Level.CLEAR
    if for_s >= _told_after_s(limits, fault):
        demand = Level.TRIP if _heat_goes(limits, view, index, for_s, other_kpa) else Level.WARN
    return BagMemory(fault_ns, view.now_ns, other_kpa, max(was.level, demand), still)


def _told_after_s(limits: Limits, fault: str) -> float:
    if fault == STILL:
        return 0.0
    return limits.jump_after_s if fault == JUMPS else limits.warn_after_s


def _heat_goes(
    limits: Limits, view: View, index: int, for_s: float, other_was_kpa: float | None
) -> bool:
    """No more heat with this bag unread."""
    other_kpa = view.now.bags[1 - index]
    loss = LOSSES[Lost.BAGS if other_kpa is None else Lost.BAG, view.phase]
    if not loss.heat_after or not _heated(view):
        return False
    if for_s >= getattr(limits, loss.heat_after):
        return True
    if other_kpa is None or not loss.sooner:
        return False
    fell = other_was_kpa is not None and other_was_kpa - other_kpa >= limits.fall_kpa
    return fell or "supply.low" in view.standing


def _heated(view: View) -> bool:
    if view.heated is None:
        return view.run_open and LOSSES[Lost.BAG, view.phase].expects_heat
    return view.heated


def _unanswered(reading: Reading) -> bool:
    return reading.quality is not Quality.GOOD and reading.reason in LINK_REASONS


def _fault(limits: Limits, reading: Reading, view: View, index: int, still: Stillness) -> str:
    """What is wrong with a reading, in words; empty when nothing is."""
    value = reading.value
    if reading.quality is not Quality.GOOD:
        return WORDS.get(reading.reason, "reading doubtful")
    if value is None:
        return WORDS[Reason.MISSING]
    if value <= -limits.below_kpa:
        return f"reads {value:.0f} kPa, below zero"
    if view.now.bags[index] is None:
        return JUMPS
    if value > AIR_KPA and view.phase in UNDER_AIR and stillness.stands_still(still):
        return STILL
    return ""


def _off_zero(limits: Limits, view: View) -> int | None:
    """Which empty bag's gauge is off its zero while the other's is not; None: neither."""
    inner_kpa, outer_kpa = view.now.bags
    if inner_kpa is None or outer_kpa is None or view.phase not in EMPTY:
        return None
    inner_off, outer_off = abs(inner_kpa) > limits.zero_kpa, abs(outer_kpa) > limits.zero_kpa
    if inner_off is outer_off:
        return None
    return 0 if inner_off else 1


def _zero(limits: Limits, memory: Memory, view: View) -> Finding:
    if lasted_s(view, memory.off_ns) < limits.zero_after_s:
        return CLEAR
    said = f"{title_of(BAGS[memory.off])} not at zero: air left in, or its gauge is off"
    return Finding(Level.PROMPT, said, Horn.SILENT)


def _finding(limits: Limits, memory: Memory, view: View, level: Level) -> Finding:
    told, left_s = [], limits.trip_after_s
    for index, bag in enumerate(memory.bags):
        if bag.level is not level:
            continue
        reading, lasted = view.reading(BAGS[index]), lasted_s(view, bag.fault_ns)
        fault = "" if reading is None else _fault(limits, reading, view, index, bag.still)
        if fault == STILL:
            fault = f"stands at {bag.still.value:.1f} kPa"
            lasted = bag.still.still * LOOK_S
        told.append(f"{title_of(BAGS[index])} {fault or 'comes and goes'} for {duration(lasted)}")
        left_s = min(left_s, limits.trip_after_s - lasted_s(view, bag.fault_ns))
    return Finding(level, ", ".join(told), go_by_s=max(0.0, left_s))

"""The two pads are far apart in the hold.

Hazard:
    One face of the repair cures and the other lags, or one of the two sensors reads
    wrong, and the record with it.
Standard:
    Common practice, no source. By Arrhenius with 90 kJ/mol 15 C are a factor of
    2.6 between the faces.
Limits:
    `apart_c` for `apart_s`; `deadband_c` and `clear_after_s` for the end.
Trips when:
    It never trips. Warns when the pads are 15 C apart for 5 min in the hold.
Clears when:
    They are less than 12 C apart for 60 s, or the hold is over.
When data is missing:
    With one pad, or while one cannot be read, it is not judged; what stands goes on
    standing, and the 5 min begin afresh.
Not covered:
    Which of the two is right. Where another alarm tells why, it is that one's.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import QUIET, Standing, began_ns, lasted_s, stand
from rules.phases import Phase
from rules.view import View

# Each of these says which pad, and why.
LEADERS = (
    "pad.not_heating",
    "pad.undertemperature",
    "pad.overtemperature",
    "pad.sensor",
    "rig.cutout_open",
)


class Limits(BaseModel):
    """Limits of `pad.mismatch`; what each is for stands above."""

    model_config = STRICT

    apart_c: float = Field(default=15.0, gt=0, le=100)
    apart_s: float = Field(default=300.0, ge=0, le=3600)
    deadband_c: float = Field(default=3.0, ge=0, le=30)
    clear_after_s: float = Field(default=60.0, ge=0, le=3600)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        apart_ns: since when the pads have been apart, ns.
        standing: what stands.
        said: what was seen when it came.
    """

    apart_ns: int | None = None
    standing: Standing = QUIET
    said: str = ""


REST = Memory()

ROW = Row(
    tag="pad.mismatch",
    title="the pads are apart in the hold",
    consequence="one side of the repair misses cure, or a sensor is wrong",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Compare both displays.",
    trip_do="",
    warn_urgency=Urgency.GO_BY,
    follows=LEADERS,
    causes=(
        "thermostats set apart, or one off",
        "a heater weak",
        "a thermocouple drifted or half off its pad",
    ),
    time_available="half an hour: a tenth of the hold is what it can spare",
    rescue="Saved by a longer hold.",
)
GO_BY_S = 1800.0


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    if view.phase is not Phase.CURE:
        return (memory if memory is REST else REST), NOT_JUDGED
    inner_c, outer_c = view.now.pads
    if inner_c is None or outer_c is None:
        return _unread(memory)
    apart_c = inner_c - outer_c
    far = not -limits.apart_c <= apart_c <= limits.apart_c
    if not far and memory is REST:
        return memory, CLEAR
    apart_ns = began_ns(view, memory.apart_ns, holds=far)
    led = any(tag in view.standing for tag in LEADERS)
    told = lasted_s(view, apart_ns) >= limits.apart_s and not led
    near_c = limits.apart_c - limits.deadband_c
    standing = stand(
        view,
        memory.standing,
        Level.WARN if told else Level.CLEAR,
        away=-near_c < apart_c < near_c,
        clear_after_s=limits.clear_after_s,
    )
    if standing.level is Level.CLEAR:
        return (REST if apart_ns is None else Memory(apart_ns)), CLEAR
    said = memory.said or f"inner pad {inner_c:.0f} C, outer pad {outer_c:.0f} C"
    return Memory(apart_ns, standing, said), Finding(Level.WARN, said, go_by_s=GO_BY_S)


def _unread(memory: Memory) -> tuple[Memory, Finding]:
    if memory.standing.level is Level.CLEAR:
        return REST, NOT_JUDGED
    memory = memory if memory.apart_ns is None else Memory(None, memory.standing, memory.said)
    return memory, Finding(Level.WARN, memory.said)

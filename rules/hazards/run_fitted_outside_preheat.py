"""The pads were mounted too cold or too hot.

Hazard:
    A cold pad sweats: its damp is shut in between pad and rubber and blows the
    surface once it boils. A pad that is too hot scorches rubber that nothing
    presses yet.
Standard:
    Pads are mounted at 50 to 70 C: common practice, no source.
Limits:
    `low_c`, `high_c` of the preheat; `margin_c`, by which a thermostat and a
    thermocouple may be off; `recent_min`, how far back the last peak reaches.
Trips when:
    Never. Asks, without horn, when a pad comes off the preheat outside 50 to 70 C
    (by more than 3 C), and warns when air goes in, while it can still be taken off
    again. Judged by the last peak before the pad was unplugged or left the
    preheat, so pads that cool while they are carried are not judged cold; nor are
    warm pads of the last repair, if they are still within.
Clears when:
    Heat-up begins, or the air is let out again.
When data is missing:
    A pad that nobody saw before the air went in is not observed, and not judged.
    Nor is a rig whose history is not known.
Not covered:
    How long a pad was carried, damp on the rubber, talc.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import PADS
from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.frame import NS_PER_S
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import title_of
from rules.phases import Phase
from rules.view import View

NO_AIR_YET = frozenset({Phase.IDLE, Phase.PREHEAT, Phase.FITTING, Phase.DONE, Phase.ABORTED})


class Limits(BaseModel):
    """Limits of `run.fitted_outside_preheat`; what each is for stands above."""

    model_config = STRICT

    low_c: float = Field(default=50.0, ge=20, le=80)
    high_c: float = Field(default=70.0, ge=40, le=100)
    margin_c: float = Field(default=3.0, ge=0, le=10)
    recent_min: float = Field(default=10.0, ge=1, le=60)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "low_c", "high_c")
        return self


@dataclass(frozen=True, slots=True)
class Peak:
    """The last peak of one pad: of this slice of time and the one before.

    Attributes:
        since_ns: process time at which this slice began, ns.
        high_c: highest reading in it, °C.
        before_c: highest reading in the slice before, °C, or None.
    """

    since_ns: int
    high_c: float
    before_c: float | None = None

    @property
    def last_c(self) -> float:
        """The last peak, °C.

        Source:
            Own method.
        """
        return self.high_c if self.before_c is None else max(self.high_c, self.before_c)


Peaks = tuple[Peak | None, Peak | None]
UNSEEN: Peaks = (None, None)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        peaks: of the pads, in the order of `rules.channels.PADS`.
        left: the same when the preheat was left.
        phase: of the frame before.
        said: what is wrong with the pads as they are being mounted, or empty.
    """

    peaks: Peaks = UNSEEN
    left: Peaks = UNSEEN
    phase: Phase = Phase.IDLE
    said: str = ""


REST = Memory()

ROW = Row(
    tag="run.fitted_outside_preheat",
    title="pads mounted too cold or too hot",
    consequence="damp is shut in and blows the surface, or the rubber scorches",
    priority=Priority.MEDIUM,
    warn_do="AIR IS STILL IN. No heat yet: preheat again.",
    trip_do="",
    causes=(
        "the preheat was left out or cut short",
        "the pads lay about too long before mounting",
        "the thermostat stood too high in the preheat",
    ),
    time_available="15 min or so, until pads mounted cold are hot enough to boil what they shut in",
    rescue="Repair safe until heat-up.",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    phase = view.phase
    if phase in NO_AIR_YET:
        memory = _before_air(limits, memory, view)
        if phase is Phase.FITTING and memory.said:
            return memory, Finding(Level.PROMPT, memory.said, Horn.SILENT)
        return memory, CLEAR if memory.peaks != UNSEEN else NOT_JUDGED
    if phase is not Phase.INFLATION:
        return REST, CLEAR
    if memory.phase is not Phase.INFLATION:
        said = _said(limits, memory) if view.history_known else ""
        memory = Memory(memory.peaks, memory.left, phase, said)
    if memory.said:
        return memory, Finding(Level.WARN, memory.said)
    return memory, NOT_JUDGED if memory.peaks == UNSEEN else CLEAR


def _before_air(limits: Limits, memory: Memory, view: View) -> Memory:
    peaks = memory.peaks
    if view.gap_s > limits.recent_min * 60:
        peaks = UNSEEN
    slice_ns = int(limits.recent_min / 2 * 60 * NS_PER_S)
    inner_c, outer_c = view.now.pads
    inner = _followed(peaks[0], inner_c, view, PADS[0], slice_ns)
    outer = _followed(peaks[1], outer_c, view, PADS[1], slice_ns)
    if (
        inner is peaks[0]
        and outer is peaks[1]
        and view.phase is memory.phase
        and peaks is memory.peaks
    ):
        return memory
    left, said = memory.left, memory.said
    if view.phase is not Phase.FITTING:
        left, said = UNSEEN, ""
    elif memory.phase is not Phase.FITTING:
        # Air let out again is no other preheat.
        left = memory.left if memory.phase is Phase.INFLATION else memory.peaks
        said = _said(limits, Memory((inner, outer), left)) if view.history_known else ""
    return Memory((inner, outer), left, view.phase, said)


def _followed(
    peak: Peak | None, value_c: float | None, view: View, name: str, slice_ns: int
) -> Peak | None:
    if value_c is None or name in view.unplugged:
        return peak
    if peak is None:
        return Peak(view.now_ns, value_c)
    if view.now_ns - peak.since_ns >= 2 * slice_ns:
        return Peak(view.now_ns, value_c)
    if view.now_ns - peak.since_ns >= slice_ns:
        return Peak(view.now_ns, value_c, peak.high_c)
    return Peak(peak.since_ns, value_c, peak.before_c) if value_c > peak.high_c else peak


def _said(limits: Limits, memory: Memory) -> str:
    """What is wrong with how warm the pads came off; empty when nothing is, or was seen."""
    for name, now, left in zip(PADS, memory.peaks, memory.left, strict=True):
        if now is None:
            continue
        # Cooled on the way: not cold. Hotter once, and since cooled in its place: not hot.
        warmest_c = now.last_c if left is None else max(now.last_c, left.last_c)
        band = f"preheat is {limits.low_c:.0f} to {limits.high_c:.0f}"
        if warmest_c < limits.low_c - limits.margin_c:
            return f"{title_of(name)} at {warmest_c:.0f} C before mounting, {band}"
        if now.last_c > limits.high_c + limits.margin_c:
            return f"{title_of(name)} at {now.last_c:.0f} C before mounting, {band}"
    return ""

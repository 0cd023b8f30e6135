"""An air bag, a hose or a fitting lets go.

Hazard:
    Air at 207 kPa in a 20 litre bag holds some kilojoules; a hose that comes off
    whips, the clamp shifts, and the hot repair blows.
Standard:
    30 kPa in 5 s: common practice, no source.
Limits:
    `fall_kpa` within `within_s`; `slow_fall_kpa`, enough in one interval of slow
    frames; `band_kpa`, above which a fall is a trim; `falling_kpa`, what the
    sample before must have shown for no second opinion; `clear_after_s`;
    `empty_kpa`, below which nothing is left to burst; `hot_c`.
Trips when:
    A bag has lost 30 kPa within 5 s and is below 180 kPa. A trim by hand that
    stops inside the band is no burst. One sample alone may be a glitch, so a
    fall needs the sample before to have begun it or the next to bear it out;
    with frames more than 5 s apart each is taken at its word, and a fall counts
    from 6 kPa/s over the interval, 100 kPa at most. Judged in heat-up, in the
    hold and in cool-down while hot, and in any other phase while hot: letting
    air out of a cold bag is normal.
Clears when:
    The bag has been back above 180 kPa for 15 s, or is empty with the pads
    cool.
When data is missing:
    The last readings of the bag are kept for 5 s and what stood goes on
    standing; after a gap in the frames it starts afresh. Pads that cannot be
    read in cool-down count as hot.
Not covered:
    A burst of a cold bag in cool-down, which looks like a let-down. What the
    air does to people: stand clear of the clamp while there is air in it. One
    rogue sample upwards on a bag already below 180 kPa looks like a burst.
"""

from dataclasses import dataclass
from typing import NamedTuple, Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import BAGS
from rules.events import Horn, Level
from rules.facts import STRICT
from rules.frame import NS_PER_S
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import (
    QUIET,
    SLOW_FRAMES_S,
    Standing,
    hot,
    stand,
    title_of,
)
from rules.phases import BETWEEN_RUNS, Phase
from rules.view import View

# 15 s at the ten frames a second that a rig may have at most.
SAMPLES_MAX = 160

# Process time, ns, and both bags, kPa.
Sample = tuple[int, float | None, float | None]


class Limits(BaseModel):
    """Limits of `bag.burst`; what each is for stands above."""

    model_config = STRICT

    fall_kpa: float = Field(default=30.0, gt=0, le=300)
    within_s: float = Field(default=5.0, ge=1, le=15)
    slow_fall_kpa: float = Field(default=100.0, gt=0, le=300)
    band_kpa: float = Field(default=180.0, gt=0, le=600)
    falling_kpa: float = Field(default=10.0, gt=0, le=100)
    clear_after_s: float = Field(default=15.0, ge=0, le=600)
    empty_kpa: float = Field(default=10.0, ge=1, le=50)
    hot_c: float = Field(default=100.0, ge=50, le=100)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if self.slow_fall_kpa < self.fall_kpa:
            raise ValueError(
                f"slow_fall_kpa = {self.slow_fall_kpa:g} is below fall_kpa = {self.fall_kpa:g}; "
                "raise slow_fall_kpa or lower fall_kpa"
            )
        if self.falling_kpa >= self.fall_kpa:
            raise ValueError(
                f"falling_kpa = {self.falling_kpa:g} is not below fall_kpa = {self.fall_kpa:g}; "
                "lower falling_kpa"
            )
        return self


class BagMemory(NamedTuple):
    """What is remembered of one bag.

    Attributes:
        fell_kpa: how far it was below the highest of its last readings when it let go, kPa.
        seen_s: over how long, s.
        standing: what stands.
    """

    fell_kpa: float = 0.0
    seen_s: float = 0.0
    standing: Standing = QUIET


WELL = BagMemory()
ALL_WELL = (WELL, WELL)


@dataclass(frozen=True, slots=True)
class Memory:
    """The last readings, and both bags.

    Attributes:
        recent: the readings within reach, oldest first.
        bags: in the order of `rules.channels.BAGS`.
    """

    recent: tuple[Sample, ...] = ()
    bags: tuple[BagMemory, BagMemory] = ALL_WELL


ROW = Row(
    tag="bag.burst",
    title="an air bag or hose has let go",
    consequence="hose or clamp strikes someone, the repair blows",
    priority=Priority.HIGH,
    warn_do="",
    trip_do="STAND CLEAR of clamp and hoses. Close the air supply.",
    trip_horn=Horn.STAND_CLEAR,
    causes=(
        "a hose or coupling came off",
        "a bag has torn",
        "a fitting broke",
        "an exhaust was opened wide",
    ),
    time_available="seconds: hot rubber opens some 10 s after the air is gone",
    rescue="",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge both bags of one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    one_kpa, other_kpa = view.now.bags
    well = memory.bags == ALL_WELL
    if well and one_kpa is None and other_kpa is None:
        return memory, NOT_JUDGED
    recent = _recent(limits, memory.recent, view, (view.now_ns, one_kpa, other_kpa))
    band_kpa = limits.band_kpa
    high = (one_kpa is None or one_kpa >= band_kpa) and (other_kpa is None or other_kpa >= band_kpa)
    if well and high:
        return Memory(recent, ALL_WELL), CLEAR
    is_hot = hot(view, limits.hot_c)
    armed = _armed(view, is_hot=is_hot)
    if well and not armed:
        return Memory(recent, ALL_WELL), CLEAR
    cool = is_hot is False or view.phase in BETWEEN_RUNS
    inner, outer = memory.bags
    bags = (
        _follow(limits, inner, view, recent, 0, armed=armed, cool=cool),
        _follow(limits, outer, view, recent, 1, armed=armed, cool=cool),
    )
    memory = Memory(recent, bags)
    level = max(bags[0].standing.level, bags[1].standing.level)
    if level is Level.CLEAR:
        return memory, CLEAR
    said = ", ".join(
        f"{title_of(name)} -{bag.fell_kpa:.0f} kPa in {bag.seen_s:.0f} s"
        for name, bag in zip(BAGS, bags, strict=True)
        if bag.standing.level is level
    )
    return memory, Finding(level, said)


def _armed(view: View, *, is_hot: bool | None) -> bool:
    if view.phase in (Phase.HEAT_UP, Phase.CURE):
        return True
    return is_hot is not False if view.phase is Phase.COOL_DOWN else is_hot is True


def _recent(
    limits: Limits, recent: tuple[Sample, ...], view: View, newest: Sample
) -> tuple[Sample, ...]:
    """The readings within reach; the one a frame before always is, however slow frames are."""
    if view.gap_s > 0:
        return (newest,)
    reach_s = 1.5 * view.dt_s
    reach_s = max(reach_s, limits.within_s)
    horizon_ns = newest[0] - int(reach_s * NS_PER_S)
    old = 0
    for sample in recent:
        if sample[0] >= horizon_ns:
            break
        old += 1
    if len(recent) - old > SAMPLES_MAX:
        old = len(recent) - SAMPLES_MAX
    return (*recent[old:], newest)


def _follow(
    limits: Limits,
    was: BagMemory,
    view: View,
    recent: tuple[Sample, ...],
    place: int,
    *,
    armed: bool,
    cool: bool,
) -> BagMemory:
    value = view.now.bags[place]
    if value is None:
        return was
    samples = [(at_ns, kpa) for at_ns, *both in recent if (kpa := both[place]) is not None]
    fell_kpa, seen_s = _fall(samples)
    burst = armed and value < limits.band_kpa and _burst(limits, view, samples, fell_kpa, seen_s)
    back = value >= limits.band_kpa or (cool and value <= limits.empty_kpa)
    standing = stand(
        view,
        was.standing,
        Level.TRIP if burst else Level.CLEAR,
        away=back,
        clear_after_s=limits.clear_after_s,
    )
    if standing.level is Level.CLEAR:
        return WELL
    # The greatest fall is told, not what is left of it a moment later.
    if fell_kpa <= was.fell_kpa:
        fell_kpa, seen_s = was.fell_kpa, was.seen_s
    return BagMemory(fell_kpa, seen_s, standing)


def _fall(samples: list[tuple[int, float]]) -> tuple[float, float]:
    """How far the newest reading is below the highest, kPa, and since when, s."""
    now_ns, value = samples[-1]
    high_kpa, at_ns = max((kpa, at_ns) for at_ns, kpa in samples)
    return high_kpa - value, (now_ns - at_ns) / NS_PER_S


def _burst(
    limits: Limits,
    view: View,
    samples: list[tuple[int, float]],
    fell_kpa: float,
    seen_s: float,
) -> bool:
    slower = max(1.0, seen_s / limits.within_s)
    needed_kpa = min(limits.fall_kpa * slower, max(limits.fall_kpa, limits.slow_fall_kpa))
    if fell_kpa < needed_kpa:
        return False
    if view.dt_s > SLOW_FRAMES_S:
        return True
    return len(samples) > 1 and _fall(samples[:-1])[0] >= limits.falling_kpa

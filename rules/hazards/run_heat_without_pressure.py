"""Pads are heated and nothing presses them.

Hazard:
    Hot pads on a bench set fire to it. On the tyre rubber that nothing presses
    cures porous, and the pads slide.
Standard:
    Pads are preheated to 50 to 70 C and go higher only under air: common practice,
    no source. Wood and cotton char from about 120 C, from memory; water boils at
    100 C with no pressure on it, IAPWS.
Limits:
    `warn_c` for `warn_after_s`, `trip_c`; `pressure_kpa`, from which a bag
    presses; `rise_c`, a rise or fall of the hottest pad that tells a heated one
    from one that cools, and `steady_min`, in which one that is not heated falls by
    that; `clear_c`, below which it is over, and `clear_after_s`.
Trips when:
    A pad is heated above 90 C with the pads off the tyre or a bag below 150 kPa
    before the bags have been held. Warns above 75 C for 60 s, with the pins in at
    once. A preheat of 50 to 70 C stays below with what it overshoots.
Clears when:
    The hottest pad is below 72 C, or the bags press, for 60 s.
When data is missing:
    No pad or no bag can be read, or heat is known to be off: not judged anew, what
    stands goes on standing. No pad or no bag fitted: not judged. Heat signal or
    not, a pad counts as heated by its own rise: a contactor that is closed does
    not tell of a thermostat that is open, and warm pads of the last repair cool
    with it closed.
Not covered:
    Bags that lose their air after they have pressed: `bag.low`, `release.hot`. A
    pad that has come off the bench and lies on rags below 75 C.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.events import Level
from rules.facts import STRICT, must_rise
from rules.frame import NS_PER_S
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import QUIET, Standing, began_ns, lasted_s, stand
from rules.view import View


class Limits(BaseModel):
    """Limits of `run.heat_without_pressure`; what each is for stands above."""

    model_config = STRICT

    warn_c: float = Field(default=75.0, ge=60, le=100)
    trip_c: float = Field(default=90.0, ge=70, le=120)
    warn_after_s: float = Field(default=60.0, ge=0, le=600)
    clear_c: float = Field(default=72.0, ge=50, le=100)
    clear_after_s: float = Field(default=60.0, ge=0, le=600)
    pressure_kpa: float = Field(default=150.0, gt=0, le=600)
    rise_c: float = Field(default=3.0, gt=0, le=20)
    steady_min: float = Field(default=15.0, gt=0, le=120)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "clear_c", "warn_c", "trip_c")
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        heated: the hottest pad last rose, or has not fallen for long.
        turn_c: the hottest pad when it last rose or fell by `rise_c`, °C.
        turn_ns: process time of that, ns.
        since_ns: process time since which it has been hot and heated, ns.
        stands: the level that stands.
    """

    heated: bool = False
    turn_c: float | None = None
    turn_ns: int = 0
    since_ns: int | None = None
    stands: Standing = QUIET


REST = Memory()
# Whatever comes up from below has been heated.
COOL = Memory(heated=True)

ROW = Row(
    tag="run.heat_without_pressure",
    title="pads heated and nothing presses",
    consequence="a fire on the bench, or porous rubber",
    priority=Priority.MEDIUM,
    warn_do="BRING AIR UP if pinned in; else turn pads off.",
    trip_do="BRING AIR UP if pinned in; else clear the bench.",
    causes=(
        "the pads lie on the bench, turned up to the cure's setting",
        "the air was forgotten after mounting",
        "a thermostat sticks in the preheat",
    ),
    time_available="10 min from 75 to 120 C, where a bench chars",
    rescue="",
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
    hottest_c = view.now.hottest_c
    if hottest_c is None:
        return memory, _told(memory, view) if memory.stands.level else NOT_JUDGED
    if memory.stands.level is Level.CLEAR:
        if hottest_c < limits.clear_c:
            return COOL, CLEAR
        if view.pressurised:
            return REST, CLEAR
    pressed = view.pressurised or _pressed(limits, view)
    heated, turn_c, turn_ns = _turned(limits, memory, view, hottest_c)
    hot = heated and pressed is False and view.heated is not False and hottest_c > limits.warn_c
    since_ns = began_ns(view, memory.since_ns, holds=hot)
    stands = stand(
        view,
        memory.stands,
        _demand(limits, view, hottest_c, since_ns),
        away=pressed is True or hottest_c < limits.clear_c,
        clear_after_s=limits.clear_after_s,
    )
    after = Memory(heated, turn_c, turn_ns, since_ns, stands)
    memory = memory if after == memory else after
    if stands.level is Level.CLEAR:
        return memory, NOT_JUDGED if pressed is None else CLEAR
    return memory, _told(memory, view)


def _pressed(limits: Limits, view: View) -> bool | None:
    """The bags press; None when nobody can say."""
    for bag_kpa in view.now.bags:
        if bag_kpa is not None and bag_kpa < limits.pressure_kpa:
            return False
    return None if view.now.lower_kpa is None else True


def _turned(
    limits: Limits, memory: Memory, view: View, hottest_c: float
) -> tuple[bool, float, int]:
    """Whether the hottest pad is being heated, and from where and when that is reckoned."""
    was_c = memory.turn_c
    if view.gap_s > 0 or was_c is None:
        return memory.heated and view.gap_s <= 0, hottest_c, view.now_ns
    change_c = hottest_c - was_c
    if abs(change_c) >= limits.rise_c:
        return change_c > 0, hottest_c, view.now_ns
    # A pad that nothing heats falls; one that does not is kept hot.
    steady = (view.now_ns - memory.turn_ns) / NS_PER_S >= limits.steady_min * 60
    return memory.heated or steady, was_c, memory.turn_ns


def _demand(limits: Limits, view: View, hottest_c: float, since_ns: int | None) -> Level:
    if since_ns is None:
        return Level.CLEAR
    if hottest_c > limits.trip_c:
        return Level.TRIP
    # Pinned in, it is no preheat that overshoots.
    after_s = 0.0 if view.is_on("pins_in") else limits.warn_after_s
    return Level.WARN if lasted_s(view, since_ns) >= after_s else Level.CLEAR


def _told(memory: Memory, view: View) -> Finding:
    hottest_c = view.now.hottest_c
    figure = "cannot be read" if hottest_c is None else f"{hottest_c:.0f} C"
    return Finding(memory.stands.level, f"pads {figure}, no air presses them")

"""The workshop has closed and the rig is still on the supply.

Hazard:
    One contact is all that keeps a pad on the bench cold; when it welds or is
    bridged in the night the bench burns, and nobody is there.
Standard:
    At the end of the day the supply is disconnected: common practice, no source.
Limits:
    `prompt_after_min`, `warn_after_min` past closing time with the supply on and
    no run open; `late_work_min`, given besides to a run without air; `go_by_min`, by
    when someone should be back and until when the horn calls; `until_h` after
    closing it is day again; `clear_after_s`.
Trips when:
    Never, for no run is open. Asks 5 min past the owner's closing time, the end of
    a run that was open then, or the last press at the rig, and warns after 12. A run
    that is open without air, perhaps by a start pressed by mistake as people went,
    is no work going on for ever: it is given 4 min more.
Clears when:
    The supply has been off for 60 s; a run has air; 10 h after closing.
When data is missing:
    No closing time stated, or nothing fitted that tells of the supply: not judged.
    A clock that is not set: not judged anew, what stands goes on standing.
Not covered:
    Whether the supply is locked off. That is for a person with a padlock.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.frame import NS_PER_S
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import began_ns, lasted_s
from rules.phases import Phase
from rules.view import View

WITHOUT_AIR = frozenset({Phase.PREHEAT, Phase.FITTING, Phase.ABORTED})
TELL_OF_SUPPLY = ("mains_ok", "heat_on", "contactor_closed")
DAY_S = 86_400
LOOK_S = 10.0


class Limits(BaseModel):
    """Limits of `site.energised_at_end_of_day`; what each is for stands above."""

    model_config = STRICT

    prompt_after_min: float = Field(default=5.0, gt=0, le=60)
    warn_after_min: float = Field(default=12.0, gt=0, le=120)
    late_work_min: float = Field(default=4.0, ge=0, le=60)
    go_by_min: float = Field(default=30.0, gt=0, le=240)
    until_h: float = Field(default=10.0, gt=0, le=16)
    clear_after_s: float = Field(default=60.0, ge=0, le=600)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "prompt_after_min", "warn_after_min", "go_by_min")
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        on_ns: process time since which the supply has been on after closing and
            nobody has pressed a button at the rig, ns.
        off_ns: process time since which it has been off again, ns.
    """

    on_ns: int | None = None
    off_ns: int | None = None


REST = Memory()

ROW = Row(
    tag="site.energised_at_end_of_day",
    title="supply still on after closing",
    consequence="a pad heats in the night and the bench burns",
    priority=Priority.MEDIUM,
    warn_do="Switch off at the supply and pull the plugs.",
    trip_do="",
    warn_urgency=Urgency.GO_BY,
    causes=(
        "the last one out forgot it",
        "somebody works late and presses no button",
        "the closing time in the rig's facts is an old one",
    ),
    time_available="until the next contact fails; then 20 min until a bench chars",
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
    closing = view.facts.closing_time
    if closing is None or (view.run_open and view.phase not in WITHOUT_AIR):
        return REST, NOT_JUDGED if closing is None else CLEAR
    if memory.on_ns is None and not view.due(LOOK_S):
        return memory, CLEAR
    on = _supply_on(view)
    if on is None:
        return memory, _told(limits, memory, view, closing) if memory.on_ns else NOT_JUDGED
    if not _closed(limits, view, closing, stands=memory.on_ns is not None):
        return REST, CLEAR
    if on and (memory.on_ns is None or view.someone_here):
        memory = Memory(view.now_ns)
    off_ns = began_ns(view, memory.off_ns, holds=not on)
    if memory.on_ns is None or lasted_s(view, off_ns) >= limits.clear_after_s:
        return REST, CLEAR
    if off_ns != memory.off_ns:
        memory = Memory(memory.on_ns, off_ns)
    return memory, _told(limits, memory, view, closing)


def _told(limits: Limits, memory: Memory, view: View, closing: str) -> Finding:
    on_min = lasted_s(view, memory.on_ns) / 60
    if view.run_open:
        on_min -= limits.late_work_min
    if on_min < limits.prompt_after_min:
        return CLEAR
    horn = Horn.COME_WHEN_YOU_CAN if on_min < limits.go_by_min else Horn.SILENT
    if on_min < limits.warn_after_min:
        said = f"closed at {closing}, supply still on: switch it off"
        return Finding(Level.PROMPT, said, horn)
    said = f"closed at {closing}, nothing under air, supply still on"
    go_by_s = max(0.0, (limits.go_by_min - on_min) * 60)
    return Finding(Level.WARN, said, horn, go_by_s=go_by_s)


def _supply_on(view: View) -> bool | None:
    """The supply is on, as far as anything tells; None when nothing does."""
    told = [view.is_on(name) for name in TELL_OF_SUPPLY]
    if True in told:
        return True
    return False if False in told else None


def _closed(limits: Limits, view: View, closing: str, *, stands: bool) -> bool:
    frame = view.frame
    if not frame.wall_trusted:
        return stands
    local_s = frame.wall_ns // NS_PER_S + frame.utc_offset_s
    return (local_s - _seconds_of(closing)) % DAY_S < limits.until_h * 3600


@lru_cache
def _seconds_of(closing: str) -> int:
    hours, minutes = closing.split(":")
    return int(hours) * 3600 + int(minutes) * 60

"""Nobody has shown up at the rig for too long.

Hazard:
    Hot pads and held air are left alone; whatever goes wrong goes on until
    someone happens to pass.
Standard:
    The equipment is not left unattended during the cure: common practice, no
    source. The times are common practice, no source.
Limits:
    `prompt_after_min`, `horn_after_min`, `warn_after_min`, `trip_after_min`
    since the last press; `held_s`, from which a held button is stuck or taped;
    `warm_c`, above which pads outside a run count.
Trips when:
    Nobody has pressed a button at the rig for 60 min. Asks at 30 min, chirps
    at 35, warns the supervisor at 40. In cool-down and let-down it goes as far
    as the warning and never trips; what tripped before stands until a press.
    Judged in an open run until it is done or aborted, and outside one while
    pads above 50 C are heated. A here button held over 10 s is no presence and
    warns for itself.
Clears when:
    Someone presses here, start or reset at the rig; the stuck button is let go.
When data is missing:
    No here button fitted: not judged. Time without frames is not counted, for a
    press in it could not be seen.
Not covered:
    Who pressed: a button knows no name. Someone who presses and leaves.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.frame import NS_PER_S
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import began_ns, hottest_pad, lasted_s
from rules.phases import Phase
from rules.view import View

NO_RUN = frozenset({Phase.IDLE, Phase.DONE, Phase.ABORTED})
NEVER_TRIPS = frozenset({Phase.COOL_DOWN, Phase.RELEASE})


class Limits(BaseModel):
    """Limits of `run.unattended`; what each is for stands above."""

    model_config = STRICT

    prompt_after_min: float = Field(default=30.0, gt=0, le=240)
    horn_after_min: float = Field(default=35.0, gt=0, le=240)
    warn_after_min: float = Field(default=40.0, gt=0, le=240)
    trip_after_min: float = Field(default=60.0, gt=0, le=240)
    held_s: float = Field(default=10.0, gt=3, le=60)
    warm_c: float = Field(default=50.0, ge=40, le=100)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "prompt_after_min", "horn_after_min", "warn_after_min", "trip_after_min")
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        alone_ns: process time from which being alone is counted, ns; None
            while not armed.
        held_ns: since when the here button has been held, ns.
        tripped: it has tripped and nobody has pressed since.
    """

    alone_ns: int | None = None
    held_ns: int | None = None
    tripped: bool = False


REST = Memory()

ROW = Row(
    tag="run.unattended",
    title="nobody at the rig",
    consequence="a fault goes on until someone happens to pass",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Go and press here.",
    trip_do="KEEP AIR ON. Look at the rig, reset.",
    warn_horn=Horn.COME_NOW,
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
    if view.reading("here_button") is None:
        return REST, NOT_JUDGED
    held_ns = began_ns(view, memory.held_ns, holds=view.is_on("here_button") is True)
    armed = _armed(limits, view)
    alone_ns = _alone_ns(memory, view) if armed else None
    tripped = memory.tripped and armed and not view.someone_here
    finding = _by_time(limits, view, lasted_s(view, alone_ns), tripped=tripped)
    after = Memory(alone_ns, held_ns, finding.level is Level.TRIP)
    memory = memory if after == memory else after
    if not armed:
        return memory, CLEAR
    held_s = lasted_s(view, held_ns)
    if held_s > limits.held_s and finding.level < Level.WARN:
        return memory, Finding(Level.WARN, f"here button held down {held_s:.0f} s, let it go")
    return memory, finding


def _armed(limits: Limits, view: View) -> bool:
    if view.run_open and view.phase not in NO_RUN:
        return True
    if view.phase is Phase.DONE or view.heated is not True:
        return False
    hottest = hottest_pad(view)
    return hottest is not None and hottest[1] > limits.warm_c


def _alone_ns(memory: Memory, view: View) -> int:
    if memory.alone_ns is None or view.someone_here:
        return view.now_ns
    return memory.alone_ns + int(view.gap_s * NS_PER_S)


def _by_time(limits: Limits, view: View, alone_s: float, *, tripped: bool) -> Finding:
    alone_min = alone_s / 60
    if alone_min < limits.prompt_after_min:
        return CLEAR
    said = f"nobody at the rig for {alone_min:.0f} min, press here"
    late = alone_min >= limits.trip_after_min and view.phase not in NEVER_TRIPS
    if tripped or late:
        return Finding(Level.TRIP, said)
    if alone_min >= limits.warn_after_min:
        return Finding(Level.WARN, said)
    chirps = alone_min >= limits.horn_after_min
    return Finding(Level.PROMPT, said, Horn.COME_WHEN_YOU_CAN if chirps else Horn.SILENT)

"""Nobody has shown up at the rig for too long.

Hazard:
    Hot pads and held air are left alone; whatever goes wrong goes on until
    someone happens to pass.
Standard:
    The equipment is not left unattended during the cure: common practice, no
    source. The times are common practice, no source.
Limits:
    `prompt_after_min`, `horn_after_min`, `warn_after_min`, `trip_after_min`
    since the last press. In a quiet hold, one in which nothing has stood for
    `quiet_after_min`, they are longer: `quiet_prompt_min`, `quiet_horn_min`,
    `quiet_warn_min`, `quiet_trip_min`. `grace_min` is the least that prompt and
    horn are given before a trip when a quiet hold ends. `warm_c`: pads above it
    count outside a run.
Trips when:
    Nobody has pressed a button at the rig for 60 min, in a quiet hold for 75.
    Asks at 30 min, chirps at 35, warns the supervisor at 40 (45, 50, 55). When
    anything else begins to stand, the shorter times count again from the last
    press, but the trip comes 10 min later at the earliest. In cool-down and
    let-down it goes as far as the warning and never trips, unless heat is allowed.
    Judged in an open run until it is done or aborted, and outside one while pads
    above 50 C are heated. Left to cool, heat off and the air in, nobody need press
    at all, unless heat stands that will not go off; the bags, the pads and the
    links are watched on by their own alarms.
Clears when:
    Someone presses here, start or reset at the rig: a press counts when the
    button goes down, so one that is held or taped counts once, and one found
    down when the supervisor starts does not count. A press that comes early
    starts the time again.
When data is missing:
    No here button fitted: not judged. Time without frames is not counted, for a
    press in it could not be seen.
Not covered:
    Who pressed: a button knows no name. Someone who presses and leaves. A stuck
    button is told by `rig.button_stuck`.
"""

from dataclasses import dataclass, replace
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.frame import NS_PER_S
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.phases import Phase
from rules.view import View

TAG = "run.unattended"
NO_RUN = frozenset({Phase.IDLE, Phase.DONE, Phase.ABORTED})
NEVER_TRIPS = frozenset({Phase.COOL_DOWN, Phase.RELEASE})
HEAT_STAYS = frozenset({"pad.heat_after_cutoff", "run.overrun"})
NS_PER_MIN = 60 * NS_PER_S
ORDINARY = ("prompt_after_min", "horn_after_min", "warn_after_min", "trip_after_min")
IN_QUIET = ("quiet_prompt_min", "quiet_horn_min", "quiet_warn_min", "quiet_trip_min")


class Limits(BaseModel):
    """Limits of `run.unattended`; what each is for stands above."""

    model_config = STRICT

    prompt_after_min: float = Field(default=30.0, gt=0, le=240)
    horn_after_min: float = Field(default=35.0, gt=0, le=240)
    warn_after_min: float = Field(default=40.0, gt=0, le=240)
    trip_after_min: float = Field(default=60.0, gt=0, le=240)
    quiet_after_min: float = Field(default=10.0, ge=1, le=240)
    quiet_prompt_min: float = Field(default=45.0, gt=0, le=480)
    quiet_horn_min: float = Field(default=50.0, gt=0, le=480)
    quiet_warn_min: float = Field(default=55.0, gt=0, le=480)
    quiet_trip_min: float = Field(default=75.0, gt=0, le=480)
    grace_min: float = Field(default=10.0, ge=5, le=60)
    warm_c: float = Field(default=50.0, ge=40, le=100)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, *ORDINARY)
        must_rise(self, *IN_QUIET)
        for ordinary, quiet in zip(ORDINARY, IN_QUIET, strict=True):
            early_min, late_min = getattr(self, ordinary), getattr(self, quiet)
            if late_min < early_min:
                raise ValueError(
                    f"{quiet} = {late_min:g} is below {ordinary} = {early_min:g}; "
                    f"raise {quiet} or lower {ordinary}"
                )
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        alone_ns: process time from which being alone is counted, ns; None
            while not armed.
        calm_ns: since when a hold has gone on with nothing else standing, ns.
        quiet: that has lasted long enough for the longer times.
        spared_ns: process time before which it does not trip, ns.
        tripped: it has tripped and nobody has pressed since.
    """

    alone_ns: int | None = None
    calm_ns: int | None = None
    quiet: bool = False
    spared_ns: int = 0
    tripped: bool = False


REST = Memory()

ROW = Row(
    tag=TAG,
    title="nobody at the rig",
    consequence="a fault goes on until someone happens to pass",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Go and press the here button.",
    trip_do="KEEP AIR ON. Look at the rig, reset.",
    warn_urgency=Urgency.GO_BY,
    warn_horn=Horn.COME_NOW,
    causes=(
        "whoever minds the rig is busy elsewhere",
        "the horn is not heard where people are",
        "someone is there and does not know of the button",
    ),
    time_available="20 min from the warning until heat goes off; a seep empties a bag in about 80",
    rescue="Repair safe so far.",
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
    if "here_button" not in view.frame.values:
        return REST, NOT_JUDGED
    if not _armed(limits, view):
        return REST, CLEAR
    calm_ns = _calm_ns(memory, view)
    quiet = calm_ns is not None and view.now_ns - calm_ns >= limits.quiet_after_min * NS_PER_MIN
    if memory.alone_ns is None or view.someone_here:
        return Memory(view.now_ns, calm_ns, quiet), CLEAR
    alone_ns = memory.alone_ns
    if view.gap_s > 0:
        alone_ns += int(view.gap_s * NS_PER_S)
    spared_ns = memory.spared_ns
    if memory.quiet and not quiet:
        spared_ns = view.now_ns + int(limits.grace_min * NS_PER_MIN)
    finding = _by_time(limits, memory, view, alone_ns, spared_ns, quiet=quiet)
    if finding is CLEAR and alone_ns == memory.alone_ns and calm_ns == memory.calm_ns:
        return (memory if quiet is memory.quiet else replace(memory, quiet=quiet)), CLEAR
    after = Memory(alone_ns, calm_ns, quiet, spared_ns, finding.level is Level.TRIP)
    return (memory if after == memory else after), finding


def _armed(limits: Limits, view: View) -> bool:
    if view.run_open and view.phase not in NO_RUN:
        if view.phase is not Phase.COOL_DOWN:
            return True
        # A thermostat that rests looks like heat that is off.
        return not view.left_to_cool or not HEAT_STAYS.isdisjoint(view.standing)
    if view.phase is Phase.DONE or view.heated is not True:
        return False
    hottest_c = view.now.hottest_c
    return hottest_c is not None and hottest_c > limits.warm_c


def _calm_ns(memory: Memory, view: View) -> int | None:
    if view.phase is not Phase.CURE or view.gap_s > 0:
        return None
    # Its own warning, come in a quiet hold, does not end that hold's quiet.
    if view.standing and view.standing != (TAG,):
        return None
    return view.now_ns if memory.calm_ns is None else memory.calm_ns


def _by_time(
    limits: Limits, memory: Memory, view: View, alone_ns: int, spared_ns: int, *, quiet: bool
) -> Finding:
    alone_min = (view.now_ns - alone_ns) / NS_PER_MIN
    prompt_min = limits.quiet_prompt_min if quiet else limits.prompt_after_min
    if alone_min < prompt_min and not memory.tripped:
        return CLEAR
    horn_min, warn_min, trip_min = _times(limits, quiet=quiet)
    left_s = max((trip_min - alone_min) * 60, (spared_ns - view.now_ns) / NS_PER_S)
    # Whoever pressed start in a cool-down has left heat on.
    never = view.phase in NEVER_TRIPS and not view.permit_granted
    said = f"nobody at the rig for {alone_min:.0f} min"
    if memory.tripped or (left_s <= 0 and not never):
        return Finding(Level.TRIP, said)
    go_by_s = None if never else left_s
    if alone_min >= warn_min:
        return Finding(Level.WARN, said, go_by_s=go_by_s)
    horn = Horn.COME_WHEN_YOU_CAN if alone_min >= horn_min else Horn.SILENT
    return Finding(Level.PROMPT, f"{said}, press here", horn, go_by_s=go_by_s)


def _times(limits: Limits, *, quiet: bool) -> tuple[float, float, float]:
    if quiet:
        return limits.quiet_horn_min, limits.quiet_warn_min, limits.quiet_trip_min
    return limits.horn_after_min, limits.warn_after_min, limits.trip_after_min

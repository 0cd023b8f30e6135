"""When a frame is, which phase it finds the rig in, and which run it belongs to.

Source:
    This project's design, "Phases" and "History lost".
"""

from dataclasses import replace
from typing import NamedTuple

from rules.events import Event, PhaseChanged, RunClosed, RunOpened
from rules.facts import RigFacts
from rules.frame import NS_PER_S, Frame
from rules.hold import Hold, tick
from rules.limits import LimitsBase
from rules.permit import PermitState
from rules.phases import BETWEEN_RUNS, Phase, Place, Scene, classify, next_row
from rules.signals import Now, Signals, lasted_s
from rules.state import Run, State


class Moment(NamedTuple):
    """When a frame is, against the one before.

    Attributes:
        now_ns: process time, ns.
        dt_s: process time since the frame before, s.
        gap_s: length of an interruption just before this frame, s, or 0.
        same_boot: the computer has not restarted since.
    """

    now_ns: int
    dt_s: float
    gap_s: float
    same_boot: bool


def moment_of(limits: LimitsBase, state: State, frame: Frame) -> Moment:
    """When a frame is, against the state before it."""
    if not state.frames:
        return Moment(0, 0.0, 0.0, same_boot=True)
    # Monotonic time that runs back is a restart that the boot id did not show.
    same_boot = frame.boot_id == state.boot_id and frame.t_ns >= state.t_ns
    # Across a restart only the wall clock has gone on.
    passed_ns = frame.t_ns - state.t_ns if same_boot else frame.wall_ns - state.wall_ns
    passed_ns = max(0, passed_ns)
    dt_s = passed_ns / NS_PER_S
    gap = not same_boot or dt_s > patience_s(limits)
    return Moment(state.now_ns + passed_ns, dt_s, max(dt_s, 1e-3) if gap else 0.0, same_boot)


def patience_s(limits: LimitsBase) -> float:
    """How long nothing may be heard before it counts as an interruption, s."""
    return max(limits.permit.gap_s, 2.5 * limits.facts.frame_period_s)


def placed(
    limits: LimitsBase,
    state: State,
    time: Moment,
    now: Now,
    signals: Signals,
    *,
    unplugged: bool,
) -> tuple[Place, Run, Hold, list[Event]]:
    """The phase after this frame, with the run it opens."""
    place, run, hold = state.place, state.run, state.hold
    if time.gap_s > limits.phases.history_gap_s:
        place = replace(place, settled=False, unsettled_ns=time.now_ns)
    if not place.settled:
        place, why = _settle(limits, place, time, now)
    else:
        scene = Scene(
            limits.phases,
            signals,
            now,
            time.now_ns,
            place,
            state.permit.granted,
            state.permit.state is PermitState.LATCHED,
            hold.over and state.permit.state is not PermitState.WATCH_ONLY,
            _hold_met(limits.facts, place, hold),
            unplugged,
            limits.facts.site_altitude_m,
        )
        row = next_row(scene)
        why = row.why if row else ""
        place = _entered(place, row.target if row else place.phase, time.now_ns, scene)
    events: list[Event] = []
    was = state.place.phase
    if place.phase is not was or (state.place.history_known and not place.history_known):
        opens = place.phase not in BETWEEN_RUNS and not run.open
        if opens:
            run, hold = Run(run.number + 1, open=True), Hold()
            place = replace(place, been_cured=False)
            events.append(RunOpened(run.number, why))
        events.append(PhaseChanged(place.phase.value, was.value, why, place.history_known))
    if run.open and now.hottest_c is not None and not _below_peak(run, now.hottest_c):
        run = replace(run, peak_c=now.hottest_c)
    return place, run, hold, events


def _below_peak(run: Run, hottest_c: float) -> bool:
    return run.peak_c is not None and hottest_c <= run.peak_c


def opened_by_press(
    place: Place, run: Run, now: Now, time: Moment
) -> tuple[Place, Run, Hold, tuple[Event, ...]]:
    """Heat allowed between runs opens one: the press belongs to the run it begins."""
    why = "start pressed"
    opened = Run(run.number + 1, open=True, peak_c=now.hottest_c)
    into = Place(Phase.PREHEAT, time.now_ns, settled=True)
    told = PhaseChanged(Phase.PREHEAT.value, place.phase.value, why)
    return into, opened, Hold(), (RunOpened(opened.number, why), told)


def _settle(limits: LimitsBase, place: Place, time: Moment, now: Now) -> tuple[Place, str]:
    phase = classify(limits.phases, now, limits.facts.site_altitude_m)
    if phase is None:
        if lasted_s(place.unsettled_ns, time.now_ns) <= limits.phases.settle_s:
            return place, ""
        known = place.history_known and place.phase in BETWEEN_RUNS
        why = "pads or bags cannot be read; taken to be as before"
        return replace(place, settled=True, history_known=known), why
    if phase is Phase.IDLE and place.phase in BETWEEN_RUNS:
        return replace(place, settled=True), ""
    found = Place(
        phase,
        time.now_ns,
        settled=True,
        history_known=phase is Phase.IDLE,
        pressurised=phase in (Phase.INFLATION, Phase.CURE),
        been_cured=phase is Phase.CURE,
    )
    return found, "found so; how it came here was not seen"


def _entered(place: Place, phase: Phase, now_ns: int, scene: Scene) -> Place:
    pressurised = (place.pressurised or scene.held) and not scene.empty
    cured = place.been_cured or phase is Phase.CURE
    if phase is place.phase:
        if (pressurised, cured) == (place.pressurised, place.been_cured):
            return place
        return replace(place, pressurised=pressurised, been_cured=cured)
    known = place.history_known or phase in BETWEEN_RUNS
    return Place(
        phase,
        now_ns,
        settled=True,
        history_known=known,
        pressurised=pressurised,
        been_cured=cured,
    )


def _hold_met(facts: RigFacts, place: Place, hold: Hold) -> bool:
    if facts.hold_min is None:
        return place.been_cured
    return hold.held_s >= facts.hold_min * 60


def held(
    limits: LimitsBase, state: State, hold: Hold, place: Place, now: Now, time: Moment
) -> tuple[Hold, bool]:
    """The hold clock, and whether its planned end comes with this frame."""
    hold = tick(limits.hold, hold, place.phase, now, 0.0 if time.gap_s else time.dt_s)
    hold_min = limits.facts.hold_min
    if hold.over or hold_min is None or not state.run.open or hold.held_s < hold_min * 60:
        return hold, False
    return replace(hold, over=True), True


def close(state: State, place: Place, run: Run, hold: Hold) -> tuple[Run, tuple[Event, ...]]:
    """The run, closed if this frame ends it, and what is told of that."""
    if not run.open or place.phase not in BETWEEN_RUNS:
        return run, ()
    if place.phase is Phase.DONE:
        outcome = "done"
    elif state.place.phase in (Phase.PREHEAT, Phase.FITTING):
        outcome = "given_up"
    else:
        outcome = "aborted"
    return replace(run, open=False), (RunClosed(run.number, outcome, hold.held_s, run.peak_c),)

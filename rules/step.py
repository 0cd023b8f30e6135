"""One frame in, one decision out: the only place where everything comes together.

`step` is a pure function and never raises on data. Live supervision, replay,
resume and the campaign all call it and so agree.

Source:
    This project's design.
"""

from dataclasses import dataclass, replace
from typing import Any

from rules import commands as orders
from rules.alarms import Alarms, horn, pressed_at_rig, update
from rules.buttons import Button
from rules.buttons import follow as follow_button
from rules.channels import BAGS, BUTTONS
from rules.events import (
    Decision,
    Event,
    Horn,
    Interrupted,
    Level,
    LimitsChanged,
    Outputs,
    PhaseChanged,
    Pressed,
    Prompted,
    RunClosed,
    RunOpened,
)
from rules.facts import RigFacts
from rules.frame import NS_PER_S, Frame
from rules.hazards import HAZARDS
from rules.hazards.base import Finding
from rules.hold import Hold, tick
from rules.limits import LimitsBase
from rules.messages import prompt_text
from rules.permit import Asked, Permit, decide
from rules.phases import BETWEEN_RUNS, Phase, Place, Scene, classify, next_row
from rules.signals import (
    Now,
    Signals,
    cleared,
    follow,
    lasted_s,
    now_of,
    peaks_restarted,
    phase_began,
)
from rules.state import Run, State
from rules.unplugging import Unplugged
from rules.unplugging import follow as follow_unplugging
from rules.view import View

# The gap's own alarm must not bar the way back from that very gap.
GAP_TAGS = frozenset({"run.interrupted"})


@dataclass(frozen=True, slots=True)
class _Time:
    """When a frame is, against the one before."""

    now_ns: int
    dt_s: float
    gap_s: float
    same_boot: bool


@dataclass(frozen=True, slots=True)
class _Presses:
    """What the wired buttons did in a frame; `reset` names the button that asks for it."""

    buttons: tuple[Button, ...]
    start: bool
    here: bool
    reset: str
    someone_here: bool


def step(limits: LimitsBase, state: State, frame: Frame) -> tuple[State, Decision]:
    """Fold one frame.

    Args:
        limits: facts and limits of the rig.
        state: the fold so far.
        frame: the next frame.

    Returns:
        The new state, and what is to be done and told.

    Source:
        This project's design, "Flow".
    """
    time = _time(limits, state, frame)
    events: list[Event] = []
    if time.gap_s > 0:
        events.append(Interrupted(time.gap_s, time.same_boot))
    if state.frames and frame.limits_hash != state.limits_hash:
        events.append(LimitsChanged(frame.limits_hash))
    now = now_of(frame, BAGS)
    unplugged = _unplugged(limits, state, frame, time)
    signals = _signals(limits, state, frame, now, time)
    place, run, hold, moved = _place(limits, state, time, now, signals, unplugged=bool(unplugged))
    if place.phase is not state.place.phase:
        signals = phase_began(signals)
        if place.phase is Phase.PREHEAT:
            signals = peaks_restarted(signals)
    events += moved
    presses = _presses(limits, state, frame, time)
    view = _view(limits.facts, state, frame, time, place, run, unplugged, presses)
    hold, over = _hold(limits, state, hold, place, now, time)
    if over:
        events.append(_hold_is_over(limits.facts, view))
    alarms, ids, told = _commands(state, frame, time.now_ns)
    events += told
    memories, findings = _judge(limits, state, view)
    if view.someone_here:
        # Before this frame's findings: a press never silences what it cannot have heard.
        alarms = pressed_at_rig(alarms, time.now_ns)
    alarms, told = update(
        alarms,
        findings,
        frame,
        time.now_ns,
        title=limits.facts.title,
        watch_only=view.watch_only,
    )
    events += told
    if presses.here:
        events.append(Pressed("here_button", "someone is at the rig"))
    asked = _asked(state, alarms, presses, time, hold, over=over)
    permit, told = decide(limits.permit, state.permit, view, asked)
    events += told
    if permit.granted and not run.open:
        place, run, hold, told = _opened_by_press(place, run, now, time)
        signals = peaks_restarted(signals)
        events += told
    run, closed = _close(state, place, run, hold, now)
    events += closed
    after = State(
        state.frames + 1,
        time.now_ns,
        frame.t_ns,
        frame.wall_ns,
        frame.boot_id,
        frame.limits_hash,
        signals,
        place,
        run,
        hold,
        unplugged,
        presses.buttons,
        alarms,
        permit,
        ids,
        _last_good(state, view),
        memories,
    )
    belongs = run.number if run.open or closed else 0
    return after, Decision(_outputs(permit, alarms, time.now_ns), tuple(events), belongs)


def _time(limits: LimitsBase, state: State, frame: Frame) -> _Time:
    if not state.frames:
        return _Time(0, 0.0, 0.0, same_boot=True)
    # Monotonic time that runs back is a restart that the boot id did not show.
    same_boot = frame.boot_id == state.boot_id and frame.t_ns >= state.t_ns
    # Across a restart only the wall clock has gone on.
    passed_ns = frame.t_ns - state.t_ns if same_boot else frame.wall_ns - state.wall_ns
    passed_ns = max(0, passed_ns)
    dt_s = passed_ns / NS_PER_S
    gap = not same_boot or dt_s > _patience_s(limits)
    return _Time(state.now_ns + passed_ns, dt_s, max(dt_s, 1e-3) if gap else 0.0, same_boot)


def _patience_s(limits: LimitsBase) -> float:
    """How long nothing may be heard before it counts as an interruption, s."""
    return max(limits.permit.gap_s, 2.5 * limits.facts.frame_period_s)


def _unplugged(
    limits: LimitsBase, state: State, frame: Frame, time: _Time
) -> tuple[Unplugged, ...]:
    return follow_unplugging(
        state.unplugged,
        frame,
        state.signals,
        state.place.phase,
        time.now_ns,
        0.0 if time.gap_s else time.dt_s,
        replug_s=limits.permit.replug_s,
    )


def _signals(limits: LimitsBase, state: State, frame: Frame, now: Now, time: _Time) -> Signals:
    phases = limits.phases
    return follow(
        cleared(state.signals) if time.gap_s else state.signals,
        frame,
        now,
        time.now_ns,
        held_kpa=phases.held_kpa,
        empty_kpa=phases.empty_kpa,
        filling_kpa=phases.filling_kpa,
        hot_c=phases.cure_c,
    )


def _place(
    limits: LimitsBase,
    state: State,
    time: _Time,
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
            hold.over,
            _hold_met(limits.facts, place, hold),
            unplugged,
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


def _opened_by_press(
    place: Place, run: Run, now: Now, time: _Time
) -> tuple[Place, Run, Hold, tuple[Event, ...]]:
    """Heat allowed between runs opens one: the press belongs to the run it begins."""
    why = "start pressed"
    opened = Run(run.number + 1, open=True, peak_c=now.hottest_c)
    into = Place(Phase.PREHEAT, time.now_ns, settled=True)
    told = PhaseChanged(Phase.PREHEAT.value, place.phase.value, why)
    return into, opened, Hold(), (RunOpened(opened.number, why), told)


def _settle(limits: LimitsBase, place: Place, time: _Time, now: Now) -> tuple[Place, str]:
    phase = classify(limits.phases, now)
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


def _hold(
    limits: LimitsBase, state: State, hold: Hold, place: Place, now: Now, time: _Time
) -> tuple[Hold, bool]:
    """The hold clock, and whether its planned end comes with this frame."""
    hold = tick(limits.hold, hold, place.phase, now, 0.0 if time.gap_s else time.dt_s)
    hold_min = limits.facts.hold_min
    if hold.over or hold_min is None or not state.run.open or hold.held_s < hold_min * 60:
        return hold, False
    return replace(hold, over=True), True


def _hold_is_over(facts: RigFacts, view: View) -> Event:
    heat = "switch heat off" if view.watch_only else "heat is off"
    said = f"hold of {facts.hold_min:g} min complete, {heat}. KEEP AIR ON until cool"
    return Prompted("hold.complete", said, prompt_text(facts.title, said))


def _presses(limits: LimitsBase, state: State, frame: Frame, time: _Time) -> _Presses:
    # Pressed somewhere in a gap is not seen to be pressed: no button outlasts one.
    start, here, reset = (
        follow_button(
            Button() if time.gap_s else button,
            frame,
            name,
            time.now_ns,
            long_s=limits.permit.long_press_s,
            forget_s=_patience_s(limits),
        )
        for name, button in zip(BUTTONS, state.buttons, strict=True)
    )
    asks_reset = "start_button" if start.held_long else ""
    return _Presses(
        (start.button, here.button, reset.button),
        start.pressed,
        here.pressed,
        "reset_button" if reset.pressed else asks_reset,
        start.pressed or here.pressed or reset.pressed,
    )


def _view(
    facts: RigFacts,
    state: State,
    frame: Frame,
    time: _Time,
    place: Place,
    run: Run,
    unplugged: tuple[Unplugged, ...],
    presses: _Presses,
) -> View:
    return View(
        frame,
        facts,
        time.now_ns,
        time.dt_s,
        time.gap_s,
        place.phase,
        place.since_ns,
        place.history_known,
        run.open,
        state.permit.granted,
        "heat_permit" not in frame.readback or "start_button" not in frame.values,
        frozenset(item.name for item in unplugged),
        place.pressurised,
        presses.someone_here,
    )


def _commands(
    state: State, frame: Frame, now_ns: int
) -> tuple[Alarms, tuple[str, ...], tuple[Event, ...]]:
    alarms, ids = state.alarms, state.command_ids
    answers: list[Event] = []
    for command in frame.commands:
        alarms, ids, answer = orders.carry_out(alarms, ids, command, now_ns)
        answers.append(answer)
    return alarms, ids, tuple(answers)


def _judge(
    limits: LimitsBase, state: State, view: View
) -> tuple[tuple[Any, ...], list[tuple[str, Finding]]]:
    """Every hazard on one frame; only findings that are not clear come back."""
    memories = []
    findings = []
    for hazard, memory in zip(HAZARDS, state.memories, strict=True):
        kept, finding = hazard.judge(limits.of(hazard.name), memory, view)
        memories.append(kept)
        if finding.level > Level.CLEAR:
            findings.append((hazard.row.tag, finding))
    return tuple(memories), findings


def _asked(
    state: State, alarms: Alarms, presses: _Presses, time: _Time, hold: Hold, *, over: bool
) -> Asked:
    return Asked(
        presses.start,
        presses.reset,
        alarms.tags(Level.TRIP),
        tuple(tag for tag in alarms.tags(Level.WARN) if tag not in GAP_TAGS),
        over,
        hold.over,
        time.same_boot,
        state.last_good,
    )


def _close(state: State, place: Place, run: Run, hold: Hold, now: Now) -> tuple[Run, list[Event]]:
    if not run.open or place.phase not in BETWEEN_RUNS:
        return run, []
    if place.phase is Phase.DONE:
        outcome = "done"
    elif state.place.phase in (Phase.PREHEAT, Phase.FITTING):
        outcome = "given_up"
    else:
        outcome = "aborted"
    return replace(run, open=False), [RunClosed(run.number, outcome, hold.held_s, run.peak_c)]


def _last_good(state: State, view: View) -> tuple[tuple[str, float], ...]:
    found = {**dict(state.last_good), **view.pads_c, **view.bags_kpa}
    return tuple(found.items())


def _outputs(permit: Permit, alarms: Alarms, now_ns: int) -> Outputs:
    # The release lamp needs the rubber's own temperature, which nothing here
    # estimates yet: not known is not safe, so it stays off.
    tripped = bool(alarms.tags(Level.TRIP)) or permit.state == "latched"
    pattern = horn(alarms, now_ns)
    return Outputs(
        heat_permit=permit.granted,
        horn=pattern,
        beacon_red=tripped,
        beacon_amber=bool(alarms.standing) or pattern is not Horn.SILENT,
        release_permit=False,
    )

"""One frame in, one decision out: the only place where everything comes together.

`step` is a pure function and never raises on data. Live supervision, replay,
resume and the campaign all call it and so agree.

Source:
    This project's design.
"""

from typing import Any, NamedTuple

from rules import air as airs
from rules import commands as orders
from rules import heating as heatings
from rules import trust as trusts
from rules.air import Air
from rules.alarms import Alarms
from rules.annunciator import update
from rules.buttons import Button, Did, at_rest
from rules.buttons import follow as follow_button
from rules.channels import BUTTONS
from rules.events import (
    Decision,
    Event,
    Interrupted,
    Level,
    LimitsChanged,
    Outputs,
    Pressed,
)
from rules.frame import Frame
from rules.hazards.base import CLEAR, Finding
from rules.heating import Heating
from rules.hold import Hold
from rules.limits import LimitsBase
from rules.messages import telling_of
from rules.outlook import outlook_told
from rules.permit import Asked, LastGood, Permit, PermitState, decide
from rules.phases import Phase, Place
from rules.placing import (
    Moment,
    close,
    held,
    moment_of,
    opened_by_press,
    patience_s,
    placed,
)
from rules.signals import (
    Now,
    Signals,
    cleared,
    follow,
    now_of,
    peaks_restarted,
    phase_began,
)
from rules.state import Run, State
from rules.trust import Trust
from rules.unplugging import Unplugged
from rules.unplugging import follow as follow_unplugging
from rules.view import View, heated_of

# The gap's own alarm must not bar the way back from that very gap.
GAP_TAGS = frozenset({"run.interrupted"})
BEFORE_HEAT = frozenset({Phase.PREHEAT, Phase.FITTING, Phase.INFLATION})
NONE_UNPLUGGED: frozenset[str] = frozenset()


class _Presses(NamedTuple):
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
    time = moment_of(limits, state, frame)
    events: list[Event] = []
    if time.gap_s > 0:
        events.append(Interrupted(time.gap_s, time.same_boot))
    if state.frames and frame.limits_hash != state.limits_hash:
        events.append(LimitsChanged(frame.limits_hash))
    trust, now, air = _believed(limits, state, frame, time)
    heating = heatings.follow(state.heating, now, time.now_ns, time.dt_s, time.gap_s)
    unplugged = _unplugged(limits, state, frame, time)
    signals = _signals(limits, state, frame, now, time)
    place, run, hold, moved = placed(limits, state, time, now, signals, unplugged=bool(unplugged))
    if place.phase is not state.place.phase:
        signals = phase_began(signals)
        if place.phase is Phase.PREHEAT:
            signals = peaks_restarted(signals)
    events += moved
    presses = _presses(limits, state, frame, time)
    hold, over = held(limits, state, hold, place, now, time)
    view = _view(
        limits, state, frame, time, place, run, hold, unplugged, presses, air, now, heating
    )
    alarms, ids, told = _commands(limits, state, view)
    events += told
    memories, findings = _judge(limits, state, view)
    alarms, told = update(limits.alarms, alarms, findings, view)
    events += told
    if presses.here:
        events.append(Pressed("here_button", "someone is at the rig"))
    asked = _asked(state, alarms, presses, time, hold, over=over)
    permit, told = decide(limits.permit, state.permit, view, asked)
    events += told
    if permit.granted and not run.open:
        place, run, hold, told = opened_by_press(place, run, now, time)
        signals = peaks_restarted(signals)
        events += told
    run, closed = close(state, place, run, hold)
    events += closed
    after = State(
        state.frames + 1,
        time.now_ns,
        frame.t_ns,
        frame.wall_ns,
        frame.boot_id,
        frame.limits_hash,
        trust,
        air,
        heating,
        signals,
        place,
        run,
        hold,
        unplugged,
        presses.buttons,
        alarms,
        permit,
        ids,
        _last_good(state, now),
        memories,
    )
    if presses.start or presses.here:
        events += _outlook(limits, state, after, frame, presses)
    belongs = run.number if run.open or closed else 0
    return after, Decision(_outputs(permit, alarms), tuple(events), belongs)


def _outlook(
    limits: LimitsBase, state: State, after: State, frame: Frame, presses: _Presses
) -> tuple[Event, ...]:
    """What will happen tonight, for whoever is about to start, and once heat is allowed."""
    permit, phase = after.permit, after.place.phase
    if presses.start and permit.granted and not state.permit.granted:
        return outlook_told(limits, after, frame)
    first = phase is Phase.IDLE or (phase in BEFORE_HEAT and permit.since_ns == 0)
    if presses.here and first and not permit.granted:
        return outlook_told(limits, after, frame)
    return ()


def _believed(
    limits: LimitsBase, state: State, frame: Frame, time: Moment
) -> tuple[Trust, Now, Air]:
    trust = trusts.follow(limits.trust, state.trust, frame, time.now_ns, time.gap_s)
    now = now_of(frame, trust.doubted)
    air = airs.follow(limits.air, state.air, limits.facts, frame, now, time.now_ns, time.gap_s)
    return trust, now, air


def _unplugged(
    limits: LimitsBase, state: State, frame: Frame, time: Moment
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


def _signals(limits: LimitsBase, state: State, frame: Frame, now: Now, time: Moment) -> Signals:
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


def _presses(limits: LimitsBase, state: State, frame: Frame, time: Moment) -> _Presses:
    # Pressed somewhere in a gap is not seen to be pressed: no button outlasts one.
    was = (Button(), Button(), Button()) if time.gap_s else state.buttons
    values = frame.values
    if (
        at_rest(was[0], values.get(BUTTONS[0]))
        and at_rest(was[1], values.get(BUTTONS[1]))
        and at_rest(was[2], values.get(BUTTONS[2]))
    ):
        return _Presses(was, start=False, here=False, reset="", someone_here=False)
    long_s, forget_s = limits.permit.long_press_s, patience_s(limits)
    (start, start_did), (here, here_did), (reset, reset_did) = (
        follow_button(button, frame, name, time.now_ns, long_s=long_s, forget_s=forget_s)
        for name, button in zip(BUTTONS, was, strict=True)
    )
    pressed = Did.PRESSED
    asks_reset = "start_button" if start_did is Did.HELD_LONG else ""
    return _Presses(
        (start, here, reset),
        start_did is pressed,
        here_did is pressed,
        "reset_button" if reset_did is pressed else asks_reset,
        pressed in (start_did, here_did, reset_did),
    )


def _view(
    limits: LimitsBase,
    state: State,
    frame: Frame,
    time: Moment,
    place: Place,
    run: Run,
    hold: Hold,
    unplugged: tuple[Unplugged, ...],
    presses: _Presses,
    air: Air,
    now: Now,
    heating: Heating,
) -> View:
    watch_only = "heat_permit" not in frame.readback or "start_button" not in frame.values
    granted = state.permit.granted
    return View(
        frame,
        limits.facts,
        time.now_ns,
        time.dt_s,
        time.gap_s,
        place.phase,
        place.since_ns,
        place.history_known,
        run.open,
        granted,
        watch_only,
        frozenset(item.name for item in unplugged) if unplugged else NONE_UNPLUGGED,
        place.pressurised,
        presses.someone_here,
        presses.here,
        state.permit.since_ns,
        state.permit.state is PermitState.LATCHED,
        hold.over,
        state.alarms.tags(Level.WARN),
        air,
        now,
        heating,
        hold.held_s,
        heated_of(frame, permit_granted=granted, watch_only=watch_only),
    )


def _commands(
    limits: LimitsBase, state: State, view: View
) -> tuple[Alarms, tuple[str, ...], tuple[Event, ...]]:
    alarms, ids = state.alarms, state.command_ids
    if not view.frame.commands:
        return alarms, ids, ()
    telling = telling_of(limits.facts.title, view.frame, watch_only=view.watch_only)
    told: list[Event] = []
    for command in view.frame.commands:
        alarms, ids, answers = orders.carry_out(
            limits.alarms, alarms, ids, command, view.now_ns, telling
        )
        told += answers
    return alarms, ids, tuple(told)


def _judge(
    limits: LimitsBase, state: State, view: View
) -> tuple[tuple[Any, ...], list[tuple[str, Finding]]]:
    """Every hazard on one frame; only findings that are not clear come back."""
    memories = []
    findings = []
    for (judge, of_hazard, tag), memory in zip(limits.in_order, state.memories, strict=True):
        kept, finding = judge(of_hazard, memory, view)
        memories.append(kept)
        if finding is not CLEAR and finding.level > Level.CLEAR:
            findings.append((tag, finding))
    return tuple(memories), findings


def _asked(
    state: State, alarms: Alarms, presses: _Presses, time: Moment, hold: Hold, *, over: bool
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


def _last_good(state: State, now: Now) -> LastGood:
    inner_c, outer_c, inner_kpa, outer_kpa = state.last_good
    (pad_a, pad_b), (bag_a, bag_b) = now.pads, now.bags
    return (
        inner_c if pad_a is None else pad_a,
        outer_c if pad_b is None else pad_b,
        inner_kpa if bag_a is None else bag_a,
        outer_kpa if bag_b is None else bag_b,
    )


def _outputs(permit: Permit, alarms: Alarms) -> Outputs:
    # The release lamp needs the rubber's own temperature, which nothing here
    # estimates yet: not known is not safe, so it stays off.
    tripped = bool(alarms.tags(Level.TRIP)) or permit.state is PermitState.LATCHED
    return Outputs(
        heat_permit=permit.granted,
        horn=alarms.sounding,
        beacon_red=tripped,
        beacon_amber=bool(alarms.found),
        release_permit=False,
    )

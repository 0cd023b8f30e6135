"""What a rig is doing now, as the one message that page, phone and command line share."""

from daemon.notify.messages import (
    AlarmNow,
    OutOfServiceNow,
    OutputsNow,
    OverNow,
    StateMessage,
    ValueNow,
    utc_text,
)
from rules.alarms import NEVER, OutOfService, Over, Standing
from rules.channels import CHANNELS
from rules.events import Decision, Level
from rules.frame import NS_PER_S, Frame
from rules.lifecycle import Life
from rules.limits import LimitsBase
from rules.outlook import outlook
from rules.permit import PermitState
from rules.phases import TITLES
from rules.state import State


def state_message(
    site: str,
    rig: str,
    limits: LimitsBase,
    state: State,
    frame: Frame,
    decision: Decision,
    *,
    pretend: bool,
) -> StateMessage:
    """One rig's state after a frame.

    Args:
        site: name of the site.
        rig: name of the rig.
        limits: facts and limits in force.
        state: after the frame.
        frame: the frame.
        decision: of the frame.
        pretend: a simulated rig.
    """
    permit = state.permit
    return StateMessage(
        site=site,
        rig=rig,
        title=limits.facts.title,
        at=utc_text(frame.wall_ns),
        seq=frame.seq,
        pretend=pretend,
        watch_only=permit.state is PermitState.WATCH_ONLY,
        run=state.run.number if state.run.open else None,
        phase=state.place.phase,
        phase_title=TITLES[state.place.phase],
        phase_since=_wall(frame, state, state.place.since_ns),
        history_known=state.place.history_known,
        permit=permit.state.value,
        permit_why=permit.why,
        values={
            name: ValueNow(value=reading.value, quality=reading.quality, reason=reading.reason)
            for name, reading in frame.values.items()
        },
        not_fitted=tuple(item.name for item in CHANNELS if item.name not in frame.values),
        outputs=OutputsNow(
            heat_permit=decision.outputs.heat_permit,
            horn=decision.outputs.horn,
            beacon_red=decision.outputs.beacon_red,
            beacon_amber=decision.outputs.beacon_amber,
            release_permit=decision.outputs.release_permit,
        ),
        alarms=tuple(
            _alarm(item, frame, state)
            for item in state.alarms.standing
            if item.level > Level.PROMPT
        ),
        hold_s=state.hold.held_s,
        hold_min=limits.facts.hold_min,
        heat_off_expected_at=_heat_off(limits, state, frame),
        polls_late=frame.health.polls_late,
        polls_missed=frame.health.polls_missed,
        store_ok=frame.health.store_ok,
        over_unseen=tuple(_over(item) for item in state.alarms.over),
        out_of_service=tuple(_out(item, frame, state) for item in state.alarms.out),
        flood=state.alarms.flood,
        tonight=outlook(limits, state, frame),
    )


def _alarm(item: Standing, frame: Frame, state: State) -> AlarmNow:
    quiet = item.life is Life.QUIET and item.quiet_until_ns != NEVER
    return AlarmNow(
        tag=item.tag,
        state="trip" if item.level is Level.TRIP else "warn",
        since=utc_text(item.since_wall_ns),
        said=item.said,
        text=item.text,
        order=item.order,
        follows=item.follows,
        seen_by=item.seen_by or None,
        going_by=item.going_by or None,
        quiet_until=_wall(frame, state, item.quiet_until_ns) if quiet else None,
        life=item.life,
        priority=item.priority,
        told=item.told,
        quiet_why=item.quiet_why if quiet else "",
        attended=item.attended,
        escalated=item.steps,
        comes_and_goes=item.held,
    )


def _over(item: Over) -> OverNow:
    return OverNow(
        tag=item.tag,
        worst="trip" if item.level is Level.TRIP else "warn",
        since=utc_text(item.since_wall_ns),
        over=utc_text(item.over_wall_ns),
        said=item.said,
    )


def _out(item: OutOfService, frame: Frame, state: State) -> OutOfServiceNow:
    return OutOfServiceNow(
        tag=item.tag,
        who=item.who,
        via=item.via,
        why=item.why,
        since=utc_text(item.since_wall_ns),
        until=_wall(frame, state, item.until_ns),
    )


def _heat_off(limits: LimitsBase, state: State, frame: Frame) -> str | None:
    hold_min = limits.facts.hold_min
    if hold_min is None or not state.hold.running or state.hold.over:
        return None
    left_s = max(0.0, hold_min * 60 - state.hold.held_s)
    return utc_text(frame.wall_ns + int(left_s * NS_PER_S))


def _wall(frame: Frame, state: State, process_ns: int) -> str:
    """A process time as wall time, by the present offset between the two."""
    return utc_text(frame.wall_ns - (state.now_ns - process_ns))

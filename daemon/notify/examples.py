"""One invented message of each kind, for the documentation. No real workshop or person."""

from dataclasses import replace

from daemon.notify.messages import (
    AlarmLifeMessage,
    AlarmMessage,
    AlarmNow,
    AnswerMessage,
    CommandMessage,
    DaemonMessage,
    EscalationMessage,
    EventMessage,
    NuisanceMessage,
    OutOfServiceNow,
    OutputsNow,
    OverNow,
    RunMessage,
    StateMessage,
    ValueNow,
)
from rules.events import AlarmChanged, Horn, Level, as_dict
from rules.frame import Quality, Reason
from rules.hazards import BY_TAG
from rules.lifecycle import Happening, Life
from rules.messages import Subject, Telling, alarm_told, escalated_told, nuisance_told
from rules.phases import Phase

SITE = "workshop"
RIG = "bay-2"
AT_NS = 1_795_597_922 * 10**9  # 2026-11-25T09:12:02Z
_TELLING = Telling("BAY 2", AT_NS)
_BURST = Subject(
    BY_TAG["bag.burst"].row,
    Level.TRIP,
    "inner air -42 kPa in 3 s",
    AT_NS,
    horn=Horn.STAND_CLEAR,
)
_TOLD = alarm_told(_TELLING, _BURST)
BURST = AlarmChanged(
    tag=_BURST.row.tag,
    state="trip",
    said=_BURST.said,
    text=_TOLD.short,
    order=1,
    page=_TOLD.page,
    life=Life.UNSEEN.value,
    priority=_BURST.row.priority.value,
)

STATE = StateMessage(
    site=SITE,
    rig=RIG,
    title="BAY 2",
    at="2026-11-25T09:12:05.000Z",
    seq=18725,
    pretend=True,
    watch_only=False,
    run=14,
    phase=Phase.CURE,
    phase_title="hold",
    phase_since="2026-11-25T08:51:40.000Z",
    history_known=True,
    permit="latched",
    permit_why="bag.burst took heat away; reset at the rig",
    values={
        "pad_inner_c": ValueNow(value=139.8, quality=Quality.GOOD, reason=Reason.NONE),
        "bag_inner_kpa": ValueNow(value=164.2, quality=Quality.GOOD, reason=Reason.NONE),
        "supply_kpa": ValueNow(value=None, quality=Quality.BAD, reason=Reason.NO_REPLY),
        "pins_in": ValueNow(value=1.0, quality=Quality.GOOD, reason=Reason.NONE),
    },
    not_fitted=("probe_c", "cutout_ok"),
    outputs=OutputsNow(
        heat_permit=False,
        horn=Horn.STAND_CLEAR,
        beacon_red=True,
        beacon_amber=False,
        release_permit=False,
    ),
    alarms=(
        AlarmNow(
            tag=BURST.tag,
            state="trip",
            since="2026-11-25T09:12:02.000Z",
            said=BURST.said,
            text=BURST.text,
            order=1,
            seen_by="Ada",
            going_by=None,
            quiet_until=None,
            life=Life.SEEN,
            priority=_BURST.row.priority,
        ),
    ),
    hold_s=1225.0,
    hold_min=150.0,
    heat_off_expected_at=None,
    polls_late=2,
    polls_missed=0,
    store_ok=True,
    over_unseen=(
        OverNow(
            tag="bag.low",
            worst="warn",
            since="2026-11-25T09:11:40.000Z",
            over="2026-11-25T09:11:58.000Z",
            said="inner air 179.0 kPa, limit 180",
        ),
    ),
    out_of_service=(
        OutOfServiceNow(
            tag="pad.mismatch",
            who="Ada",
            via="mqtt",
            why="lead on order",
            since="2026-11-24T15:03:20.000Z",
            until="2026-12-01T15:03:20.000Z",
        ),
    ),
)
ALARM = AlarmMessage(
    message_id="workshop.bay-2.18722.0.69b52a4e.alarm",
    site=SITE,
    rig=RIG,
    run=14,
    tag=BURST.tag,
    state="trip",
    at="2026-11-25T09:12:02.000Z",
    said=BURST.said,
    text=BURST.text,
    order=1,
    page=BURST.page,
    life=Life.UNSEEN,
    priority=_BURST.row.priority,
)
ALARM_LIFE = AlarmLifeMessage(
    message_id="workshop.bay-2.18731.0.69b52a57.life",
    site=SITE,
    rig=RIG,
    run=14,
    at="2026-11-25T09:12:11.000Z",
    tag=BURST.tag,
    change=Happening.SEEN,
    life=Life.SEEN,
    who="Ada",
    via="mqtt",
)
_WHY = "Ada has seen it, nobody is going"
_ESCALATED = escalated_told(replace(_TELLING, wall_ns=AT_NS + 300 * 10**9), _BURST, _WHY)
ESCALATION = EscalationMessage(
    message_id="workshop.bay-2.19022.0.69b52b7a.escalation",
    site=SITE,
    rig=RIG,
    run=14,
    at="2026-11-25T09:17:02.000Z",
    tag=BURST.tag,
    step=1,
    why=_WHY,
    text=_ESCALATED.short,
    page=_ESCALATED.page,
)
_NOISE = nuisance_told(
    _TELLING, "chattering", BY_TAG["bag.low"].row, "5 times in 1 min", begun=True
)
NUISANCE = NuisanceMessage(
    message_id="workshop.bay-2.18722.1.69b52a4e.nuisance",
    site=SITE,
    rig=RIG,
    run=14,
    at="2026-11-25T09:12:02.000Z",
    kind="chattering",
    state="begun",
    tag="bag.low",
    why="5 times in 1 min",
    text=_NOISE.short,
    page=_NOISE.page,
)
EVENT = EventMessage(
    message_id="workshop.bay-2.18722.0.69b52a4e",
    site=SITE,
    rig=RIG,
    run=14,
    seq=18722,
    n=0,
    at="2026-11-25T09:12:02.000Z",
    event=as_dict(BURST),
)
RUN = RunMessage(
    message_id="workshop.bay-2.30411.2.69b55846.run",
    site=SITE,
    rig=RIG,
    run=14,
    closed_at="2026-11-25T12:26:51.000Z",
    outcome="aborted",
    hold_s=1225.0,
    peak_c=141.3,
)
COMMAND = CommandMessage(
    id="phone-7-0031",
    verb="quiet",
    who="Ada",
    tag=BURST.tag,
    minutes=10.0,
    text="standing clear, air is being shut",
)
ANSWER = AnswerMessage(id="phone-7-0031", accepted=True, answer="quiet: bag.burst")
DAEMON = DaemonMessage(site=SITE, state="online", at="2026-11-25T05:58:12.000Z", why="watching")

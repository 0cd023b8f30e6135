"""One invented message of each kind, for the documentation. No real workshop or person."""

from daemon.notify.messages import (
    AlarmMessage,
    AlarmNow,
    AnswerMessage,
    CommandMessage,
    DaemonMessage,
    EventMessage,
    OutputsNow,
    RunMessage,
    StateMessage,
    ValueNow,
)
from rules.events import AlarmChanged, Horn, as_dict
from rules.frame import Quality, Reason
from rules.phases import Phase

SITE = "workshop"
RIG = "bay-2"
BURST = AlarmChanged(
    tag="bag.burst",
    state="trip",
    said="inner air -42 kPa in 3 s",
    text="BAY 2 GO NOW 09:12. HEAT CUT. STAND CLEAR. Inner air -42 kPa in 3 s.",
    order=1,
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
        ),
    ),
    hold_s=1225.0,
    hold_min=150.0,
    heat_off_expected_at=None,
    polls_late=2,
    polls_missed=0,
    store_ok=True,
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

"""Every message as a documented model; `docs/mqtt.md` is generated from these.

Times are RFC 3339 in UTC with milliseconds. A receiver ignores fields it does
not know: fields may be added within one schema version, never changed.
"""

from datetime import UTC, datetime, timedelta
from typing import Annotated, Literal

from pydantic import BaseModel, Field, StringConstraints

from rules.alarms import OUT_OF_SERVICE_H_MAX, QUIET_MIN_MAX
from rules.commands import NOTE_CHARACTERS_MAX
from rules.events import Horn, JsonScalar
from rules.facts import STRICT
from rules.frame import Quality, Reason
from rules.hazards.base import Priority
from rules.lifecycle import Happening, Life
from rules.phases import Phase

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

UtcText = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$")]
# One line of plain text: no control characters, which could drive a terminal or split a log.
Line = Annotated[str, StringConstraints(pattern=r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029]*$")]
AlarmState = Literal["warn", "trip", "clear"]
Permit = Literal["withheld", "granted", "withdrawn", "latched", "watch_only"]
Verb = Literal["seen", "going", "quiet", "note", "out_of_service", "in_service"]


def utc_text(wall_ns: int) -> str:
    """RFC 3339 in UTC, milliseconds, cut off and not rounded.

    Args:
        wall_ns: wall time since 1970, ns.
    """
    at = EPOCH + timedelta(milliseconds=wall_ns // 1_000_000)
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


class Message(BaseModel):
    """What all messages have in common."""

    model_config = STRICT

    schema_version: Literal[1] = Field(
        default=1, description="version of this schema, also the second level of the topic"
    )


class ValueNow(BaseModel):
    """One channel as last read."""

    model_config = STRICT

    value: float | None = Field(
        description="in the unit at the end of the channel's name; a switch is 0 or 1; null when "
        "nothing usable was read, never the last good value"
    )
    quality: Quality = Field(description="how far it may be trusted")
    reason: Reason = Field(description="why not, when it may not; empty when good")


class OutputsNow(BaseModel):
    """What the rules want the rig's outputs to be."""

    model_config = STRICT

    heat_permit: bool = Field(
        description="heat may be on; an open permit is no protection for work on the supply"
    )
    horn: Horn = Field(description="pattern being sounded")
    beacon_red: bool = Field(description="a trip stands")
    beacon_amber: bool = Field(description="something wants a person")
    release_permit: bool = Field(description="the release lamp; a lamp, never an interlock")


class AlarmNow(BaseModel):
    """One alarm that stands."""

    model_config = STRICT

    tag: str = Field(description="the hazard, see alarms.md")
    state: AlarmState = Field(description="how bad")
    since: UtcText = Field(description="when it began")
    said: str = Field(description="what was seen, with figures and units")
    text: str = Field(description="the whole message for a person")
    order: int = Field(ge=0, description="place in the order in which they began, from 1")
    follows: str = Field(
        default="", description="the standing trip that brought it and says what to do, or empty"
    )
    seen_by: str | None = Field(description="who said `seen` (asserted); null: nobody")
    going_by: str | None = Field(description="who said `going` (asserted); null: nobody")
    quiet_until: UtcText | None = Field(description="horn kept quiet until then; null: not quiet")
    life: Life = Field(
        default=Life.UNSEEN, description="where it is in its lifecycle, see alarms.md"
    )
    priority: Priority = Field(
        default=Priority.HIGH, description="by consequence and time to respond; a trip is high"
    )
    told: bool = Field(default=True, description="false: recorded only, nobody has been told of it")
    quiet_why: str = Field(default="", description="the reason given for quiet")
    attended: bool = Field(
        default=False, description="somebody pressed a button at the rig since it last worsened"
    )
    escalated: int = Field(default=0, ge=0, description="how far it has escalated; 0: not")
    comes_and_goes: bool = Field(
        default=False, description="true: it comes and goes, and is held until it stays away"
    )


class OverNow(BaseModel):
    """One alarm that is over and that nobody has seen."""

    model_config = STRICT

    tag: str = Field(description="the hazard, see alarms.md")
    worst: AlarmState = Field(description="the worst it came to")
    since: UtcText = Field(description="when it began")
    over: UtcText = Field(description="when it ended")
    said: str = Field(description="what was seen, with figures and units")


class OutOfServiceNow(BaseModel):
    """One alarm that somebody took out of service; a trip of it speaks all the same."""

    model_config = STRICT

    tag: str = Field(description="the hazard, see alarms.md")
    who: str = Field(description="who took it out of service (asserted)")
    via: str = Field(description="how that came")
    why: str = Field(description="the reason given")
    since: UtcText = Field(description="since when")
    until: UtcText = Field(description="when it comes back by itself")


class StateMessage(Message):
    """What a rig is doing now. Sent at most once per frame; the newest wins, none is queued."""

    site: str = Field(description="name of the site")
    rig: str = Field(description="name of the rig, as in the topic")
    title: str = Field(description="the rig's name for people")
    at: UtcText = Field(description="time of the frame")
    seq: int = Field(description="count of frames of this rig, rising across restarts")
    pretend: bool = Field(description="a simulated rig: nothing is heated")
    watch_only: bool = Field(description="no permit relay or start button: this cannot cut heat")
    run: int | None = Field(description="number of the open run on this rig; null between runs")
    phase: Phase = Field(description="where the rig is in the work")
    phase_title: str = Field(description="the phase in people's words")
    phase_since: UtcText = Field(description="when the phase began")
    history_known: bool = Field(description="false: the run was not seen from its start")
    permit: Permit = Field(description="state of the heat permit")
    permit_why: str = Field(description="why it is in that state")
    values: dict[str, ValueNow] = Field(description="each fitted channel as last read, by name")
    not_fitted: tuple[str, ...] = Field(description="channels not fitted, hence not judged")
    outputs: OutputsNow = Field(description="the rig's outputs as ordered")
    alarms: tuple[AlarmNow, ...] = Field(description="every alarm that stands, by `order`")
    hold_s: float = Field(description="hold clock, s")
    hold_min: float | None = Field(description="the data sheet's hold, min; null: not set")
    heat_off_expected_at: UtcText | None = Field(
        description="when the hold is expected to end; null: not known"
    )
    polls_late: int = Field(description="frames made late since the daemon started, count")
    polls_missed: int = Field(description="frame times skipped since the daemon started, count")
    store_ok: bool = Field(description="the last write of the record succeeded")
    over_unseen: tuple[OverNow, ...] = Field(
        default=(), description="every alarm that is over and was not seen, oldest first"
    )
    out_of_service: tuple[OutOfServiceNow, ...] = Field(
        default=(), description="every alarm that is out of service, standing or not"
    )
    flood: bool = Field(
        default=False, description="so many alarms at once that only the first are told"
    )
    tonight: tuple[str, ...] = Field(
        default=(), description="what will happen if it is started now, said before the start"
    )


class Happened(Message):
    """What all messages about one event of a rig have in common."""

    message_id: str = Field(description="unique; drop a second copy")
    site: str = Field(description="name of the site")
    rig: str = Field(description="name of the rig")
    run: int | None = Field(description="number of the run on this rig; null between runs")
    at: UtcText = Field(description="time of the frame that led to it")
    unstored: bool = Field(
        default=False, description="true: the store failed, the record may lack this"
    )


class AlarmMessage(Happened):
    """One hazard of one rig: appeared, changed its level or ended.

    The end is sent and retained too, so that someone who subscribes later
    sees that it ended.
    """

    tag: str = Field(description="the hazard, see alarms.md")
    state: AlarmState = Field(description="how bad; `clear`: it ended")
    said: str = Field(description="what was seen, with figures and units")
    text: str = Field(description="the whole message for a person: rig, urgency, what, air")
    order: int = Field(ge=0, description="place in the order in which they began, from 1; 0: clear")
    follows: str = Field(
        default="", description="the standing trip that brought it and says what to do, or empty"
    )
    page: str = Field(default="", description="the fuller form of `text`, some ten lines")
    life: Life | Literal[""] = Field(
        default="",
        description="where it then was in its lifecycle, see alarms.md; later changes are in "
        "*Alarm life*; empty in older records",
    )
    priority: Priority | Literal[""] = Field(
        default="", description="by consequence and time to respond; empty in older records"
    )
    told: bool = Field(
        default=True,
        description="false: recorded only, nobody need be told: suppressed by design, out of "
        "service, part of another's message, held back in a flood, or coming and going",
    )


class AlarmLifeMessage(Happened):
    """An alarm's lifecycle went on without a change of level: seen, going, quiet and so on.

    Retained beside the alarm itself; the newer of the two says where it is now.
    """

    tag: str = Field(description="the hazard, see alarms.md")
    change: Happening = Field(description="what happened")
    life: Life = Field(description="where it is then")
    who: str = Field(default="", description="who did it (asserted); empty: it came by itself")
    via: str = Field(default="", description="how that came: `mqtt`, `socket` or a button")
    why: str = Field(default="", description="the reason given, or why it came by itself")
    until: UtcText | None = Field(
        default=None, description="when it ends by itself; null: it does not"
    )
    text: str = Field(default="", description="message for a person; empty: nobody need be told")
    page: str = Field(default="", description="the fuller form of `text`")


class EscalationMessage(Happened):
    """Nobody came for an alarm: tell more people. Each step is sent once."""

    tag: str = Field(description="the hazard, see alarms.md")
    step: int = Field(ge=1, description="each step reaches further")
    why: str = Field(description="who has not come, in words")
    text: str = Field(description="the whole message for a person, at most 160 basic characters")
    page: str = Field(default="", description="the fuller form of `text`")


class NuisanceMessage(Happened):
    """An alarm has become noise, or is none any more: for whoever keeps the rig in order."""

    kind: Literal["chattering", "stale", "flood"] = Field(
        description="`chattering`: comes and goes; `stale`: stands for over a day; `flood`: too "
        "many at once"
    )
    state: Literal["begun", "ended"] = Field(description="it has begun, or is over")
    tag: str = Field(description="the hazard; empty for a flood")
    why: str = Field(description="with figures")
    text: str = Field(default="", description="message for a person; empty: nobody need be told")
    page: str = Field(default="", description="the fuller form of `text`")


class EventMessage(Happened):
    """One event of the run record."""

    seq: int = Field(description="the frame that led to it")
    n: int = Field(ge=0, description="place among the events of that frame, from 0")
    event: dict[str, JsonScalar] = Field(
        description="the event: its name under `event`, then its fields, units in their names"
    )


class RunMessage(Message):
    """The sum of a run, sent when it closes."""

    message_id: str = Field(description="unique; drop a second copy")
    site: str = Field(description="name of the site")
    rig: str = Field(description="name of the rig")
    run: int = Field(description="number of the run on this rig")
    closed_at: UtcText = Field(description="time of the frame that closed it")
    outcome: str = Field(description="`done`, `aborted` or `given_up`")
    hold_s: float = Field(description="hold clock at the end, s")
    peak_c: float | None = Field(description="hottest good pad reading, °C; null: none was good")
    unstored: bool = Field(
        default=False, description="true: the store failed, the record may lack this run's end"
    )


class CommandMessage(Message):
    """What a person asks for.

    Start, reset and presence are not among the verbs and never will be: those
    come only from the buttons at the rig.
    """

    id: str = Field(
        pattern=r"^[A-Za-z0-9._:-]{1,64}$",
        description="made by the sender, unique, 1 to 64 letters, digits and . _ : -; "
        "the same id twice is carried out once",
    )
    verb: Verb = Field(
        description="`seen`: I know of it; `going`: I am on my way; `quiet`: keep the horn quiet "
        "for some minutes; `note`: write this into the record; `out_of_service`: tell nobody of "
        "this alarm's warnings until `in_service`, its trips speak and cut heat all the same"
    )
    who: Line = Field(
        min_length=1, max_length=40, description="name of the person; taken as asserted"
    )
    tag: str = Field(
        default="",
        max_length=64,
        pattern=r"^([a-z_]+(\.[a-z_]+)+)?$",
        description="the alarm it is about; empty: every alarm that stands, but not with "
        "`out_of_service` and `in_service`",
    )
    minutes: float = Field(
        default=0.0,
        ge=0,
        le=OUT_OF_SERVICE_H_MAX * 60,
        description=f"for `quiet`: how long, min, up to {QUIET_MIN_MAX:.0f}; for `out_of_service`: "
        f"how long, min, up to {OUT_OF_SERVICE_H_MAX * 60:.0f}, 0 for as long as is allowed",
    )
    text: Line = Field(
        default="",
        max_length=NOTE_CHARACTERS_MAX,
        description="for `note` the note, for `quiet` and `out_of_service` the reason; one line, "
        "up to 500 characters",
    )


class AnswerMessage(Message):
    """What became of a command."""

    id: str = Field(description="id of the command; empty when it could not be read")
    accepted: bool = Field(description="it was carried out")
    answer: str = Field(description="what was done, or why not and what to do instead")


class DaemonMessage(Message):
    """Whether the daemon is there."""

    site: str = Field(description="name of the site")
    state: Literal["online", "offline", "stopping"] = Field(
        description="`stopping`: being stopped, heat is withdrawn; `offline`: rigs are not watched"
    )
    at: UtcText = Field(
        description="when the daemon wrote it; an `offline` sent by the broker as last will was "
        "written when the lost connection began"
    )
    why: str = Field(description="in words")

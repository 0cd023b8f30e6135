"""What comes out: outputs for the rig, and events in a stated order.

Every event is a small frozen class whose `event` names it in stores, traces
and messages. `as_dict` gives the JSON form; keys are stable and documented in
`docs/replay.md`.
"""

from dataclasses import dataclass, fields
from enum import IntEnum, StrEnum
from typing import ClassVar


class Level(IntEnum):
    """How bad a hazard's finding is; order matters."""

    CLEAR = 0
    PROMPT = 1
    WARN = 2
    TRIP = 3


class Horn(StrEnum):
    """The three horn patterns, weakest first, and silence."""

    SILENT = "silent"
    COME_WHEN_YOU_CAN = "short_chirp"
    COME_NOW = "long_with_gaps"
    STAND_CLEAR = "continuous_fast"


HORN_ORDER = (Horn.SILENT, Horn.COME_WHEN_YOU_CAN, Horn.COME_NOW, Horn.STAND_CLEAR)


@dataclass(frozen=True, slots=True)
class Outputs:
    """What the rules want the rig's outputs to be after this frame.

    Attributes:
        heat_permit: heat may be on. Taking it away is done at once; granting
            it only after the frame that decided it is committed.
        horn: the pattern to sound.
        beacon_red: a trip stands.
        beacon_amber: something wants a person.
        release_permit: the release lamp; a lamp, never an interlock.
    """

    heat_permit: bool = False
    horn: Horn = Horn.SILENT
    beacon_red: bool = False
    beacon_amber: bool = False
    release_permit: bool = False


@dataclass(frozen=True, slots=True)
class RunOpened:
    """A run began.

    Attributes:
        run: number of the run on this rig, from 1.
        why: what opened it.
    """

    event: ClassVar[str] = "run_opened"
    run: int
    why: str


@dataclass(frozen=True, slots=True)
class RunClosed:
    """A run ended.

    Attributes:
        run: number of the run on this rig.
        outcome: `done`, `aborted` or `given_up`.
        hold_s: hold clock at the end, s.
        peak_c: hottest pad reading of the run, °C; None if none was good.
    """

    event: ClassVar[str] = "run_closed"
    run: int
    outcome: str
    hold_s: float
    peak_c: float | None


@dataclass(frozen=True, slots=True)
class PhaseChanged:
    """The rig entered a phase.

    Attributes:
        phase: the phase entered.
        was: the phase left.
        why: the row of the phase table that matched, in words.
        history_known: False when the daemon did not see how it came here.
    """

    event: ClassVar[str] = "phase"
    phase: str
    was: str
    why: str
    history_known: bool = True


@dataclass(frozen=True, slots=True)
class AlarmChanged:
    """An alarm appeared, changed its level or cleared.

    Attributes:
        tag: the hazard.
        state: `warn`, `trip` or `clear`.
        said: what was seen, with figures and units.
        text: the whole message for a person: rig, urgency, what, since, air.
        order: place in the started-with order of the alarms now standing,
            from 1; 0 when clear.
        follows: the standing alarm that brought this one with it and whose
            message says what to do; empty when it speaks for itself.
        page: the fuller form of `text`, for a page or a mail.
        life: where the alarm then is in its lifecycle, a word of
            `rules.lifecycle.Life`.
        priority: `high`, `medium` or `low`.
        told: it is to be told as a message of its own. False when it is only
            recorded: suppressed by design, out of service, part of the message
            of what it follows, held back in a flood, or coming and going.
    """

    event: ClassVar[str] = "alarm"
    tag: str
    state: str
    said: str
    text: str
    order: int
    follows: str = ""
    page: str = ""
    life: str = ""
    priority: str = ""
    told: bool = True


@dataclass(frozen=True, slots=True)
class AlarmLife:
    """An alarm's lifecycle went on without a change of level.

    Attributes:
        tag: the hazard.
        change: what happened, a word of `rules.lifecycle.Happening`.
        life: where the alarm is then, a word of `rules.lifecycle.Life`.
        who: asserted name of whoever did it; empty when it came by itself.
        via: how that came; empty when it came by itself.
        why: the reason given, or why it came by itself.
        until_ns: wall time since 1970 at which it ends by itself, ns, or 0.
        text: the message for a person; empty when nobody need be told.
        page: the fuller form of `text`.
    """

    event: ClassVar[str] = "alarm_life"
    tag: str
    change: str
    life: str
    who: str = ""
    via: str = ""
    why: str = ""
    until_ns: int = 0
    text: str = ""
    page: str = ""


@dataclass(frozen=True, slots=True)
class Escalated:
    """Nobody came for an alarm, so more people are told; each step once.

    Attributes:
        tag: the hazard.
        step: 1, 2 or 3; each reaches further.
        why: in words: nobody has seen it, or nobody has come.
        text: the message for a person.
        page: the fuller form of `text`.
    """

    event: ClassVar[str] = "escalated"
    tag: str
    step: int
    why: str
    text: str
    page: str = ""


@dataclass(frozen=True, slots=True)
class Nuisance:
    """Alarms have become a nuisance, or are none any more.

    Attributes:
        kind: `chattering`, `stale` or `flood`.
        state: `begun` or `ended`.
        tag: the hazard; empty for a flood.
        why: with figures.
        text: the message for a person; empty when nobody need be told.
        page: the fuller form of `text`.
    """

    event: ClassVar[str] = "nuisance"
    kind: str
    state: str
    tag: str
    why: str
    text: str = ""
    page: str = ""


@dataclass(frozen=True, slots=True)
class Prompted:
    """Someone at the rig is asked for something; a prompt is no alarm."""

    event: ClassVar[str] = "prompt"
    tag: str
    said: str
    text: str
    page: str = ""


@dataclass(frozen=True, slots=True)
class PermitChanged:
    """The heat permit changed its state.

    Attributes:
        permit: `withheld`, `granted`, `withdrawn`, `latched` or `watch_only`.
        why: in words.
        tag: the hazard that took heat away, or empty.
    """

    event: ClassVar[str] = "permit"
    permit: str
    why: str
    tag: str = ""


@dataclass(frozen=True, slots=True)
class Pressed:
    """A wired button was pressed. A button knows no name.

    Attributes:
        button: the channel.
        did: what the press did, or why it did nothing.
    """

    event: ClassVar[str] = "pressed"
    button: str
    did: str


@dataclass(frozen=True, slots=True)
class Interrupted:
    """Frames are missing: the daemon, the power or the trace had a gap.

    Attributes:
        gap_s: length, s.
        same_boot: the computer stayed up meanwhile.
    """

    event: ClassVar[str] = "interrupted"
    gap_s: float
    same_boot: bool


@dataclass(frozen=True, slots=True)
class LimitsChanged:
    """From this frame on other limits are in force than on the frame before.

    Attributes:
        limits_hash: SHA-256 of the new limits, hexadecimal.
    """

    event: ClassVar[str] = "limits"
    limits_hash: str


@dataclass(frozen=True, slots=True)
class CommandAnswered:
    """A command was carried out or refused.

    Attributes:
        id: of the command.
        verb: of the command.
        who: asserted name.
        via: how it came.
        tag: the alarm it was about, or empty.
        accepted: it was carried out.
        answer: what was done, or why not and what to do instead.
        note: the person's own words, if any.
    """

    event: ClassVar[str] = "command"
    id: str
    verb: str
    who: str
    via: str
    tag: str
    accepted: bool
    answer: str
    note: str = ""


Event = (
    RunOpened
    | RunClosed
    | PhaseChanged
    | AlarmChanged
    | AlarmLife
    | Escalated
    | Nuisance
    | Prompted
    | PermitChanged
    | Pressed
    | Interrupted
    | LimitsChanged
    | CommandAnswered
)

EVENT_TYPES: dict[str, type[Event]] = {
    kind.event: kind
    for kind in (
        RunOpened,
        RunClosed,
        PhaseChanged,
        AlarmChanged,
        AlarmLife,
        Escalated,
        Nuisance,
        Prompted,
        PermitChanged,
        Pressed,
        Interrupted,
        LimitsChanged,
        CommandAnswered,
    )
}

JsonScalar = str | int | float | bool | None


@dataclass(frozen=True, slots=True)
class Decision:
    """What one frame led to.

    Attributes:
        outputs: what the rig's outputs should be now.
        events: in the order in which they are to be told: gap, limits, run opened,
            phase, commands and what each changed, what is back in service, the end
            of a flood, alarms and prompts in started-with order, what is stale,
            escalates or comes back, what lapses, presses, permit, a run opened by a
            press, run closed, what is to come.
        run: number of the run this frame belongs to, or 0 between runs. The
            frame that closes a run still belongs to it.
    """

    outputs: Outputs
    events: tuple[Event, ...] = ()
    run: int = 0


def as_dict(event: Event) -> dict[str, JsonScalar]:
    """The JSON form of an event: its name under `event`, then its fields.

    Source:
        Own format; RFC 8259.
    """
    body: dict[str, JsonScalar] = {"event": event.event}
    for item in fields(event):
        body[item.name] = getattr(event, item.name)
    return body


def from_dict(body: dict[str, JsonScalar]) -> Event:
    """The event whose `as_dict` is `body`.

    Raises:
        ValueError: `body` names no event or lacks a field.

    Source:
        Own format; RFC 8259.
    """
    kind = EVENT_TYPES.get(str(body.get("event")))
    if kind is None:
        raise ValueError(f"no such event: {body.get('event')!r}")
    try:
        return kind(**{key: value for key, value in body.items() if key != "event"})  # type: ignore[arg-type]  # checked by the round-trip property test
    except TypeError as error:
        raise ValueError(f"{kind.event}: {error}") from error

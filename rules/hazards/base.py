"""What every hazard file is made of: its row for the alarm table, and findings.

A hazard is one module in this package with, in order: the docstring that is
its manual page; a frozen pydantic `Limits`; a frozen slotted dataclass
`Memory` that can be built without arguments; `ROW`; and the pure function
`judge(limits, memory, view) -> (memory, finding)`. Beside it stands
`<module>.cases.toml`. Nothing is registered anywhere else.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from rules.events import Horn, Level
from rules.phases import Phase


class Urgency(StrEnum):
    """How soon a person must come; the second word of every message."""

    GO_NOW = "GO NOW"
    GO_BY = "GO BY"
    MORNING = "MORNING WILL DO"


class Priority(StrEnum):
    """Priority by consequence and time to respond (IEC 62682 / ISA-18.2)."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


@dataclass(frozen=True, slots=True)
class Row:
    """A hazard's row in the alarm table.

    Attributes:
        tag: the hazard's name, dotted.
        title: what it is, for people, in a few plain words.
        consequence: what happens if nobody acts.
        priority: by consequence and time to respond.
        warn_do: what to do on a warning, beginning with the air where the air
            matters; empty when the hazard never warns.
        trip_do: what to do on a trip, beginning with what to do with the air,
            for instance "KEEP AIR ON. Do not open."; empty when it never
            trips.
        warn_urgency: how soon, on a warning.
        trip_urgency: how soon, on a trip.
        warn_horn: horn on a warning.
        trip_horn: horn on a trip.
        follows: hazards that bring this one with them; begun soon after one of
            them and no worse, it is told in its message; see `rules.following`.
        told_with: hazards that may show the same trouble sooner. Which of them comes
            first is chance, so that it is told in the message of one of these if
            that has been told, or is worse; see `rules.following`.
        causes: likely causes, the likeliest first, each a few plain words.
        time_available: how long a person has, in words, from which the priority
            follows: "minutes: the rubber blows at 160 C".
        rescue: whether the repair can still be saved, a few words for the message:
            "Repair safe while air stays up."; empty where that is no question.
        silent_in: phases in which a warning is suppressed by design, each with
            the reason: it is recorded and says nothing. A trip always speaks.
    """

    tag: str
    title: str
    consequence: str
    priority: Priority
    warn_do: str
    trip_do: str
    warn_urgency: Urgency = Urgency.GO_NOW
    trip_urgency: Urgency = Urgency.GO_NOW
    warn_horn: Horn = Horn.COME_WHEN_YOU_CAN
    trip_horn: Horn = Horn.COME_NOW
    follows: tuple[str, ...] = ()
    told_with: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    time_available: str = ""
    rescue: str = ""
    silent_in: Mapping[Phase, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Finding:
    """What a hazard says of one frame.

    Attributes:
        level: how bad.
        said: what was seen, short, with figures and units, for a person:
            "inner air -42 kPa in 3 s". Kept as it was when the level rose.
        horn: a horn pattern other than the row's for this level, or None.
        judged: False when no channel it needs is fitted or good.
        go_by_s: from now, by when a person must be there, s; for GO BY hh:mm.
        save_s: from now, until when the repair can still be saved, s; 0: no more;
            None: not known.
    """

    level: Level = Level.CLEAR
    said: str = ""
    horn: Horn | None = None
    judged: bool = True
    go_by_s: float | None = None
    save_s: float | None = None


CLEAR = Finding()
NOT_JUDGED = Finding(judged=False)

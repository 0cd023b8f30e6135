"""What is known of the alarms of one rig: what is found, what stands, what is over unseen.

`found` is what the hazards find now. Nothing that people do, and nothing that
is done against nuisance, touches it: heat is decided by it alone. `standing` is
what people are told of; it can outlast what is found while an alarm comes and
goes.

Source:
    This project's design; IEC 62682 / ISA-18.2 for the lifecycle, EEMUA 191 for
    the rates.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.hazards import BY_TAG
from rules.hazards.base import Priority, Urgency
from rules.lifecycle import Happening, Life, after
from rules.phases import Phase

QUIET_MIN_MAX = 60.0
OUT_OF_SERVICE_H_MAX = 168.0
# Later than any time a rig can run; a number, so that it survives JSON.
NEVER = 2**63 - 1


class AlarmLimits(BaseModel):
    """Figures of the alarms' lifecycle.

    Attributes:
        high_again_min: an alarm of high priority, or a trip, that nobody has seen
            comes back after this; each time it takes twice as long.
        medium_again_min: the same for medium priority.
        low_again_min: the same for low priority.
        seen_again_factor: so many times longer once it has been seen.
        again_min_max: never longer than this.
        trip_unseen_min: a trip with GO NOW escalates when nobody has seen it.
        high_unseen_min: an alarm of high priority does.
        seen_only_min: an urgent one that has been seen escalates when nobody
            has pressed at the rig.
        going_min: so does any for which somebody said *going*.
        quiet_min_max: longest *quiet for a while*.
        out_of_service_h_max: longest time out of service.
        over_kept_h: how long what is over and was not seen stays in the list.
        stand_clear_again_s: after a press at the rig, stand clear sounds again.
        chatter_falls: coming and going so often
        chatter_s: within this is chattering;
        settle_s: it then stands until it has stayed away for so long.
        stale_h: what stands longer is stale.
        flood_alarms: more new alarms than this
        flood_min: within this are a flood;
        flood_ends_alarms: it ends with fewer than this.
        follow_min: what starts so soon after what brings it is told with it.

    Source:
        Rates: EEMUA 191, IEC 62682 / ISA-18.2; end of a flood from memory. The
        other figures: common practice, no source.
    """

    model_config = STRICT

    high_again_min: float = Field(default=5.0, ge=1, le=60)
    medium_again_min: float = Field(default=15.0, ge=1, le=240)
    low_again_min: float = Field(default=60.0, ge=1, le=1440)
    seen_again_factor: float = Field(default=4.0, ge=1, le=10)
    again_min_max: float = Field(default=240.0, ge=5, le=1440)
    trip_unseen_min: float = Field(default=5.0, ge=1, le=30)
    high_unseen_min: float = Field(default=10.0, ge=1, le=60)
    seen_only_min: float = Field(default=30.0, ge=5, le=120)
    going_min: float = Field(default=15.0, ge=5, le=60)
    quiet_min_max: float = Field(default=QUIET_MIN_MAX, gt=0, le=QUIET_MIN_MAX)
    out_of_service_h_max: float = Field(default=OUT_OF_SERVICE_H_MAX, gt=0, le=OUT_OF_SERVICE_H_MAX)
    over_kept_h: float = Field(default=24.0, ge=1, le=168)
    stand_clear_again_s: float = Field(default=120.0, ge=30, le=120)
    chatter_falls: int = Field(default=3, ge=2, le=10)
    chatter_s: float = Field(default=60.0, ge=10, le=600)
    settle_s: float = Field(default=300.0, ge=60, le=3600)
    stale_h: float = Field(default=24.0, ge=1, le=168)
    flood_alarms: int = Field(default=10, ge=5, le=50)
    flood_min: float = Field(default=10.0, ge=1, le=60)
    flood_ends_alarms: int = Field(default=5, ge=1, le=50)
    follow_min: float = Field(default=30.0, ge=0, le=60)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "high_again_min", "medium_again_min", "low_again_min")
        must_rise(self, "flood_ends_alarms", "flood_alarms")
        return self

    def again_min(self, priority: Priority) -> float:
        """How long until an alarm nobody has seen comes back for the first time, min.

        Source:
            Common practice, no source.
        """
        return {
            Priority.HIGH: self.high_again_min,
            Priority.MEDIUM: self.medium_again_min,
            Priority.LOW: self.low_again_min,
        }[priority]


@dataclass(frozen=True, slots=True)
class Standing:
    """One alarm or prompt that people are told of.

    Times are process time in ns, and `NEVER` where nothing is due; those with `wall`
    are ns since 1970.

    Attributes:
        tag: the hazard.
        level: prompt, warn or trip.
        since_ns: when it began.
        since_wall_ns: the same by the wall clock.
        order: place in the started-with order, from 1 whenever nothing stood before.
        said: what was seen when the level last changed.
        text: the message then made.
        horn: pattern asked for now.
        follows: the alarm whose message covers this one, or empty.
        seen_by: who said *seen*, or empty.
        going_by: who said *going*, or empty.
        quiet_until_ns: when *quiet* ends; counts in `Life.QUIET` only.
        quiet_at_rig_ns: until when a press at the rig keeps its horn silent,
        stand_clear_ns: and until when it keeps stand clear silent.
        page: the fuller form of `text`.
        life: where it is in its lifecycle; a prompt has none and is normal.
        worst: the worst level since it began.
        rose_ns: when its level last rose.
        told: people have been told of it at this level.
        quiet_why: the reason given for *quiet*.
        attended: somebody pressed at the rig since its level last rose.
        again_ns: when it comes back.
        again_times: how often it has since it was last told anew.
        escalate_ns: when it next escalates.
        steps: how far it has escalated.
        held: it comes and goes, and stands meanwhile.
        settle_ns: held, and away: when it will have been away for long enough.
        stale_ns: when it becomes stale.
    """

    tag: str
    level: Level
    since_ns: int
    since_wall_ns: int
    order: int
    said: str
    text: str
    horn: Horn = Horn.SILENT
    follows: str = ""
    seen_by: str = ""
    going_by: str = ""
    quiet_until_ns: int = NEVER
    quiet_at_rig_ns: int = 0
    stand_clear_ns: int = 0
    page: str = ""
    life: Life = Life.NORMAL
    worst: Level = Level.CLEAR
    rose_ns: int = 0
    told: bool = False
    quiet_why: str = ""
    attended: bool = False
    again_ns: int = NEVER
    again_times: int = 0
    escalate_ns: int = NEVER
    steps: int = 0
    held: bool = False
    settle_ns: int = NEVER
    stale_ns: int = NEVER

    @property
    def urgency(self) -> Urgency:
        """How soon a person must come; what has been a trip is one until it is over.

        Source:
            Own method.
        """
        row = BY_TAG[self.tag].row
        return row.trip_urgency if self.worst is Level.TRIP else row.warn_urgency

    @property
    def priority(self) -> Priority:
        """How pressing it is: its row's, but what has been a trip is high until it is over.

        Source:
            Own method.
        """
        return Priority.HIGH if self.worst is Level.TRIP else BY_TAG[self.tag].row.priority


@dataclass(frozen=True, slots=True)
class Over:
    """An alarm that is over and that nobody has seen.

    Attributes:
        tag: the hazard.
        level: the worst it came to.
        since_wall_ns: wall time at which it began, ns since 1970.
        over_wall_ns: wall time at which it ended, ns since 1970.
        said: what was seen.
        text: the message that it is over.
        lapse_ns: process time at which it leaves the list by itself, ns.
    """

    tag: str
    level: Level
    since_wall_ns: int
    over_wall_ns: int
    said: str
    text: str
    lapse_ns: int


@dataclass(frozen=True, slots=True)
class OutOfService:
    """A hazard whose warnings somebody has taken out of service.

    Attributes:
        tag: the hazard.
        who: asserted name.
        via: how it came.
        why: the reason given.
        since_wall_ns: wall time since which, ns since 1970.
        until_ns: process time at which it comes back by itself, ns.
    """

    tag: str
    who: str
    via: str
    why: str
    since_wall_ns: int
    until_ns: int


@dataclass(frozen=True, slots=True)
class Alarms:
    """All alarms of a rig.

    Attributes:
        standing: what people are told of, in started-with order.
        started: how many have started so far, for the order.
        found: what the hazards find now, tag and level, in started-with order.
        heard: the findings of the newest frame, in hazard order, as far as a
            change of them matters.
        phase: in the frame in which something last changed; idle when nothing stands.
        over: what is over and was not seen, oldest first.
        out: what is out of service.
        sounding: the horn pattern to sound.
        next_ns: process time before which nothing changes by itself, ns.
        falls: process times at which alarms lately went, by tag, ns.
        raised_ns: process times of the newest alarms, oldest first, ns.
        flood: a flood is on.
    """

    standing: tuple[Standing, ...] = ()
    started: int = 0
    found: tuple[tuple[str, Level], ...] = ()
    heard: tuple[tuple[str, Level, Horn | None], ...] = ()
    phase: Phase = Phase.IDLE
    over: tuple[Over, ...] = ()
    out: tuple[OutOfService, ...] = ()
    sounding: Horn = Horn.SILENT
    next_ns: int = NEVER
    falls: tuple[tuple[str, tuple[int, ...]], ...] = ()
    raised_ns: tuple[int, ...] = ()
    flood: bool = False

    def tags(self, level: Level) -> tuple[str, ...]:
        """Tags found at `level` or worse in the newest frame, in started-with order.

        Source:
            Own method.
        """
        if not self.found:
            return ()
        return tuple(tag for tag, found in self.found if found >= level)

    def life_of(self, tag: str) -> Life:
        """Where an alarm is in its lifecycle.

        Source:
            `rules.lifecycle`.
        """
        for item in self.standing:
            if item.tag == tag and item.level > Level.PROMPT:
                return item.life
        if any(item.tag == tag for item in self.over):
            return Life.OVER_UNSEEN
        return self.rest_of(tag)

    def rest_of(self, tag: str) -> Life:
        """Where an alarm is when nothing is found and nothing is left to be seen.

        Source:
            `rules.lifecycle`.
        """
        is_out = any(item.tag == tag for item in self.out)
        return Life.OUT_OF_SERVICE if is_out else Life.NORMAL


def brought_by(standing: Sequence[Standing], tag: str) -> tuple[Standing, ...]:
    """What stands because of another alarm and is told with it, oldest first.

    Args:
        standing: all that stands.
        tag: the one that brought it.

    Source:
        Own method.
    """
    tags = {tag}
    for _ in standing:
        more = {item.tag for item in standing if item.follows in tags} - tags
        if not more:
            break
        tags |= more
    return tuple(item for item in standing if item.tag in tags and item.tag != tag)


def back_in_service(item: Standing) -> Standing:
    """What stands, once its hazard is back in service: it speaks as if it began now.

    Source:
        IEC 62682 / ISA-18.2: out of service to normal, and raised from there.
    """
    back = after(item.life, Happening.IN_SERVICE)
    if back is Life.NORMAL:
        back = after(back, Happening.RAISED)
    return item if back is item.life else replace(item, life=back, told=False)


def earliest_ns(alarms: Alarms, flood_ends_ns: int) -> int:
    """Process time before which nothing changes by itself, ns; `NEVER` when nothing is due.

    Args:
        alarms: all of them.
        flood_ends_ns: when the flood ends if nothing new comes, ns, or `NEVER`.

    Source:
        Own method.
    """
    due = [flood_ends_ns]
    for item in alarms.standing:
        due += (item.again_ns, item.escalate_ns, item.settle_ns, item.stale_ns)
        # While it is silenced at the rig, when it sounds again; later it is past.
        due.append(item.quiet_at_rig_ns if item.quiet_at_rig_ns > 0 else NEVER)
        clear = item.horn is Horn.STAND_CLEAR and item.stand_clear_ns > 0
        due.append(item.stand_clear_ns if clear else NEVER)
        due.append(item.quiet_until_ns if item.life is Life.QUIET else NEVER)
    due += (item.lapse_ns for item in alarms.over)
    due += (item.until_ns for item in alarms.out)
    return min(due)

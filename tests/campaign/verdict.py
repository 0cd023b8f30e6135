"""Was a fault found, by which hazard, how long after it struck, and before the harm?"""

from dataclasses import dataclass
from math import inf

from rules.events import AlarmChanged, Prompted
from rules.hazards import BY_TAG
from simulator.faults import Fault
from simulator.planned import PlannedFault
from tests.campaign.course import Course, Told

# Asks at the heat-up for what nobody has stated, long before it would take heat away.
ASKS = frozenset({"run.time_not_set"})
# Plant and frames go by whole seconds.
FRAME_S = 1.0


@dataclass(frozen=True, slots=True)
class Alarm:
    """The first time a hazard spoke of a fault.

    Attributes:
        tag: the hazard.
        state: `warn`, `trip` or `prompt`.
        delay_s: after the fault struck, s.
    """

    tag: str
    state: str
    delay_s: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """What came of one fault.

    Attributes:
        name: of the fault.
        found: the first alarm among those that it should wake, or None.
        all_found: the first alarm of each tag that it should wake.
        deadline_s: as the plant says, s.
        harmed_s: when the harm was done, s after the strike; None: not, or not measurable.
        struck: it struck at all.
        measured: the plant can say whether the harm is done.
    """

    name: str
    found: Alarm | None
    all_found: tuple[Alarm, ...]
    deadline_s: float
    harmed_s: float | None
    struck: bool = True
    measured: bool = True

    @property
    def word(self) -> str:
        """`found`, `past`, `late`, `missed`, or `never struck`.

        Late is after the harm, or after the deadline where no plant can measure the
        harm. A deadline is harm at the earliest: past it, and by the truth before
        any harm, is told apart.
        """
        if not self.struck:
            return "never struck"
        if self.found is None:
            return "missed"
        harmed_s = inf if self.harmed_s is None else self.harmed_s
        delay_s = self.found.delay_s - FRAME_S
        if delay_s <= min(self.deadline_s, harmed_s):
            return "found"
        return "past" if self.measured and delay_s <= harmed_s else "late"


def spoke(told: Told) -> tuple[str, str] | None:
    """Tag and state of an event that tells somebody something; None for all others."""
    event = told.event
    if isinstance(event, AlarmChanged) and event.state in ("warn", "trip"):
        return event.tag, event.state
    if isinstance(event, Prompted):
        return event.tag, "prompt"
    return None


def wakes_of(planned: PlannedFault) -> tuple[str, ...]:
    """The hazards that find it."""
    return planned.fault.wakes


def counts(tag: str, state: str) -> bool:
    """A prompt finds nothing, unless asking is what its hazard is for."""
    if state != "prompt" or tag in ASKS:
        return True
    row = BY_TAG[tag].row
    return not row.warn_do and not row.trip_do


def first_alarms(course: Course, wakes: tuple[str, ...], struck_s: float) -> tuple[Alarm, ...]:
    """The first alarm of each of these hazards at or after a strike, in order of time."""
    found: dict[str, Alarm] = {}
    for told in course.told:
        said = spoke(told)
        if said is None or told.at_s < struck_s or said[0] not in wakes or said[0] in found:
            continue
        if counts(*said):
            found[said[0]] = Alarm(said[0], said[1], told.at_s - struck_s)
    return tuple(found.values())


def verdict_of(
    course: Course, planned: PlannedFault, struck_s: float | None, harmed_s: float | None
) -> Verdict:
    """What came of a fault in a course that is over."""
    fault = planned.fault
    deadline_s = fault.deadline_s(course.rig.settings)
    measured = type(fault).harmed is not Fault.harmed
    if struck_s is None:
        return Verdict(planned.name, None, (), deadline_s, harmed_s, struck=False)
    alarms = first_alarms(course, wakes_of(planned), struck_s)
    found = alarms[0] if alarms else None
    return Verdict(planned.name, found, alarms, deadline_s, harmed_s, measured=measured)


def not_built(wakes: tuple[str, ...]) -> bool:
    """None of the hazards that a fault should wake exists."""
    return not any(tag in BY_TAG for tag in wakes)

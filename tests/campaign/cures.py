"""Whole cures with what breaks in them: one healthy trunk, and a fork for each thing struck.

A fork begins at its onset from the trunk as it then is, and ends once its
outcome is settled.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from math import inf, isinf

from rules.events import AlarmChanged
from simulator.faults import Disturbance, Fault
from simulator.planned import PlannedFault
from tests.campaign.course import Course, Told
from tests.campaign.draws import Drawn, draw, planned_in
from tests.campaign.verdict import Verdict, first_alarms, not_built, spoke, verdict_of, wakes_of

DISTURBED_S = 1200.0
DISTURBED_S_MAX = 3600.0
LOOKS_LATER_S_MAX = 900.0
MEASURED_LATER_S_MAX = 3600.0
AT_HOME_S = 600.0
# The one fault that is one by the time of day.
LEFT_ENERGISED = "left_energised"


@dataclass(frozen=True, slots=True)
class FalseAlarm:
    """A warning or trip with nothing wrong by the truth.

    Attributes:
        tag: the hazard.
        state: `warn` or `trip`.
        at_s: plant time, s.
        said: what was seen.
    """

    tag: str
    state: str
    at_s: float
    said: str


@dataclass(frozen=True, slots=True)
class Struck:
    """What came of one fault or disturbance.

    Attributes:
        seed: of its cure.
        name: its own.
        fittings: what was fitted.
        mode: how the air was held.
        verdict: of a fault; None of a disturbance.
        false: alarms of a disturbance that it may not wake.
    """

    seed: int
    name: str
    fittings: str
    mode: str
    verdict: Verdict | None
    false: tuple[FalseAlarm, ...] = ()


@dataclass(frozen=True, slots=True)
class Cured:
    """What came of one cure.

    Attributes:
        seed: of it.
        fittings: what was fitted.
        mode: how the air was held.
        ended: `home`, `tripped`, `stuck`, or `settled` where the last fork was all
            that was wanted of it.
        hours: of plant time in the trunk.
        false: false alarms of the trunk.
        prompts: how often each hazard prompted in the trunk.
        struck: its forks.
    """

    seed: int
    fittings: str
    mode: str
    ended: str
    hours: float
    false: tuple[FalseAlarm, ...]
    prompts: tuple[tuple[str, int], ...]
    struck: tuple[Struck, ...]


def run_cure(
    seed: int,
    names: Iterable[str] = (),
    *,
    mode: str | None = None,
    fittings: str | None = None,
    whole: bool = True,
) -> Cured:
    """Run one cure, and each of these faults and disturbances from its onset.

    Args:
        seed: of the cure.
        names: what is struck.
        mode: how the air is held; None: as drawn.
        fittings: what is fitted; None: as drawn.
        whole: go on to the end of the cure, also when all has been struck.
    """
    drawn = draw(seed, mode=mode, fittings=fittings)
    course = drawn.begin()
    waiting = [planned_in(seed, name, drawn.hold_s) for name in names]
    struck: list[Struck] = []
    ended = "home"
    while not course.yard.over:
        for planned in [planned for planned in waiting if due(course, planned)]:
            waiting.remove(planned)
            struck.append(run_struck(drawn, course, planned))
        if not (whole or waiting):
            ended = "settled"
            break
        course.advance()
        if course.outputs.beacon_red:
            ended = "tripped"
            break
    if ended == "home" and not course.crew.at_home:
        ended = "stuck"
    false = tuple(false_alarms(course.told, ()))
    said = [item for item in map(spoke, course.told) if item is not None]
    prompts = Counter(tag for tag, state in said if state == "prompt")
    hours = course.now_s / 3600
    found = tuple(sorted(prompts.items()))
    return Cured(seed, drawn.fittings, drawn.mode, ended, hours, false, found, tuple(struck))


def due(course: Course, planned: PlannedFault) -> bool:
    """It strikes with the next second."""
    onset = planned.onset
    if onset.stage is None:
        return course.now_s + 1.0 >= onset.after_s
    began_at_s = course.crew.began_at_s.get((onset.repair, onset.stage), inf)
    return course.now_s + 1.0 >= began_at_s + onset.after_s


def run_struck(drawn: Drawn, trunk: Course, planned: PlannedFault) -> Struck:
    """Strike a fork of the trunk, and run it until the outcome is settled."""
    course = trunk.fork([planned], tail_s=1e6)
    before = len(course.told)
    which = (drawn.seed, planned.name, drawn.fittings, drawn.mode)
    if planned.name == LEFT_ENERGISED:
        course.close_in(course.crew.takes_s(course.crew.plan.take_off_s))
    if isinstance(planned.fault, Disturbance):
        _run_disturbed(course, planned)
        may_wake = planned.fault.may_wake
        false = tuple(false_alarms(course.told[before:], may_wake))
        return Struck(*which, None, false)
    return Struck(*which, run_fault(course, planned))


def run_fault(course: Course, planned: PlannedFault) -> Verdict:
    """Run a course until one fault in it is found, or can no more be found in time."""
    fault = planned.fault
    deadline_s = fault.deadline_s(course.rig.settings)
    struck_s: float | None = None
    harmed_s: float | None = None
    looked = len(course.told)
    wakes = wakes_of(planned)
    measured = type(fault).harmed is not Fault.harmed
    while not course.yard.over:
        course.advance()
        if struck_s is None:
            struck_s = course.yard.struck().get(planned.name)
            if struck_s is None:
                continue
            deadline_s = fault.deadline_s(course.rig.settings)
        since_s = course.now_s - struck_s
        if harmed_s is None and fault.harmed(course.rig, course.crew):
            harmed_s = since_s
        if len(course.told) > looked and first_alarms(course, wakes, struck_s):
            break
        looked = len(course.told)
        later_s = MEASURED_LATER_S_MAX if measured and harmed_s is None else LOOKS_LATER_S_MAX
        if since_s > deadline_s + min(2 * deadline_s, later_s):
            break
        if not_built(wakes) or (isinf(deadline_s) and since_s > DISTURBED_S):
            break
    return verdict_of(course, planned, struck_s, harmed_s)


def _run_disturbed(course: Course, planned: PlannedFault) -> None:
    began_at_s = course.now_s
    all_day = planned.onset.stage is None
    lasts_s = float(getattr(planned.fault, "lasts_s", DISTURBED_S))
    for_s = min(DISTURBED_S_MAX, lasts_s + DISTURBED_S)
    home_at_s: float | None = None
    while not course.yard.over:
        course.advance()
        if course.crew.at_home and home_at_s is None:
            home_at_s = course.now_s
        if course.outputs.beacon_red or (home_at_s and course.now_s > home_at_s + AT_HOME_S):
            return
        if not all_day and course.now_s > began_at_s + for_s:
            return


def false_alarms(told: Iterable[Told], may_wake: tuple[str, ...]) -> Iterable[FalseAlarm]:
    """Warnings but those of `may_wake`, and trips; a state told again in other words is one."""
    for item in told:
        said = spoke(item)
        if said is None or said[1] == "prompt" or (said[0] in may_wake and said[1] == "warn"):
            continue
        event = item.event
        words = event.said if isinstance(event, AlarmChanged) else ""
        yield FalseAlarm(said[0], said[1], item.at_s, words)

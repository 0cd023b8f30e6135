"""Named scenarios of our own: what the crew means to do and what breaks when.

All of it is invented. One scenario exists for each fault, under the fault's
name; the others are listed here.
"""

import math
from dataclasses import dataclass

from pydantic import ValidationError

from simulator.bags import AirMode
from simulator.crew import RepairPlan, Stage
from simulator.faults import catalogue
from simulator.faults.base import Fault, Onset
from simulator.plant import RigSettings

TAIL_S = 600.0
# Besides the hold, the whole of a repair takes some four hours; a stuck one ends here.
BESIDES_HOLD_S_MAX = 5 * 3600.0


class ScenarioError(ValueError):
    """The scenario or fault asked for does not exist or cannot be; says what can."""


@dataclass(frozen=True, slots=True)
class PlannedFault:
    """A fault and its onset."""

    name: str
    fault: Fault
    onset: Onset


@dataclass(frozen=True, slots=True)
class Scenario:
    """What is going to happen.

    Attributes:
        name: of the scenario.
        title: one line for people.
        plans: the repairs, one after another.
        faults: strike the first rig only.
        tail_s: the scenario goes on this long after the last repair is done or,
            unless the crew mends, after the last fault has struck.
        built: how the rigs are built and what the weather is at the start.
        start_hour: hour of the day at plant time 0, UTC.
    """

    name: str
    title: str
    plans: tuple[RepairPlan, ...] = (RepairPlan(),)
    faults: tuple[PlannedFault, ...] = ()
    tail_s: float = TAIL_S
    built: RigSettings = RigSettings()
    start_hour: float = 7.0

    @property
    def over_at_s(self) -> float:
        """The scenario is over by then at the latest, s."""
        return sum(plan.hold_s_max + BESIDES_HOLD_S_MAX for plan in self.plans)

    @property
    def crew_mends(self) -> bool:
        """The crew mends what breaks and goes on."""
        return all(plan.mends_after_s is not None for plan in self.plans)


def all_scenarios() -> dict[str, Scenario]:
    """All scenarios by name: the listed ones, then one for each fault."""
    faults = {name: _one_fault(name, kind) for name, kind in catalogue().items()}
    return _listed() | faults


def find_scenario(name: str) -> Scenario:
    """The scenario of that name.

    Raises:
        ScenarioError: there is none; lists those there are.
    """
    listed, kinds = _listed(), catalogue()
    if name in listed:
        return listed[name]
    if name in kinds:
        return _one_fault(name, kinds[name])
    known = ", ".join((*listed, *kinds))
    raise ScenarioError(f"no scenario is called {name!r}; choose one of: {known}")


def tail_after_s(fault: Fault, built: RigSettings) -> float:
    """How long a scenario goes on after this fault has struck, s."""
    deadline_s = fault.deadline_s(built)
    return TAIL_S + (deadline_s if math.isfinite(deadline_s) else 0.0)


def _listed() -> dict[str, Scenario]:
    whole = RepairPlan()
    next_repair = RepairPlan(start_after_s=1800.0)
    named = [
        Scenario("whole_cure", "one repair from start to take-off, nothing breaks"),
        Scenario(
            "locked_off_cure",
            "one repair with the bags locked off; state air_mode = locked_off in the rig's file",
            plans=(RepairPlan(air_mode=AirMode.LOCKED_OFF),),
        ),
        Scenario(
            "hose_fails",
            "20 min into the hold the inner bag's hose bursts",
            faults=(_planned("hose_burst", Onset(1200.0, Stage.HOLD)),),
        ),
        Scenario(
            "demo",
            "a whole cure, then the next repair, whose hose bursts 20 min into the hold",
            plans=(whole, next_repair),
            faults=(_planned("hose_burst", Onset(1200.0, Stage.HOLD, repair=2)),),
        ),
    ]
    return {scenario.name: scenario for scenario in named}


def read_fault(text: str) -> PlannedFault:
    """A fault as typed: `NAME[:key=value[,key=value]][@WHEN]`.

    `WHEN` is seconds of plant time, or `STAGE[REPAIR]+SECONDS`, for instance
    `hold+600` or `hold2+600`; without it the fault strikes at 0.

    Raises:
        ScenarioError: what is wrong, where, and what would be right.
    """
    body, _, when = text.partition("@")
    name, _, settings = body.partition(":")
    kinds = catalogue()
    if name not in kinds:
        raise ScenarioError(f"no fault is called {name!r}; choose one of: {', '.join(kinds)}")
    values: dict[str, str] = {}
    for pair in filter(None, settings.split(",")):
        key, equals, value = pair.partition("=")
        if not equals:
            raise ScenarioError(f"fault {text!r}: {pair!r} is not key=value")
        values[key] = value
    try:
        fault = kinds[name].model_validate(values)
    except ValidationError as error:
        wrong = "; ".join(
            f"{'.'.join(map(str, item['loc']))}: {item['msg']}" for item in error.errors()
        )
        keys = ", ".join(kinds[name].model_fields) or "none"
        raise ScenarioError(f"fault {text!r}: {wrong}; its keys: {keys}") from error
    return PlannedFault(name, fault, _read_onset(text, when))


def _read_onset(text: str, when: str) -> Onset:
    if not when:
        return Onset(0.0)
    stage_text, plus, seconds = when.rpartition("+")
    try:
        after_s = _seconds(seconds)
        if not plus:
            return Onset(after_s)
        stage_name = stage_text.rstrip("0123456789")
        repair = int(stage_text[len(stage_name) :] or 1)
        return Onset(after_s, Stage(stage_name), repair)
    except ValueError as error:
        stages = ", ".join(Stage)
        raise ScenarioError(
            f"fault {text!r}: {when!r} is no time; write seconds, or STAGE+seconds with one of: "
            f"{stages}"
        ) from error


def _seconds(text: str) -> float:
    seconds = float(text)
    if not (math.isfinite(seconds) and seconds >= 0):
        raise ValueError(f"{text} is not a time from 0 up")
    return seconds


def _planned(name: str, onset: Onset) -> PlannedFault:
    return PlannedFault(name, catalogue()[name](), onset)


def _one_fault(name: str, kind: type[Fault]) -> Scenario:
    """The scenario in which this fault strikes at its own onset."""
    title = (kind.__doc__ or name).partition("\n")[0].rstrip(".")
    fault = kind()
    return Scenario(
        name,
        f"{_onset_words(kind.onset)}: {title[:1].lower()}{title[1:]}",
        faults=(PlannedFault(name, fault, kind.onset),),
        tail_s=tail_after_s(fault, RigSettings()),
    )


def _onset_words(onset: Onset) -> str:
    """When a fault strikes, as people say it."""
    after = f"{onset.after_s:.0f} s" if onset.after_s < 120 else f"{onset.after_s / 60:.0f} min"
    if onset.stage is None:
        return f"after {after}"
    of_repair = "" if onset.repair == 1 else f" of repair {onset.repair}"
    return f"{after} into {onset.stage.replace('_', ' ')}{of_repair}"

"""Named scenarios of our own: what the crew means to do and what breaks when.

All of it is invented. Repairs in which nothing breaks are in `repairs`; here are
those in which something does. One exists for each fault, under the fault's name,
and two faults at once are their names with a plus between them.
"""

from dataclasses import replace
from inspect import getdoc, getmodule

from simulator.crew import RepairPlan, Stage
from simulator.faults import catalogue
from simulator.faults.base import Fault, Onset
from simulator.planned import PlannedFault, Scenario, ScenarioError, tail_after_s
from simulator.plant import RigSettings
from simulator.repairs import repairs

# What is worse together than one by one.
PAIRS = (
    ("slow_leak", "crew_walks_off"),
    ("contactor_welds", "thermostat_stuck"),
    ("thermostat_stuck", "thermocouple_frozen"),
    ("transmitter_frozen", "hose_burst"),
    ("horn_dead", "hose_burst"),
    ("compressor_dead", "slow_leak"),
)


def all_scenarios() -> dict[str, Scenario]:
    """All scenarios by name: the listed ones, the listed pairs, then one for each fault."""
    pairs = [together(*names) for names in PAIRS]
    faults = {name: _one_fault(name, kind) for name, kind in catalogue().items()}
    return _listed() | {pair.name: pair for pair in pairs} | faults


def find_scenario(name: str) -> Scenario:
    """The scenario of that name; `A+B` is fault A and fault B at once.

    Raises:
        ScenarioError: there is none; lists those there are.
    """
    listed, kinds = _listed(), catalogue()
    if name in listed:
        return listed[name]
    if name in kinds:
        return _one_fault(name, kinds[name])
    parts = name.split("+")
    if len(parts) > 1 and all(part in kinds for part in parts):
        return together(*parts)
    known = ", ".join((*listed, *kinds))
    raise ScenarioError(
        f"no scenario is called {name!r}; choose one of, or several faults with + between: {known}"
    )


def together(*names: str) -> Scenario:
    """The scenario in which these faults strike, each at its own onset.

    Raises:
        ScenarioError: two of them lay hands on the same thing.
    """
    alone = [_one_fault(name, catalogue()[name]) for name in names]
    touched: dict[str, str] = {}
    for scenario in alone:
        for thing in sorted(scenario.faults[0].fault.touches):
            if thing in touched:
                raise ScenarioError(
                    f"{touched[thing]} and {scenario.name} both touch {thing}; choose others"
                )
            touched[thing] = scenario.name
    return Scenario(
        "+".join(names),
        "; ".join(scenario.title for scenario in alone),
        plans=max((scenario.plans for scenario in alone), key=len),
        faults=tuple(fault for scenario in alone for fault in scenario.faults),
        tail_s=max(scenario.tail_s for scenario in alone),
    )


def _listed() -> dict[str, Scenario]:
    whole = RepairPlan()
    broken = [
        Scenario(
            "hose_fails",
            "20 min into the hold the inner bag's hose bursts",
            faults=(_planned("hose_burst", Onset(1200.0, Stage.HOLD)),),
        ),
        Scenario(
            "demo",
            "a whole cure, then the next repair, whose hose bursts 20 min into the hold",
            plans=(whole, replace(whole, start_after_s=1800.0)),
            faults=(_planned("hose_burst", Onset(1200.0, Stage.HOLD, repair=2)),),
        ),
    ]
    return {scenario.name: scenario for scenario in (*repairs(), *broken)}


def _planned(name: str, onset: Onset) -> PlannedFault:
    return PlannedFault(name, catalogue()[name](), onset)


def _one_fault(name: str, kind: type[Fault]) -> Scenario:
    """The scenario in which this fault strikes at its own onset."""
    # A fault's module says what breaks; its class tells the story.
    title = (getdoc(getmodule(kind)) or name).partition("\n")[0].rstrip(".")
    fault = kind()
    return Scenario(
        name,
        f"{_onset_words(kind.onset)}: {title[:1].lower()}{title[1:]}",
        plans=(RepairPlan(),) * kind.onset.repair,
        faults=(PlannedFault(name, fault, kind.onset),),
        tail_s=tail_after_s(fault, RigSettings()),
    )


def _onset_words(onset: Onset) -> str:
    """When a fault strikes, as people say it."""
    after = f"{onset.after_s:.0f} s" if onset.after_s < 120 else f"{onset.after_s / 60:.0f} min"
    if onset.stage is None:
        return f"after {after}"
    of_repair = "" if onset.repair == 1 else f" of repair {onset.repair}"
    stage = onset.stage.replace("_", " ")
    if onset.after_s == 0:
        return f"at the begin of {stage}{of_repair}"
    return f"{after} into {stage}{of_repair}"

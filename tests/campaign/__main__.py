"""Cures with what breaks in them, told one by one or counted.

One, told:   --fault hose_burst | --disturbance draught | --healthy [--plan crew_trims]
One drawn:   --cure SEED [--fault NAME | --disturbance NAME]
Many:        --cures 40 [--seed 1] [--jobs 2]
The report:  --report [--cures 1000], writes docs/detection.md
"""

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path

from rules.facts import AirMode
from simulator.bags import AirMode as PlantAirMode
from simulator.faults import catalogue
from simulator.planned import Scenario, ScenarioError, tail_after_s
from simulator.scenarios import find_scenario
from simulator.yard import Yard
from tests.campaign import batch, report
from tests.campaign.course import Course, begin
from tests.campaign.cures import LOOKS_LATER_S_MAX
from tests.campaign.draws import draw, limits_for, planned_in
from tests.campaign.told import run_told, verdict_text
from tests.campaign.wires import FITTINGS

PRETEND = "campaign: a pretend rig, all of it invented.\n"
WRONG = ("MISSED", "LATE", "FALSE ALARM")
PAGE = Path(__file__).parents[2] / "docs" / "detection.md"
TAIL_S_MAX = 7200.0


def with_mode(scenario: Scenario, mode: str | None) -> Scenario:
    """The same scenario with the air held in another way."""
    if mode is None:
        return scenario
    plans = tuple(replace(plan, air_mode=PlantAirMode(mode)) for plan in scenario.plans)
    return replace(scenario, plans=plans)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        "python -m tests.campaign",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--fault", metavar="NAME", help="a fault, or A+B")
    parser.add_argument("--disturbance", metavar="NAME")
    parser.add_argument("--healthy", action="store_true")
    parser.add_argument("--plan", default="whole_cure", metavar="NAME", help="with --healthy")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--mode", choices=[mode.value for mode in AirMode])
    parser.add_argument("--fittings", choices=list(FITTINGS), default=None)
    parser.add_argument("--without", nargs="*", default=[], metavar="CHANNEL", help="not fitted")
    parser.add_argument("--altitude-m", type=float, default=0.0)
    parser.add_argument("--ambient-c", type=float)
    parser.add_argument("--mends-after-s", type=float, help="the crew mends and resets")
    parser.add_argument("--tail-s", type=float, help="go on this long after the strike")
    parser.add_argument("--stages", action="store_true", help="tell what the crew is at, too")
    parser.add_argument("--cure", type=int, metavar="SEED", help="one cure, drawn")
    parser.add_argument("--cures", type=int, metavar="N", help="many, counted")
    parser.add_argument("--faults", type=int, default=3, help="in each cure")
    parser.add_argument("--disturbances", type=int, default=1, help="in each cure")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--report", action="store_true", help=f"write {PAGE.name}")
    return parser


def _scenario(options: argparse.Namespace) -> Scenario:
    name = options.fault or options.disturbance or options.plan
    scenario = with_mode(find_scenario(name), options.mode)
    if options.ambient_c is not None:
        scenario = replace(scenario, built=replace(scenario.built, ambient_c=options.ambient_c))
        tails_s = [tail_after_s(item.fault, scenario.built) for item in scenario.faults]
        scenario = replace(scenario, tail_s=max([scenario.tail_s, *tails_s]))
    if options.mends_after_s is not None:
        plans = [replace(plan, mends_after_s=options.mends_after_s) for plan in scenario.plans]
        scenario = replace(scenario, plans=tuple(plans))
    if options.tail_s is not None:
        scenario = replace(scenario, tail_s=options.tail_s)
    return scenario


def _listed(options: argparse.Namespace) -> Course:
    scenario = _scenario(options)
    limits = limits_for(scenario.plans[0], site_altitude_m=options.altitude_m)
    fitted = FITTINGS[options.fittings or "all"] - frozenset(options.without)
    return begin(Yard(scenario, rigs=1, seed=options.seed), limits, fitted)


def _drawn(options: argparse.Namespace) -> Course:
    drawn = draw(options.cure, mode=options.mode, fittings=options.fittings)
    sys.stderr.write(f"{drawn.scenario.title}, fitted: {drawn.fittings}, {drawn.scenario.built}\n")
    name = options.fault or options.disturbance
    course = drawn.begin()
    if not name:
        return course
    planned = planned_in(options.cure, name, drawn.hold_s)
    sys.stderr.write(f"{planned}\n")
    deadline_s = planned.fault.deadline_s(drawn.scenario.built)
    tail_s = min(TAIL_S_MAX, deadline_s + min(deadline_s, LOOKS_LATER_S_MAX))
    return course.fork([planned], tail_s=tail_s)


def _one(options: argparse.Namespace) -> int:
    name = options.disturbance
    if name and name not in catalogue():
        raise ScenarioError(f"no disturbance is called {name!r}")
    course = _listed(options) if options.cure is None else _drawn(options)
    began_s = time.perf_counter()
    harmed_at_s = run_told(course, stages=options.stages)
    took_s = time.perf_counter() - began_s
    verdict = verdict_text(course, harmed_at_s)
    sys.stdout.write(f"{verdict}\n")
    sys.stderr.write(f"{course.now_s / 3600:.2f} h of plant time in {took_s:.2f} s\n")
    return int(any(word in verdict for word in WRONG))


def _many(options: argparse.Namespace) -> int:
    cures = options.cures or report.CURES
    made = batch.orders(
        cures, options.seed, faults=options.faults, disturbances=options.disturbances
    )
    if options.fittings:
        made = [replace(order, fittings=options.fittings) for order in made]
    began_s = time.perf_counter()
    found = batch.run(made, jobs=options.jobs, tell=batch.bar(cures))
    took_s = time.perf_counter() - began_s
    sys.stdout.write(report.summary(found))
    sys.stderr.write(f"{cures} cures in {took_s:.0f} s on {options.jobs} processes\n")
    if options.report:
        PAGE.write_text(report.page(found, options.seed), encoding="utf-8")
    return int(bool(found.wrong or found.crying or found.disturbed))


def main(arguments: list[str] | None = None) -> int:
    """Run; returns the exit status: 0 well, 1 missed, late or a false alarm, 2 asked wrongly."""
    options = _parser().parse_args(arguments)
    sys.stderr.write(PRETEND)
    try:
        return _many(options) if options.cures or options.report else _one(options)
    except ScenarioError as error:
        sys.stderr.write(f"campaign: {error}\n")
        return 2


if __name__ == "__main__":
    sys.exit(main())

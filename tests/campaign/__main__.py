"""One cure, told: `python -m tests.campaign --fault hose_burst`."""

import argparse
import sys
import time
from dataclasses import replace

from rules.events import AlarmChanged, PermitChanged, PhaseChanged, Pressed, Prompted, as_dict
from rules.facts import AirMode
from simulator.bags import AirMode as PlantAirMode
from simulator.faults import Disturbance, catalogue
from simulator.planned import Scenario, ScenarioError, tail_after_s
from simulator.scenarios import find_scenario
from simulator.yard import Yard
from tests.campaign.course import Course, Told, begin
from tests.campaign.cures import LEFT_ENERGISED
from tests.campaign.draws import limits_for
from tests.campaign.verdict import not_built, spoke, verdict_of
from tests.campaign.wires import FITTINGS

WRONG = ("MISSED", "LATE", "FALSE ALARM")
PRETEND = "campaign: a pretend rig, all of it invented."


def with_mode(scenario: Scenario, mode: str | None) -> Scenario:
    """The same scenario with the air held in another way."""
    if mode is None:
        return scenario
    plans = tuple(replace(plan, air_mode=PlantAirMode(mode)) for plan in scenario.plans)
    return replace(scenario, plans=plans)


def run_told(course: Course, *, verbose: bool) -> float | None:
    """Run to the end and print what is told; returns when the fault's harm was done."""
    planned = course.yard.scenario.faults
    fault = planned[0].fault if planned else None
    harmed_at_s = None
    stage = course.crew.stage
    line = _Line(course)
    while not course.yard.over:
        told = len(course.told)
        struck_before = bool(course.yard.struck())
        course.advance()
        if course.yard.struck() and not struck_before:
            line.write(f"STRIKES: {', '.join(course.yard.struck())}")
            line.struck_s = course.now_s
            if LEFT_ENERGISED in course.yard.struck():
                course.close_in(course.crew.takes_s(course.crew.plan.take_off_s))
        if verbose and course.crew.stage is not stage:
            stage = course.crew.stage
            line.write(f"crew: {stage.replace('_', ' ')}")
        for item in course.told[told:]:
            text = _text(item)
            if text:
                line.write(text)
        if fault is None or line.struck_s is None or harmed_at_s is not None:
            continue
        if fault.harmed(course.rig, course.crew):
            harmed_at_s = course.now_s
            line.write(f"HARM DONE: {fault.harm}")
    return harmed_at_s


class _Line:
    def __init__(self, course: Course) -> None:
        self.course = course
        self.struck_s: float | None = None

    def write(self, text: str) -> None:
        now_s = self.course.now_s
        since = "" if self.struck_s is None else f"{now_s - self.struck_s:+9.0f} s"
        sys.stdout.write(f"{now_s:8.0f} s {since:>11}  {text}\n")


def _text(told: Told) -> str:
    event = told.event
    if isinstance(event, AlarmChanged):
        follows = f" (follows {event.follows})" if event.follows else ""
        return f"{event.state.upper():6} {event.tag}{follows}: {event.said}\n{'':22}{event.text}"
    if isinstance(event, Prompted):
        return f"prompt {event.tag}: {event.said}"
    if isinstance(event, PhaseChanged):
        return f"phase  {event.phase} (was {event.was}): {event.why}"
    if isinstance(event, PermitChanged):
        return f"permit {event.permit}: {event.why} {event.tag}"
    if isinstance(event, Pressed):
        return f"press  {event.button}: {event.did}"
    body = as_dict(event)
    return f"{body.pop('event')} {body}"


def _verdict(course: Course, harmed_at_s: float | None) -> str:
    lines = []
    for planned in course.yard.scenario.faults:
        struck_s = course.yard.struck().get(planned.name)
        harmed_s = None
        if harmed_at_s is not None and struck_s is not None:
            harmed_s = harmed_at_s - struck_s
        if isinstance(planned.fault, Disturbance):
            lines += _disturbed(course, planned.fault.may_wake)
            continue
        verdict = verdict_of(course, planned, struck_s, harmed_s)
        by = ", ".join(f"{a.tag} {a.state} after {a.delay_s:.0f} s" for a in verdict.all_found)
        why = " (none of its hazards is built)" if not_built(planned.fault.wakes) else ""
        harmed = "harm not seen" if harmed_s is None else f"harm after {harmed_s:.0f} s"
        lines.append(
            f"{planned.name}: {verdict.word.upper()}{why}; {by or 'nothing said'}; "
            f"deadline {verdict.deadline_s:.0f} s; {harmed}; "
            f"should wake {', '.join(planned.fault.wakes)}"
        )
    return "\n".join(lines or _disturbed(course, ()))


def _disturbed(course: Course, may_wake: tuple[str, ...]) -> list[str]:
    said = [item for item in map(spoke, course.told) if item is not None]
    false = [f"{tag} {state}" for tag, state in said if state != "prompt" and tag not in may_wake]
    prompts = sum(state == "prompt" for _, state in said)
    told = f"FALSE ALARMS: {', '.join(false)}" if false else "no false alarm"
    return [f"{told}; {prompts} prompts"]


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("python -m tests.campaign", description=__doc__)
    parser.add_argument("--fault", metavar="NAME", help="a fault, or A+B")
    parser.add_argument("--disturbance", metavar="NAME")
    parser.add_argument("--healthy", action="store_true")
    parser.add_argument("--plan", default="whole_cure", metavar="NAME", help="with --healthy")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--mode", choices=[mode.value for mode in AirMode])
    parser.add_argument("--fittings", choices=list(FITTINGS), default="all")
    parser.add_argument("--without", nargs="*", default=[], metavar="CHANNEL", help="not fitted")
    parser.add_argument("--altitude-m", type=float, default=0.0)
    parser.add_argument("--ambient-c", type=float)
    parser.add_argument("--mends-after-s", type=float, help="the crew mends and resets")
    parser.add_argument("--tail-s", type=float, help="go on this long after the strike")
    parser.add_argument("--stages", action="store_true", help="tell what the crew is at, too")
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


def main(arguments: list[str] | None = None) -> int:
    """Run; returns the exit status: 0 well, 1 missed, late or a false alarm, 2 asked wrongly."""
    options = _parser().parse_args(arguments)
    try:
        scenario = _scenario(options)
    except ScenarioError as error:
        sys.stderr.write(f"campaign: {error}\n")
        return 2
    if options.disturbance and options.disturbance not in catalogue():
        sys.stderr.write(f"campaign: no disturbance {options.disturbance!r}\n")
        return 2
    sys.stderr.write(PRETEND + "\n")
    limits = limits_for(scenario.plans[0], site_altitude_m=options.altitude_m)
    fitted = FITTINGS[options.fittings] - frozenset(options.without)
    course = begin(Yard(scenario, rigs=1, seed=options.seed), limits, fitted)
    began_s = time.perf_counter()
    harmed_at_s = run_told(course, verbose=options.stages)
    took_s = time.perf_counter() - began_s
    verdict = _verdict(course, harmed_at_s)
    sys.stdout.write(f"{verdict}\n")
    hours = course.now_s / 3600
    sys.stderr.write(f"{hours:.2f} h of plant time in {took_s:.2f} s\n")
    return int(any(word in verdict for word in WRONG))


if __name__ == "__main__":
    sys.exit(main())

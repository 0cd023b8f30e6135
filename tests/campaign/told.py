"""One course told line by line, with what came of it."""

import sys

from rules.events import AlarmChanged, PermitChanged, PhaseChanged, Pressed, Prompted, as_dict
from simulator.faults import Disturbance
from tests.campaign.course import Course, Told
from tests.campaign.cures import LEFT_ENERGISED, false_alarms
from tests.campaign.verdict import not_built, spoke, verdict_of, wakes_of


def run_told(course: Course, *, stages: bool) -> float | None:
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
        if stages and course.crew.stage is not stage:
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


def verdict_text(course: Course, harmed_at_s: float | None) -> str:
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
        wakes = wakes_of(planned)
        by = ", ".join(f"{a.tag} {a.state} after {a.delay_s:.0f} s" for a in verdict.all_found)
        why = " (none of its hazards is built)" if not_built(wakes) else ""
        harmed = "harm not seen" if harmed_s is None else f"harm after {harmed_s:.0f} s"
        lines.append(
            f"{planned.name}: {verdict.word.upper()}{why}; {by or 'nothing said'}; "
            f"deadline {verdict.deadline_s:.0f} s; {harmed}; "
            f"should wake {', '.join(wakes)}"
        )
    return "\n".join(lines or _disturbed(course, ()))


def _disturbed(course: Course, may_wake: tuple[str, ...]) -> list[str]:
    false = [f"{alarm.tag} {alarm.state}" for alarm in false_alarms(course.told, may_wake)]
    prompts = sum(said[1] == "prompt" for said in map(spoke, course.told) if said is not None)
    told = f"FALSE ALARMS: {', '.join(false)}" if false else "no false alarm"
    return [f"{told}; {prompts} prompts"]

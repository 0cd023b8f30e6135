"""Faults as typed on a command line."""

import math

from pydantic import ValidationError

from simulator.crew import Stage
from simulator.faults import catalogue
from simulator.faults.base import Onset
from simulator.planned import PlannedFault, ScenarioError


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

"""What there is to choose from, told in a terminal."""

import textwrap
from inspect import cleandoc
from typing import get_args

from pydantic.fields import FieldInfo

from simulator.faults import Disturbance, Fault, area_of, catalogue
from simulator.planned import ScenarioError
from simulator.plant import RigSettings
from simulator.scenarios import all_scenarios

WIDTH = 79


def scenarios_text() -> str:
    """All scenarios but those that only carry one fault's name."""
    faults = catalogue()
    lines = ["Scenarios:"]
    for name, scenario in all_scenarios().items():
        if name not in faults:
            lines += _item(name, scenario.title)
    lines += ["", "Every fault and disturbance is a scenario of its own name too: --list faults."]
    return "\n".join(lines) + "\n"


def faults_text() -> str:
    """All faults by area, then the disturbances, a line or two each."""
    by_area: dict[str, list[str]] = {}
    for name, kind in catalogue().items():
        by_area.setdefault(area_of(kind), []).append(name)
    lines = []
    for area, names in sorted(by_area.items(), key=lambda item: item[0] == "harmless"):
        title = "Disturbances, which must trip nothing" if area == "harmless" else f"Faults: {area}"
        lines += [f"{title}:"]
        for name in sorted(names):
            lines += _item(name, first_line(catalogue()[name]))
        lines.append("")
    lines.append("One in full: --about NAME.")
    return "\n".join(lines) + "\n"


def about_text(name: str) -> str:
    """One fault in full: what breaks, what it should wake, by when, and its keys.

    Raises:
        ScenarioError: no fault has that name.
    """
    kinds = catalogue()
    if name not in kinds:
        raise ScenarioError(f"no fault is called {name!r}; see --list faults")
    kind = kinds[name]
    paragraphs = [" ".join(part.split()) for part in story(kind).split("\n\n")]
    lines = [name, ""]
    for paragraph in paragraphs:
        lines += [*textwrap.wrap(paragraph, WIDTH), ""]
    if issubclass(kind, Disturbance):
        lines.append("Must trip nothing.")
        if kind.may_wake:
            lines.append(f"May speak: {', '.join(kind.may_wake)}.")
    else:
        lines += textwrap.wrap(f"Wakes: {', '.join(kind.wakes)}.", WIDTH, subsequent_indent="  ")
        lines += textwrap.wrap(f"Harm: {kind.harm.rstrip('.')}.", WIDTH, subsequent_indent="  ")
        lines.append(f"Deadline as it stands: {deadline_words(kind().deadline_s(RigSettings()))}.")
    lines.append("Keys:" if kind.model_fields else "No keys.")
    lines += [_key(key, field) for key, field in kind.model_fields.items()]
    return "\n".join(lines) + "\n"


def first_line(kind: type[Fault]) -> str:
    """What breaks, in one line."""
    return cleandoc(kind.__doc__ or "").partition("\n")[0]


def story(kind: type[Fault]) -> str:
    """The docstring without its list of attributes."""
    return cleandoc(kind.__doc__ or "").partition("\nAttributes:")[0].rstrip()


def deadline_words(deadline_s: float) -> str:
    """A deadline as people say it."""
    if deadline_s < 120:
        return f"{deadline_s:.0f} s"
    if deadline_s < 7200:
        return f"{deadline_s / 60:.0f} min"
    return f"{deadline_s / 3600:.1f} h"


def _key(key: str, field: FieldInfo) -> str:
    choices = ", ".join(map(str, get_args(field.annotation)))
    bounds = " to ".join(_bound(bound) for bound in field.metadata)
    return f"  {key}={field.default}   {choices or bounds}".rstrip()


def _bound(bound: object) -> str:
    """The figure of one of pydantic's bounds: ge, gt, le or lt."""
    return f"{getattr(bound, type(bound).__name__.lower()):g}"


def _item(name: str, title: str) -> list[str]:
    hang = " " * 27
    head, first = ([], f"  {name:25}") if len(name) < 25 else ([f"  {name}"], hang)
    return head + textwrap.wrap(title, WIDTH, initial_indent=first, subsequent_indent=hang)

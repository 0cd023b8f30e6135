"""What there is to choose from, told in a terminal."""

import shutil
import textwrap
from inspect import cleandoc
from math import floor
from typing import get_args

from pydantic.fields import FieldInfo

from simulator.faults import Disturbance, Fault, area_of, catalogue
from simulator.planned import ScenarioError
from simulator.plant import RigSettings
from simulator.scenarios import all_scenarios

WIDTH_MIN, WIDTH_MAX = 39, 79


def scenarios_text() -> str:
    """All scenarios but those that only carry one fault's name."""
    faults = catalogue()
    lines = ["Scenarios:"]
    for name, scenario in all_scenarios().items():
        if name not in faults:
            lines += _item(name, scenario.title)
    more = "Every fault and disturbance is a scenario of its own name too: --list faults."
    lines += ["", *textwrap.wrap(more, _width())]
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
        lines += [*textwrap.wrap(paragraph, _width()), ""]
    if issubclass(kind, Disturbance):
        lines.append("Must trip nothing.")
        if kind.may_wake:
            lines.append(f"May speak: {', '.join(kind.may_wake)}.")
    else:
        lines += textwrap.wrap(f"Wakes: {', '.join(kind.wakes)}.", _width(), subsequent_indent="  ")
        lines += textwrap.wrap(f"Harm: {kind.harm.rstrip('.')}.", _width(), subsequent_indent="  ")
        deadline = deadline_words(kind().deadline_s(RigSettings()))
        lines += textwrap.wrap(f"Deadline as it stands: {deadline}.", _width())
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
    """A deadline as people say it, rounded to the early side."""
    if deadline_s < 120:
        return f"{floor(deadline_s)} s"
    if deadline_s < 600:
        return f"{floor(deadline_s / 6) / 10:g} min"
    if deadline_s < 7200:
        return f"{floor(deadline_s / 60)} min"
    return f"{floor(deadline_s / 360) / 10:g} h"


def _width() -> int:
    """Columns to write in; the terminal's, within reason."""
    return max(WIDTH_MIN, min(WIDTH_MAX, shutil.get_terminal_size().columns - 1))


def _key(key: str, field: FieldInfo) -> str:
    choices = ", ".join(map(str, get_args(field.annotation)))
    bounds = " to ".join(_bound(bound) for bound in field.metadata)
    return f"  {key}={field.default}   {choices or bounds}".rstrip()


def _bound(bound: object) -> str:
    """The figure of one of pydantic's bounds: ge, gt, le or lt."""
    return f"{getattr(bound, type(bound).__name__.lower()):g}"


def _item(name: str, title: str) -> list[str]:
    # In a narrow terminal the title goes below the name.
    room = 25 if _width() >= 60 else 0
    hang = " " * (room + 2) if room else " " * 6
    head, first = ([], f"  {name:{room}}") if len(name) < room else ([f"  {name}"], hang)
    return head + textwrap.wrap(title, _width(), initial_indent=first, subsequent_indent=hang)

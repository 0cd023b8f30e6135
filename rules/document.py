"""Writes `docs/alarms.md`: the alarm table and each hazard's page, from the code.

`python -m rules.document` prints it; `docs/build.sh` puts it in its place.

Source:
    Own layout; the texts are the hazards' own rows and docstrings.
"""

import re
import sys
from inspect import getdoc

from pydantic import BaseModel

from rules.events import Horn, Level
from rules.hazards import HAZARDS, Hazard

HEAD = """# Alarms

Made from `rules/hazards/` by `python -m rules.document`; change it there, not
here.

A *warning* speaks. A *trip* also takes the heat permit away and latches until
someone resets it at the rig. This is supervision, no certified safety function:
thermostat, thermal cut-out, relief valves, emergency stop and a competent
person stay. What a channel that is not fitted would show is not judged.

| alarm | what it is | if nobody acts | priority | on a warning | on a trip |
|---|---|---|---|---|---|
"""

HORNS = {
    Horn.SILENT: "silent",
    Horn.COME_WHEN_YOU_CAN: "short chirp",
    Horn.COME_NOW: "long with gaps",
    Horn.STAND_CLEAR: "continuous fast",
}


def alarms_page(hazards: tuple[Hazard, ...] = HAZARDS) -> str:
    """The whole page, in Markdown.

    Args:
        hazards: in the order in which they are to stand.

    Source:
        Own layout.
    """
    rows = "".join(_row(hazard) for hazard in hazards)
    pages = "".join(_page(hazard) for hazard in hazards)
    return f"{HEAD}{rows}{pages}"


def _row(hazard: Hazard) -> str:
    row = hazard.row
    cells = (
        f"[`{row.tag}`](#{_anchor(row.tag)})",
        row.title,
        row.consequence,
        row.priority.value,
        _told(hazard, Level.WARN),
        _told(hazard, Level.TRIP),
    )
    return f"| {' | '.join(cells)} |\n"


def _told(hazard: Hazard, level: Level) -> str:
    row = hazard.row
    if level is Level.TRIP:
        do, urgency, horn = row.trip_do, row.trip_urgency, row.trip_horn
    else:
        do, urgency, horn = row.warn_do, row.warn_urgency, row.warn_horn
    return f"{urgency.value}: {do} Horn {HORNS[horn]}." if do else "never"


def _anchor(tag: str) -> str:
    """The anchor of a heading on the common Git hosts: lower case, no dots."""
    return re.sub(r"[^a-z0-9_-]", "", tag.lower())


def _page(hazard: Hazard) -> str:
    text = getdoc(sys.modules[hazard.judge.__module__]) or ""
    flat = "\n".join(line.strip() for line in text.splitlines())
    words = re.sub(r"\n+([A-Z][a-z ]+):\n", r"\n\n**\1.** ", flat)
    return f"\n## {hazard.row.tag}\n\n{words}\n\n{_defaults(hazard.limits_type)}"


def _defaults(limits_type: type[BaseModel]) -> str:
    lines = ["| limit | default |", "|---|---|"]
    for name, field in limits_type.model_fields.items():
        lines.append(f"| `{name}` | {field.default:g} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.stdout.write(alarms_page())

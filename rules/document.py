"""Writes `docs/alarms.md`: a table of the alarms and a card for each, from the code.

`python -m rules.document` prints it; `docs/build.sh` puts it in its place.

Source:
    Own layout; what each card must hold follows IEC 62682 / ISA-18.2, alarm
    rationalisation. The texts are the hazards' own rows and docstrings.
"""

import re
import sys
from collections import Counter
from collections.abc import Iterator
from inspect import getdoc

from pydantic import BaseModel

from rules.events import Horn, Level
from rules.hazards import BY_TAG, HAZARDS, Hazard
from rules.hazards.base import Priority, Row
from rules.message_pages import HORN_WORDS, cautions
from rules.phases import TITLES

HEAD = """# Alarms

Made from `rules/hazards/` by `python -m rules.document`; change it there, not
here. The messages in full are in [messages.md](messages.md), what people can say to an
alarm in [alarm-life.md](alarm-life.md), the phases in [phases.md](phases.md).

A *warning* speaks. A *trip* also takes the heat permit away and latches until
someone resets it at the rig. This is supervision, no certified safety function:
thermostat, thermal cut-out, relief valves, emergency stop and a competent
person stay. What a channel that is not fitted would show is not judged. Follow the
compound's data sheet, local codes and the site's licensed practice first.

"""

SUMMARY = """
| alarm | what it is | priority | a warning | a trip |
|---|---|---|---|---|
"""

# Fields of limits in these units are times: how long before an alarm comes or goes.
TIMES = ("_s", "_min", "_h")


def alarms_page(hazards: tuple[Hazard, ...] = HAZARDS) -> str:
    """The whole page, in Markdown.

    Args:
        hazards: in the order in which they are to stand.

    Source:
        Own layout.
    """
    rows = "".join(_row(hazard) for hazard in hazards)
    pages = "".join(_page(hazard) for hazard in hazards)
    return f"{HEAD}{_count(hazards)}{SUMMARY}{rows}{pages}"


def lacks(hazard: Hazard) -> list[str]:
    """What a card needs and this hazard does not say.

    Args:
        hazard: whose row and docstring are looked at.

    Source:
        IEC 62682 / ISA-18.2, alarm rationalisation.
    """
    row = hazard.row
    needs = {
        "consequence": row.consequence,
        "causes": row.causes,
        "time_available": row.time_available,
        "Standard": _standard(hazard),
    }
    return [name for name, value in needs.items() if not value]


def _count(hazards: tuple[Hazard, ...]) -> str:
    counts = Counter(hazard.row.priority for hazard in hazards)
    words = ", ".join(f"{counts[priority]} {priority.value}" for priority in Priority)
    return (
        f"There are {len(hazards)} alarms, by the priority of their warnings: {words}. "
        "A trip is always of high priority.\n"
    )


def _row(hazard: Hazard) -> str:
    row = hazard.row
    cells = (
        f"[`{row.tag}`](#{_anchor(row.tag)})",
        row.title,
        row.priority.value,
        _soon(row, Level.WARN),
        _soon(row, Level.TRIP),
    )
    return f"| {' | '.join(cells)} |\n"


def _soon(row: Row, level: Level) -> str:
    if not (row.warn_do or row.trip_do):
        return "prompt only"
    if level is Level.TRIP:
        return row.trip_urgency.value if row.trip_do else "never"
    return row.warn_urgency.value if row.warn_do else "never"


def _told(hazard: Hazard, level: Level) -> str:
    row = hazard.row
    if level is Level.TRIP:
        do, urgency, horn = row.trip_do, row.trip_urgency, row.trip_horn
    else:
        do, urgency, horn = row.warn_do, row.warn_urgency, row.warn_horn
    if not do:
        return ""
    name, means = HORN_WORDS[horn]
    sounds = "" if horn is Horn.SILENT else f", {means}"
    return f"**{urgency.value}: {do}** Horn: {name}{sounds}."


def _anchor(tag: str) -> str:
    """The anchor of a heading on the common Git hosts: lower case, no dots."""
    return re.sub(r"[^a-z0-9_-]", "", tag.lower())


def _page(hazard: Hazard) -> str:
    text = getdoc(sys.modules[hazard.judge.__module__]) or ""
    flat = "\n".join(line.strip() for line in text.splitlines())
    # The card has it.
    flat = re.sub(r"\nStandard:\n(?:(?![A-Z][a-z ]+:\n).*\n)+", "\n", flat)
    words = re.sub(r"\n+([A-Z][a-z ]+):\n", r"\n\n**\1.** ", flat)
    card = "".join(f"| {name} | {value} |\n" for name, value in _card(hazard) if value)
    return (
        f"\n## {hazard.row.tag}\n\n{hazard.row.title[:1].upper()}{hazard.row.title[1:]}.\n\n"
        f"| | |\n|---|---|\n{card}\n{words}\n\n{_defaults(hazard.limits_type)}"
    )


def _card(hazard: Hazard) -> Iterator[tuple[str, str]]:
    row = hazard.row
    yield "if nobody acts", row.consequence
    yield "likely causes", "; ".join(row.causes)
    yield "do now, on a warning", _told(hazard, Level.WARN)
    yield "do now, on a trip", _told(hazard, Level.TRIP)
    yield "time available", row.time_available
    yield "the repair", row.rescue
    yield "priority", row.priority.value + ("; a trip is high" if row.trip_do else "")
    yield "delays and times", _delays(hazard.limits_type) or "none"
    yield "told with", _followed(row.follows)
    silent = "; ".join(f"{TITLES[phase]}: {why}" for phase, why in row.silent_in.items())
    yield "warning suppressed by design", silent or "in no phase"
    yield "standard", " ".join(_standard(hazard).split())
    yield "cautions", " ".join(cautions(row.tag))


def _followed(tags: tuple[str, ...]) -> str:
    return ", ".join(f"`{tag}`, {BY_TAG[tag].row.title}" if tag in BY_TAG else tag for tag in tags)


def _standard(hazard: Hazard) -> str:
    text = getdoc(sys.modules[hazard.judge.__module__]) or ""
    found = re.search(r"^Standard:\n((?:    .*\n?|\n)+)", text, flags=re.MULTILINE)
    return found[1].strip() if found else ""


def _delays(limits_type: type[BaseModel]) -> str:
    return ", ".join(
        f"`{name}` {field.default:g} {name.rsplit('_', 1)[1]}"
        for name, field in limits_type.model_fields.items()
        if name.endswith(TIMES) and "_per_" not in name and isinstance(field.default, int | float)
    )


def _defaults(limits_type: type[BaseModel]) -> str:
    lines = ["| limit | default |", "|---|---|"]
    for name, field in limits_type.model_fields.items():
        lines.append(f"| `{name}` | {field.default:g} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.stdout.write(alarms_page())

"""The fuller form of an alarm's message: some ten short lines for a page or a mail.

Source:
    This project's design; common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from rules.events import Horn, Level
from rules.hazards.base import Row

HORN_WORDS = {
    Horn.SILENT: ("silent", "it makes no noise for this"),
    Horn.COME_WHEN_YOU_CAN: ("short chirp", "come to the rig when you can"),
    Horn.COME_NOW: ("long with gaps", "come now"),
    Horn.STAND_CLEAR: ("continuous fast", "stand clear"),
}
ELECTRIC = "No relay proves a supply dead: that is a licensed electrician's work."
AIR = "Air in a bag can throw clamp and hoses: stand clear, pull no pin."
HOT = "Pads, leads and the repair burn skin: gloves."
FIRST = "Data sheets, local codes and licensed practice come first."
# By the first part of a tag: what of a rig its orders bring hands near to.
CAUTIONS: dict[str, tuple[str, ...]] = {
    "bag": (AIR, HOT),
    "cure": (AIR, HOT),
    "link": (AIR, HOT),
    "mains": (ELECTRIC, AIR),
    "output": (ELECTRIC, HOT),
    "pad": (ELECTRIC, HOT),
    "permit": (ELECTRIC, HOT),
    "release": (AIR, HOT),
    "rig": (ELECTRIC, AIR),
    "run": (AIR, HOT),
    "site": (ELECTRIC, HOT),
    "supply": (AIR, HOT),
}


@dataclass(frozen=True, slots=True)
class Facts:
    """What the lines of a page say besides the hazard's row.

    Attributes:
        orders: rig, how soon, and what to do.
        said: what was seen.
        since: since when.
        rescue: whether the repair can be saved, or empty.
        watch_only: this program has no power over the heat.
        wall_trusted: the clock is set.
    """

    orders: str
    said: str
    since: str
    rescue: str
    watch_only: bool
    wall_trusted: bool


def page(row: Row, level: Level, horn: Horn, facts: Facts, people: Sequence[str]) -> str:
    """The lines of an alarm's page.

    Args:
        row: of the hazard.
        level: warn or trip.
        horn: pattern asked for.
        facts: what this message says.
        people: lines on what else stands, and who knows of it.

    Source:
        Own layout.
    """
    lines = [
        facts.orders,
        f"What: {row.title}. {facts.said}".rstrip(),
        f"Since: {facts.since}.",
        f"If nobody acts: {row.consequence}.",
    ]
    if row.time_available:
        lines.append(f"Time: {row.time_available}.")
    if facts.rescue:
        lines.append(facts.rescue)
    if row.causes:
        lines.append(f"Look for: {'; '.join(row.causes)}.")
    lines += people
    lines.append(_horn_line(horn))
    lines += _heat_lines(level, facts)
    lines += cautions(row.tag)
    if not facts.wall_trusted:
        lines.append("The clock of this computer is not set: times may be wrong.")
    return "\n".join(lines)


def cautions(tag: str) -> tuple[str, ...]:
    """The usual cautions for an alarm; none where no heat, air or supply is touched.

    Args:
        tag: the hazard.

    Source:
        Common practice, no source.
    """
    touched = CAUTIONS.get(tag.partition(".")[0], ())
    return (*touched, FIRST) if touched else ()


def _horn_line(horn: Horn) -> str:
    name, means = HORN_WORDS[horn]
    if horn is Horn.SILENT:
        return f"Horn: {means}."
    if horn is Horn.STAND_CLEAR:
        stops = "Only a button at the rig stops it, for 2 minutes."
    else:
        stops = "A button at the rig stops it until it comes back; from afar say quiet, and why."
    return f"Horn: {name} means {means}. {stops}"


def _heat_lines(level: Level, facts: Facts) -> tuple[str, ...]:
    if facts.watch_only:
        return ("WATCH-ONLY: this program cannot cut the heat of this rig.",)
    if level is Level.TRIP:
        return ("Heat back: put it right, then reset at the rig. Nothing sent from afar does.",)
    return ()

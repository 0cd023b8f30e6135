"""Writes `docs/messages.md`: every message, short and full, in one place to be read aloud.

The figures are those of the hazards' own cases, played by whoever calls
`messages_page`; times and names are invented.

Source:
    Own layout; the words are those of `rules.messages`.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from rules.alphabet import room
from rules.events import Horn, Level
from rules.frame import NS_PER_S
from rules.hazards import BY_TAG
from rules.hazards.base import Finding
from rules.horns import horn_of
from rules.messages import (
    Subject,
    Telling,
    Told,
    alarm_told,
    escalated_told,
    follower_told,
    in_service_told,
    nuisance_told,
    out_of_service_told,
    over_told,
    prompt_told,
)

# 02:47 on 25 November 2026, UTC; the rig is called BAY 2. Invented.
NIGHT = Telling("BAY 2", 1_795_574_820 * NS_PER_S)
LATER = replace(NIGHT, wall_ns=NIGHT.wall_ns + 9 * 60 * NS_PER_S)

HEAD = """# Messages

Made from `rules/messages.py` and the rows of `rules/hazards/` by
`python -m tests.messages_page`; change it there, not here. The rig, the people and the
time, 02:47 at night, are invented; the figures come from the hazards' own cases.

A message begins with the rig and how soon somebody must come: GO NOW, GO BY a time, or
MORNING WILL DO. Then whether heat was cut, what to do with the air and the rest, what was
seen, since when, and whether the repair can be saved. The short form fits one short
message: 160 characters of the basic alphabet (3GPP TS 23.038). If it does not fit, first
*since* is left out, then the rescue, then what was seen is cut; never the orders. The full
form goes to a page or a mail.

"""

TEN = """## The ten a supervisor is most likely to get at night

Chosen for what a rig left alone in the evening meets most: nobody presses, the air goes
slowly, the compressor or the mains go, a plug or a cable fails. Common practice, no source.

"""


@dataclass(frozen=True, slots=True)
class Likely:
    """One of the ten.

    Attributes:
        tag: the hazard.
        level: warn or trip.
        why: why it is likely.
        form: `alarm`, `escalated` or `over`.
    """

    tag: str
    level: Level
    why: str
    form: str = "alarm"


LIKELY = (
    Likely("run.unattended", Level.WARN, "people walk off; nothing is more common"),
    Likely("site.energised_at_end_of_day", Level.WARN, "the supply is forgotten on going home"),
    Likely("bag.drift", Level.WARN, "valves and fittings leak a little, all night long"),
    Likely("supply.low", Level.WARN, "compressors stop by themselves, or somebody stops them"),
    Likely("mains.lost", Level.WARN, "a power cut takes heat, light and compressor at once"),
    Likely("pad.not_heating", Level.WARN, "pads, leads and contactors wear; the cure falls behind"),
    Likely("link.stale", Level.WARN, "a cable is pulled or a module loses its power"),
    Likely("pad.sensor", Level.TRIP, "sensor plugs work loose in the warmth"),
    Likely(
        "bag.low", Level.TRIP, "the leak went on, and the first message woke nobody", "escalated"
    ),
    Likely("run.unattended", Level.TRIP, "nobody came, heat was cut, and it is over", "over"),
)

Samples = Mapping[str, Sequence[Finding]]


def messages_page(samples: Samples) -> str:
    """The whole page, in Markdown.

    Args:
        samples: by tag, one finding of each level that the hazard's cases show.

    Source:
        Own layout.
    """
    parts = [HEAD, TEN, *_likely(samples), *_forms(samples), "## Every alarm\n"]
    for tag in BY_TAG:
        parts += _hazard(tag, samples.get(tag, ()))
    return "".join(parts)


def subject(tag: str, finding: Finding) -> Subject:
    """A finding as a message speaks of it, just begun.

    Args:
        tag: the hazard.
        finding: what it says.

    Source:
        Own method.
    """
    return Subject(
        BY_TAG[tag].row,
        finding.level,
        finding.said,
        NIGHT.wall_ns,
        finding.go_by_s,
        finding.save_s,
        horn_of(tag, finding),
    )


def _of(samples: Samples, tag: str, level: Level) -> Subject | None:
    found = next((item for item in samples.get(tag, ()) if item.level is level), None)
    return None if found is None else subject(tag, found)


def _likely(samples: Samples) -> Iterator[str]:
    for number, likely in enumerate(LIKELY, 1):
        about = _of(samples, likely.tag, likely.level)
        if about is None:
            continue
        told = alarm_told(NIGHT, about)
        if likely.form == "escalated":
            told = escalated_told(LATER, about, "nobody has seen it in 5 min")
        if likely.form == "over":
            told = over_told(LATER, about)
        yield f"{number}. **{told.short}**\n   {likely.why[:1].upper()}{likely.why[1:]}.\n"
    yield "\n"


def _forms(samples: Samples) -> Iterator[str]:
    low = _of(samples, "bag.low", Level.TRIP) or subject(
        "bag.low", Finding(Level.TRIP, "inner air 140 kPa, limit 150")
    )
    row = low.row
    seen = replace(low, seen_by="Ada")
    going = replace(seen, going_by="Ada")
    yield "## When it goes on\n\nThe same for every alarm, shown with `bag.low`.\n"
    for what, told in (
        ("nobody has seen it", escalated_told(LATER, low, "nobody has seen it in 5 min")),
        (
            "somebody is going and does not get there",
            escalated_told(LATER, going, "Ada is going, but nobody pressed at the rig in 15 min"),
        ),
        ("it came with another", follower_told(NIGHT, low, BY_TAG["bag.burst"].row)),
        ("it is over", over_told(LATER, seen)),
        ("it is over and nobody had seen it", over_told(LATER, low)),
        (
            "it comes and goes",
            nuisance_told(NIGHT, "chattering", row, "3 times in 60 s", begun=True),
        ),
        ("it has settled", nuisance_told(LATER, "chattering", row, "", begun=False)),
        ("it has stood for a day", nuisance_told(NIGHT, "stale", row, "over 24 h", begun=True)),
        (
            "too many at once",
            nuisance_told(NIGHT, "flood", None, "11 new alarms in 10 min", begun=True),
        ),
        (
            "it is taken out of service",
            out_of_service_told(NIGHT, row, "Ada", "gauge on order", NIGHT.wall_ns),
        ),
        ("it is back in service", in_service_told(LATER, row, "Ada")),
    ):
        yield _shown(what, told)


def _hazard(tag: str, findings: Sequence[Finding]) -> Iterator[str]:
    yield f"\n### {tag}\n"
    if not findings:
        yield "\nNo case of it speaks yet.\n"
    for finding in findings:
        about = subject(tag, finding)
        if finding.level is Level.PROMPT:
            told = prompt_told(NIGHT, finding.said, about.row)
            horn = "" if about.horn is Horn.SILENT else ", with a chirp"
            yield _shown(f"prompt{horn}", told)
        else:
            what = "trip" if finding.level is Level.TRIP else "warning"
            yield _shown(what, alarm_told(NIGHT, about))


def _shown(what: str, told: Told) -> str:
    return (
        f"\n{what}, {room(told.short)} characters:\n\n> {told.short}\n\n```text\n{told.page}\n```\n"
    )

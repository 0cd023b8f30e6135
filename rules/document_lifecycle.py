"""Writes `docs/alarm-life.md`: the life of an alarm, from the table of `rules.lifecycle`.

`python -m rules.document_lifecycle` prints it; `docs/build.sh` puts it in its place.

Source:
    Own layout; the states by the names of IEC 62682 / ISA-18.2, from memory.
"""

import sys

from rules.alarms import AlarmLimits
from rules.events import Horn
from rules.lifecycle import TABLE, Happening, Life
from rules.message_pages import HORN_WORDS

HEAD = """# The life of an alarm

Made from `rules/lifecycle.py` and `rules/alarms.py` by
`python -m rules.document_lifecycle`; change it there, not here.

Nothing on this page has to do with heat. A trip takes heat away and latches whether it
is seen, quiet or out of service, and only a button at the rig ends that. What people say
changes who is told, and when; never what is judged.

| where it is | by the standards | what it means |
|---|---|---|
"""

STATES = {
    Life.NORMAL: ("normal", "nothing is found"),
    Life.UNSEEN: ("unacknowledged", "it stands and nobody has said *seen*; it comes back"),
    Life.SEEN: ("acknowledged", "it stands and somebody has; it comes back more rarely"),
    Life.OVER_UNSEEN: (
        "returned to normal, unacknowledged",
        "it is over, and nobody has said *seen*: find out why it came",
    ),
    Life.QUIET: ("shelved", "it stands, and its horn is quiet for a while, for a reason"),
    Life.SUPPRESSED: (
        "suppressed by design",
        "it stands, in a phase in which it means nothing; recorded, told to nobody",
    ),
    Life.OUT_OF_SERVICE: (
        "out of service",
        "somebody took its warnings out, with a reason; recorded, told to nobody",
    ),
}

PEOPLE = """
## What people can say

- **seen**: I know of it. It silences nothing.
- **going**: I am on my way. *Seen* is not *going*, and *going* is not there: only a press
  at the rig shows that somebody came. If nobody presses, more people are told.
- **quiet**, with minutes and a reason: the horn is silent for a while. Not for *stand
  clear*.
- **out of service**, with a reason: its warnings are told to nobody until *in service*, or
  until the longest time is over. Its trips speak and cut heat all the same.

## The horn

| it sounds | it means | a button at the rig stops it |
|---|---|---|
"""

TIMES = """
## When it comes back, and when more people are told

All of it can be set under `[alarms]` of a rig's limits.

| what | default |
|---|---|
"""


def lifecycle_page() -> str:
    """The whole page, in Markdown.

    Source:
        Own layout.
    """
    states = "".join(f"| `{life}` | {STATES[life][0]} | {STATES[life][1]} |\n" for life in Life)
    return f"{HEAD}{states}{_ways()}{_diagram()}{PEOPLE}{_horns()}{TIMES}{_times()}"


def _ways() -> str:
    rows = ["\n| from | what happens | then it is |\n|---|---|---|\n"]
    for life in Life:
        for into in Life:
            happenings = [
                f"{happening}".replace("_", " ")
                for happening in Happening
                if TABLE[life, happening] is into and into is not life
            ]
            if happenings:
                rows.append(f"| `{life}` | {', '.join(happenings)} | `{into}` |\n")
    return "".join(rows)


def _diagram() -> str:
    ways = [
        f"    {life} --> {into}"
        for life in Life
        for into in Life
        if into is not life and any(TABLE[life, happening] is into for happening in Happening)
    ]
    return "\n".join(["", "```mermaid", "stateDiagram-v2", *ways, "```", ""])


def _horns() -> str:
    rows = []
    for horn in Horn:
        if horn is Horn.SILENT:
            continue
        name, means = HORN_WORDS[horn]
        stops = "until the alarm comes back, or worsens"
        if horn is Horn.STAND_CLEAR:
            stops = f"for {AlarmLimits().stand_clear_again_s:.0f} s; nothing else does"
        rows.append(f"| {name} | {means} | {stops} |\n")
    return "".join(rows)


def _times() -> str:
    limits = AlarmLimits()
    rows = (
        (
            "a trip, or an alarm of high priority, that nobody has seen comes back after",
            f"{limits.high_again_min:g} min, then twice as long each time",
        ),
        ("one of medium priority after", f"{limits.medium_again_min:g} min"),
        ("one of low priority after", f"{limits.low_again_min:g} min"),
        ("once seen, so many times longer", f"{limits.seen_again_factor:g}"),
        (
            "a trip with GO NOW that nobody has seen escalates after",
            f"{limits.trip_unseen_min:g} min",
        ),
        ("another alarm of high priority after", f"{limits.high_unseen_min:g} min"),
        ("*going*, and nobody presses at the rig: it escalates after", f"{limits.going_min:g} min"),
        ("*seen*, urgent, and nobody presses at the rig: after", f"{limits.seen_only_min:g} min"),
        ("longest quiet", f"{limits.quiet_min_max:g} min"),
        ("longest out of service", f"{limits.out_of_service_h_max:g} h"),
        ("what is over and was not seen stays in the list for", f"{limits.over_kept_h:g} h"),
        (
            "chattering: it goes so often within so long",
            f"{limits.chatter_falls} times in {limits.chatter_s:g} s",
        ),
        ("then it stands until it has stayed away for", f"{limits.settle_s:g} s"),
        ("stale: it stands longer than", f"{limits.stale_h:g} h"),
        (
            "flood: more new alarms than, within",
            f"{limits.flood_alarms} in {limits.flood_min:g} min",
        ),
        ("the flood ends with fewer than", f"{limits.flood_ends_alarms}"),
        ("what starts so soon after what brings it is told with it", f"{limits.follow_min:g} min"),
    )
    return "".join(f"| {what} | {value} |\n" for what, value in rows)


if __name__ == "__main__":
    sys.stdout.write(lifecycle_page())

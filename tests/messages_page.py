"""Prints `docs/messages.md`: plays every hazard's cases and tells what they make it say.

`python -m tests.messages_page`; `docs/build.sh` puts it in its place.
"""

import sys
from functools import cache

from rules.document_messages import messages_page
from rules.events import Level
from rules.hazards import BY_TAG, HAZARDS, Hazard
from rules.hazards.base import Finding
from tests.unit.hazard_cases import cases_of, play

# Times, where it gives them, and then a case of the kind show best what a hazard says.
KINDS = {Level.PROMPT: "warns", Level.WARN: "warns", Level.TRIP: "trips"}


def samples() -> dict[str, list[Finding]]:
    """By tag, one finding of each level that the hazard's cases show, mildest first."""
    return {hazard.row.tag: _samples(hazard) for hazard in HAZARDS}


def _samples(hazard: Hazard) -> list[Finding]:
    found: dict[Level, list[tuple[int, Finding]]] = {}
    for kind, finding in said_by(hazard):
        fits = kind == KINDS[finding.level]
        timed = finding.go_by_s is not None or finding.save_s is not None
        found.setdefault(finding.level, []).append((2 * timed + fits, finding))
    best = {level: max(items, key=lambda item: item[0])[1] for level, items in found.items()}
    return [best[level] for level in sorted(best)]


def said_by(hazard: Hazard) -> tuple[tuple[str, Finding], ...]:
    """Each thing that the cases of a hazard make it say, once, with the kind of its case."""
    return _said(hazard.row.tag)


@cache
def _said(tag: str) -> tuple[tuple[str, Finding], ...]:
    hazard = BY_TAG[tag]
    found: dict[tuple[Level, str], tuple[str, Finding]] = {}
    for case in cases_of(hazard):
        for _, _, finding in play(hazard, case):
            if finding.level > Level.CLEAR:
                found.setdefault((finding.level, finding.said), (case.kind, finding))
    return tuple(found.values())


if __name__ == "__main__":
    sys.stdout.write(messages_page(samples()))

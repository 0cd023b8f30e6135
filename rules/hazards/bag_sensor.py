"""A bag's pressure cannot be believed.

Hazard:
    To be written with the rule.
Standard:
    To be written with the rule.
Limits:
    None so far.
Trips when:
    Never so far.
Clears when:
    Never so far.
When data is missing:
    Not judged so far.
Not covered:
    Everything so far.
"""

from dataclasses import dataclass

from pydantic import BaseModel

from rules.facts import STRICT
from rules.hazards.base import NOT_JUDGED, Finding, Priority, Row
from rules.view import View


class Limits(BaseModel):
    """Limits of `bag.sensor`; what each is for stands above."""

    model_config = STRICT


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered."""


ROW = Row(
    tag="bag.sensor",
    title="a bag's pressure cannot be believed",
    consequence="what it would show goes unseen",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Check sensor and plug.",
    trip_do="",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    return memory, NOT_JUDGED

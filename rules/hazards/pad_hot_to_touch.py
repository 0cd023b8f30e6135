"""Pads hot to touch; not judged yet.

Hazard:
    Hands are burnt.
Standard:
    This project's design.
Limits:
    None yet.
Trips when:
    Nothing is judged yet.
Clears when:
    Nothing is judged yet.
When data is missing:
    Not judged.
Not covered:
    Nothing is judged yet.
"""

from dataclasses import dataclass

from pydantic import BaseModel

from rules.facts import STRICT
from rules.hazards.base import NOT_JUDGED, Finding, Priority, Row
from rules.view import View


class Limits(BaseModel):
    """Limits of `pad.hot_to_touch`."""

    model_config = STRICT


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered."""


REST = Memory()

ROW = Row(
    tag="pad.hot_to_touch",
    title="Pads hot to touch",
    consequence="Hands are burnt",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Look at the rig.",
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

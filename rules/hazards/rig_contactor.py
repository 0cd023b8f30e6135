"""The contactor does not follow.

Its rules come in the next commits; until then it is not judged.
"""

from dataclasses import dataclass

from pydantic import BaseModel

from rules.facts import STRICT
from rules.hazards.base import NOT_JUDGED, Finding, Priority, Row
from rules.view import View


class Limits(BaseModel):
    """Limits of `rig.contactor`."""

    model_config = STRICT


@dataclass(frozen=True, slots=True)
class Memory:
    """Nothing yet."""


ROW = Row(
    tag="rig.contactor",
    title="the contactor does not follow",
    consequence="heat cannot be taken away, or none comes",
    priority=Priority.HIGH,
    warn_do="KEEP AIR ON.",
    trip_do="KEEP AIR ON.",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Nothing is judged yet.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    return memory, NOT_JUDGED

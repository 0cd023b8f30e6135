"""Heat will not go off.

Its rules come in the next commits; until then it is not judged.
"""

from dataclasses import dataclass

from pydantic import BaseModel

from rules.facts import STRICT
from rules.hazards.base import NOT_JUDGED, Finding, Priority, Row
from rules.view import View


class Limits(BaseModel):
    """Limits of `pad.heat_after_cutoff`."""

    model_config = STRICT


@dataclass(frozen=True, slots=True)
class Memory:
    """Nothing yet."""


ROW = Row(
    tag="pad.heat_after_cutoff",
    title="heat will not go off",
    consequence="heat cannot be taken away; the rubber burns or is overdone",
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

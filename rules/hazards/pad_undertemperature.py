"""A pad goes cold in the hold.

Its rules come in the next commits; until then it is not judged.
"""

from dataclasses import dataclass

from pydantic import BaseModel

from rules.facts import STRICT
from rules.hazards.base import NOT_JUDGED, Finding, Priority, Row
from rules.view import View


class Limits(BaseModel):
    """Limits of `pad.undertemperature`."""

    model_config = STRICT


@dataclass(frozen=True, slots=True)
class Memory:
    """Nothing yet."""


ROW = Row(
    tag="pad.undertemperature",
    title="a pad goes cold in the hold",
    consequence="the repair misses cure and fails on the road",
    priority=Priority.MEDIUM,
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

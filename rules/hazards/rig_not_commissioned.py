"""Nobody has tried whether permit, horn, lamps and buttons of this rig work.

Hazard:
    What is to protect has never been tried: a permit wired to the wrong contact
    takes no heat away, and nobody hears a horn that is not connected.
Standard:
    Protective parts are tried before they are relied upon: common practice, no
    source; IEC 60204-1 has such tests, from memory.
Limits:
    `stands_min`, how long it stands once a run has begun.
Trips when:
    Never. Warns once in each run, without horn, for 10 min, while the rig's facts
    state no `commissioned_on`.
Clears when:
    It has stood for 10 min; the run ends; a date is stated.
When data is missing:
    It needs none. Outside a run, and on a rig that is only watched, which has no
    permit to try: not judged.
Not covered:
    Whether the trial was a good one, and what was changed since.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Horn, Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import lasted_s
from rules.view import View


class Limits(BaseModel):
    """Limits of `rig.not_commissioned`; what each is for stands above."""

    model_config = STRICT

    stands_min: float = Field(default=10.0, ge=1, le=60)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        since_ns: process time at which the run was first seen, ns, or None.
    """

    since_ns: int | None = None


REST = Memory()
WARNS = Finding(Level.WARN, "the rig's facts state no date of commissioning")

ROW = Row(
    tag="rig.not_commissioned",
    title="rig never commissioned",
    consequence="permit, horn and lamps may not work when they must",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Try permit and horn before heat.",
    trip_do="",
    warn_urgency=Urgency.MORNING,
    warn_horn=Horn.SILENT,
    causes=(
        "the rig was never commissioned",
        "it was, and the date was not put into commissioned_on",
    ),
    time_available="until heat changes the rubber: 20 min or more from cold",
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
    if view.facts.commissioned_on is not None:
        return REST, CLEAR
    if not view.run_open or view.watch_only:
        return REST, NOT_JUDGED
    if memory.since_ns is None:
        return Memory(view.now_ns), WARNS
    if lasted_s(view, memory.since_ns) < limits.stands_min * 60:
        return memory, WARNS
    return memory, CLEAR

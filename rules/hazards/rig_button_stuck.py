"""A button at the rig is stuck, or held down by tape.

Hazard:
    A button that stays down is not seen to be pressed again: whoever presses it
    is taken for absent, a trip cannot be reset, and a start that sticks asks for
    heat that no hand asked for. A taped here button is meant to say that someone
    is there when nobody is. The table of hazards had only the here button; start
    and reset stick by the same dust and grease, and told nobody.
Standard:
    A press counts by its rising edge, and a start held down is no start: IEC
    60204-1, unexpected start, as read in this project's design. The time is
    common practice, no source.
Limits:
    `held_s`, from which a button is stuck or taped; `free_s`, how long it must
    have been up again.
Trips when:
    Never: a button found down does nothing, so heat cannot come by it. Warns when
    start, here or reset has been down for 10 s, in a run or not. Also when it was
    already down as the supervisor started.
Clears when:
    The button has been up for 5 s.
When data is missing:
    A button that cannot be read is not counted on; what stands goes on standing,
    and its link or module tells of the rest. No button fitted: not judged.
Not covered:
    Tape that is put on and off, a button that is broken and never closes.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.channels import BUTTONS
from rules.events import Horn, Level
from rules.facts import STRICT
from rules.frame import Quality
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import began_ns, lasted_s, title_of
from rules.view import View

# From then on `run.unattended` asks for a press.
GO_BY_S = 1800.0
NEVER: tuple[int | None, int | None, int | None] = (None, None, None)


class Limits(BaseModel):
    """Limits of `rig.button_stuck`; what each is for stands above."""

    model_config = STRICT

    held_s: float = Field(default=10.0, gt=3, le=60)
    free_s: float = Field(default=5.0, ge=1, le=60)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        down_ns: since when start, here and reset have been down, ns, or None.
        stuck: the button that is stuck, or empty.
        up_ns: since when that one has been up again, ns, or None.
    """

    down_ns: tuple[int | None, int | None, int | None] = NEVER
    stuck: str = ""
    up_ns: int | None = None


REST = Memory()

ROW = Row(
    tag="rig.button_stuck",
    title="a button is stuck or taped",
    consequence="presses are not seen, and nobody may be there",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Free the button at the rig.",
    trip_do="",
    warn_urgency=Urgency.GO_BY,
    warn_horn=Horn.COME_WHEN_YOU_CAN,
    causes=(
        "rubber dust or grease in the button",
        "tape or a wedge on the here button",
        "a pinched wire, or a contact that has welded",
    ),
    time_available="half an hour: until nobody can show by it that someone is there",
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
    values, fitted, down = view.frame.values, False, False
    for name in BUTTONS:
        reading = values.get(name)
        if reading is not None:
            fitted = True
            down = down or bool(reading.value)
    if not down and memory.down_ns is NEVER and not memory.stuck:
        return REST, CLEAR if fitted else NOT_JUDGED
    memory = _stuck(limits, _held(memory, view), view)
    if not memory.stuck:
        return memory, CLEAR
    said = f"{title_of(memory.stuck)} held down for over {limits.held_s:.0f} s, let it go"
    held_s = max(0.0, *(lasted_s(view, since_ns) for since_ns in memory.down_ns))
    return memory, Finding(Level.WARN, said, go_by_s=max(0.0, GO_BY_S - held_s))


def _held(memory: Memory, view: View) -> Memory:
    start, here, reset = (
        began_ns(view, was_ns, holds=_is_down(view, name) is True)
        for name, was_ns in zip(BUTTONS, memory.down_ns, strict=True)
    )
    down_ns = (start, here, reset)
    return memory if down_ns == memory.down_ns else Memory(down_ns, memory.stuck, memory.up_ns)


def _stuck(limits: Limits, memory: Memory, view: View) -> Memory:
    if memory.stuck:
        up_ns = memory.up_ns
        if view.reading(memory.stuck) is None:
            memory = Memory(memory.down_ns)
        elif _is_down(view, memory.stuck) is not None:
            up_ns = began_ns(view, up_ns, holds=_is_down(view, memory.stuck) is False)
            if lasted_s(view, up_ns) >= limits.free_s:
                memory = Memory(memory.down_ns)
            elif up_ns != memory.up_ns:
                memory = Memory(memory.down_ns, memory.stuck, up_ns)
    if not memory.stuck:
        for name, since_ns in zip(BUTTONS, memory.down_ns, strict=True):
            if lasted_s(view, since_ns) >= limits.held_s:
                return Memory(memory.down_ns, name)
    return REST if memory == REST else memory


def _is_down(view: View, name: str) -> bool | None:
    reading = view.frame.values.get(name)
    if reading is None or reading.quality is not Quality.GOOD or reading.value is None:
        return None
    return reading.value >= 0.5

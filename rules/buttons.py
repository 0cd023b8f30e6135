"""The wired buttons: edges, long presses, and buttons that are stuck.

Source:
    This project's design: a press counts by its rising edge; held over 10 s
    it is a stuck or taped button.
"""

from dataclasses import dataclass

from rules.frame import NS_PER_S, Frame, Quality


@dataclass(frozen=True, slots=True)
class Button:
    """What is remembered of one button.

    Attributes:
        down: as last read well; None before the first good reading, so that a
            button found pressed is no press.
        down_since_ns: process time of the press, ns.
        long_told: the long press has been acted on.
    """

    down: bool | None = None
    down_since_ns: int = 0
    long_told: bool = False


@dataclass(frozen=True, slots=True)
class Edge:
    """What a button did in this frame.

    Attributes:
        button: after the frame.
        pressed: newly pressed.
        held_long: has just been held for the long-press time.
    """

    button: Button
    pressed: bool = False
    held_long: bool = False


def follow(button: Button, frame: Frame, channel: str, now_ns: int, long_s: float) -> Edge:
    """One button with one more frame.

    Args:
        button: so far.
        frame: the frame.
        channel: the button's channel.
        now_ns: process time, ns.
        long_s: how long a long press is, s.

    Source:
        Own method.
    """
    reading = frame.values.get(channel)
    if reading is None or reading.quality is not Quality.GOOD or reading.value is None:
        return Edge(button)
    down = reading.value >= 0.5
    if down and button.down is False:
        return Edge(Button(down=True, down_since_ns=now_ns), pressed=True)
    if down != button.down:
        # Found pressed, or let go: a button found pressed can do nothing.
        return Edge(Button(down=down, down_since_ns=now_ns, long_told=down))
    if down and not button.long_told and now_ns - button.down_since_ns >= long_s * NS_PER_S:
        return Edge(
            Button(down=True, down_since_ns=button.down_since_ns, long_told=True), held_long=True
        )
    return Edge(button)

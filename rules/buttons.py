"""The wired buttons: edges, long presses, and buttons that are stuck.

Source:
    This project's design: a press counts by its rising edge; held over 10 s
    it is a stuck or taped button.
"""

from dataclasses import dataclass, replace

from rules.frame import NS_PER_S, Frame, Quality


@dataclass(frozen=True, slots=True)
class Button:
    """What is remembered of one button.

    Attributes:
        down: as last read well; None before the first good reading and after
            it could not be read for long, so that a button found pressed is no
            press.
        down_since_ns: process time of the press, ns.
        long_told: the long press has been acted on.
        unread_ns: process time since which it cannot be read, ns, or None.
    """

    down: bool | None = None
    down_since_ns: int = 0
    long_told: bool = False
    unread_ns: int | None = None


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


def follow(
    button: Button, frame: Frame, channel: str, now_ns: int, *, long_s: float, forget_s: float
) -> Edge:
    """One button with one more frame.

    Args:
        button: so far; pass a fresh one across a gap.
        frame: the frame.
        channel: the button's channel.
        now_ns: process time, ns.
        long_s: how long a long press is, s.
        forget_s: unread for longer than this, what it was is forgotten, s.

    Source:
        Own method.
    """
    reading = frame.values.get(channel)
    if reading is None or reading.quality is not Quality.GOOD or reading.value is None:
        return Edge(_unread(button, now_ns, forget_s))
    if button.unread_ns is not None:
        button = replace(_unread(button, now_ns, forget_s), unread_ns=None)
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


def _unread(button: Button, now_ns: int, forget_s: float) -> Button:
    if button.down is None:
        return button
    if button.unread_ns is None:
        return replace(button, unread_ns=now_ns)
    return Button() if now_ns - button.unread_ns > forget_s * NS_PER_S else button

"""The wired buttons: edges, long presses, and buttons that are stuck.

Source:
    This project's design: a press counts by its rising edge; held over 10 s
    it is a stuck or taped button.
"""

from dataclasses import dataclass, replace
from enum import Enum

from rules.frame import NS_PER_S, Frame, Quality, Reading


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


class Did(Enum):
    """What a button newly did in a frame."""

    NOTHING = "nothing"
    PRESSED = "pressed"
    HELD_LONG = "held_long"


def at_rest(button: Button, reading: Reading | None) -> bool:
    """The button was up and is up: there is nothing to follow.

    Source:
        Own method.
    """
    return (
        reading is not None
        and reading.quality is Quality.GOOD
        and reading.value is not None
        and reading.value < 0.5
        and button.down is False
        and button.unread_ns is None
    )


def follow(
    button: Button, frame: Frame, channel: str, now_ns: int, *, long_s: float, forget_s: float
) -> tuple[Button, Did]:
    """One button with one more frame.

    Args:
        button: so far; pass a fresh one across a gap.
        frame: the frame.
        channel: the button's channel.
        now_ns: process time, ns.
        long_s: how long a long press is, s.
        forget_s: unread for longer than this, what it was is forgotten, s.

    Returns:
        The button after the frame, and what it newly did: was pressed, or has just been
        held for the long-press time.

    Source:
        Own method.
    """
    reading = frame.values.get(channel)
    if reading is None or reading.quality is not Quality.GOOD or reading.value is None:
        return _unread(button, now_ns, forget_s), Did.NOTHING
    if button.unread_ns is not None:
        button = replace(_unread(button, now_ns, forget_s), unread_ns=None)
    down = reading.value >= 0.5
    if down and button.down is False:
        return Button(down=True, down_since_ns=now_ns), Did.PRESSED
    if down != button.down:
        # Found pressed, or let go: a button found pressed can do nothing.
        return Button(down=down, down_since_ns=now_ns, long_told=down), Did.NOTHING
    if down and not button.long_told and now_ns - button.down_since_ns >= long_s * NS_PER_S:
        since_ns = button.down_since_ns
        return Button(down=True, down_since_ns=since_ns, long_told=True), Did.HELD_LONG
    return button, Did.NOTHING


def _unread(button: Button, now_ns: int, forget_s: float) -> Button:
    if button.down is None:
        return button
    if button.unread_ns is None:
        return replace(button, unread_ns=now_ns)
    return Button() if now_ns - button.unread_ns > forget_s * NS_PER_S else button

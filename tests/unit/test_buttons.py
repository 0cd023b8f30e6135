"""Edges, long presses, and buttons that are found pressed, stuck or unread."""

import pytest

from rules.buttons import Button, Did, follow
from rules.frame import NS_PER_S, Frame, Quality, Reading, Reason


def told(pattern: str, period_s: float = 1.0, long_s: float = 3.0, forget_s: float = 3.0) -> str:
    """What a button does, a character per frame: `_` up, `#` down, `?` unread, `x` not fitted.

    Comes back as `.` nothing, `P` pressed, `L` held long.
    """
    button, out = Button(), ""
    for index, sign in enumerate(pattern):
        value = {"_": 0.0, "#": 1.0}.get(sign)
        quality = Quality.BAD if value is None else Quality.GOOD
        reading = Reading(value, quality, Reason.NONE, 0)
        frame = Frame(index, 0, 0, True, "boot", {} if sign == "x" else {"start_button": reading})
        now_ns = round(index * period_s * NS_PER_S)
        button, did = follow(
            button, frame, "start_button", now_ns, long_s=long_s, forget_s=forget_s
        )
        out += {Did.PRESSED: "P", Did.HELD_LONG: "L", Did.NOTHING: "."}[did]
    return out


@pytest.mark.parametrize(
    ("pattern", "does"),
    [
        ("_#_", ".P."),
        ("_#_#_", ".P.P."),
        ("_######_", ".P..L..."),  # once, however long
        ("_###_", ".P..."),  # two seconds are not long
        ("##########_", "..........."),  # found pressed can do nothing
        ("####_#_", ".....P."),
        ("?##_#", "....P"),  # unread at first, then found pressed
        ("_?#_", "..P."),  # one poll lost
        ("_###?##", ".P...L."),  # one poll lost in a long press
        ("_???#_#", "....P.P"),
        ("_?????#_#", "........P"),  # unread for over 3 s: found pressed
        ("_xxxxx#_#", "........P"),  # not fitted for a while is no different
        ("_#?????#", ".P......"),  # held through: neither a second press nor a long one
    ],
)
def test_a_press_is_its_rising_edge(pattern, does):
    assert told(pattern) == does


@pytest.mark.parametrize(("period_s", "does"), [(10.0, ".PL.."), (60.0, ".PL..")])
def test_slow_frames_see_a_press_that_lasts(period_s, does):
    assert told("_###_", period_s, forget_s=2.5 * period_s) == does


def test_an_unchanged_button_is_the_same_object():
    reading = Reading(0.0, Quality.GOOD, Reason.NONE, 0)
    frame = Frame(1, 0, 0, True, "boot", {"start_button": reading})
    up = Button(down=False)
    assert follow(up, frame, "start_button", 9, long_s=3, forget_s=3)[0] is up

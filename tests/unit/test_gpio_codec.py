"""Edges and levels into switches, outputs that move, and what a configuration may say of pins."""

import pytest
from pydantic import ValidationError

from drivers.gpio import KINDS, GpioSettings, OutputSettings, PointSettings
from drivers.gpio import kinds as gpio_kinds
from drivers.gpio.codec import CHATTER_EDGES, Edge, Moving, Switch
from rules.buttons import Button, Did, follow
from rules.frame import Frame, Quality, Reading, Reason

S = 1_000_000_000
STRETCH_S = 1.2
KIND = KINDS[0]
CHIP = GpioSettings(chip="/dev/gpiochip0")


def ns(seconds: float) -> int:
    return round(seconds * S)


def switch(stretch_s: float = STRETCH_S) -> Switch:
    made = Switch(ns(stretch_s))
    made.level(0, on=False)
    return made


def pressed(at_s: float, until_s: float) -> Switch:
    made = switch()
    made.edge(Edge("b", True, 1), ns(at_s))
    made.edge(Edge("b", False, 2), ns(until_s))
    return made


@pytest.mark.parametrize(
    ("until_s", "seen_s", "on"),
    [
        (1.05, 1.05, True),  # a short press is stretched,
        (1.05, 2.19, True),
        (1.05, 2.2, False),  # to its end and no more
        (2.19, 2.19, True),
        (4.0, 4.0, False),  # a long one is not lengthened
    ],
)
def test_on_until_the_later_of_release_and_stretch(until_s: float, seen_s: float, on: bool) -> None:
    assert pressed(1.0, until_s).shows(ns(seen_s)) is on


@pytest.mark.parametrize("every_s", [0.1, 0.25, 0.33, 0.7, 1.0, 1.2, 1.3])
def test_quick_presses_never_look_like_a_long_one(every_s: float) -> None:
    """Held for 3 s, `start_button` ends a trip: hammered, it must not."""
    made, button, frames = switch(), Button(down=False), []
    changes = {round(1e3 * (1 + every_s * n / 2)): n % 2 == 0 for n in range(round(20 / every_s))}
    for ms in range(round(10e3)):
        if ms in changes:
            made.edge(Edge("b", changes[ms], 0), ns(ms / 1e3))
        if ms % 250 == 0:  # as the link polls
            made.level(ns(ms / 1e3), on=made.on)
        if ms % 1000 == 250 and not made.chatters(ns(ms / 1e3)):
            reading = Reading(float(made.shows(ns(ms / 1e3))), Quality.GOOD, Reason.NONE, 0)
            frame = Frame(
                seq=0,
                t_ns=ns(ms / 1e3),
                wall_ns=0,
                wall_trusted=True,
                boot_id="b",
                values={"start_button": reading},
            )
            button, did = follow(
                button, frame, "start_button", frame.t_ns, long_s=3.0, forget_s=5.0
            )
            frames.append(did)
    assert Did.HELD_LONG not in frames
    assert frames.count(Did.PRESSED) >= 3


@pytest.mark.parametrize(
    ("changes_s", "on_s", "off_s"),
    [
        # Bounces of 10 ms as it is pressed and let go: one press of 4 s.
        ((1.0, 1.01, 1.02, 5.0, 5.01, 5.02), (1.0, 1.015, 2.5, 4.99), (5.1, 6.3)),
        # A second one too soon is not counted,
        ((1.0, 1.1, 2.3, 2.4), (1.0, 2.19), (2.2, 2.35, 3.45, 3.6)),
        # unless it is held beyond; then it shows as any other.
        ((1.0, 1.1, 2.3, 3.5), (2.1, 3.4, 4.59), (2.35, 3.39, 4.6)),
    ],
)
def test_after_a_press_it_is_off_for_as_long(
    changes_s: tuple[float, ...], on_s: tuple[float, ...], off_s: tuple[float, ...]
) -> None:
    for seen_s in (*on_s, *off_s):
        made = switch()
        for number, at_s in enumerate(changes_s):
            if at_s <= seen_s:
                made.edge(Edge("b", number % 2 == 0, number + 1), ns(at_s))
        assert made.shows(ns(seen_s)) is (seen_s in on_s), seen_s


def test_a_long_press_shows_as_long_as_it_lasts() -> None:
    made = switch()
    made.edge(Edge("b", True, 1), ns(1))
    assert made.shows(ns(60))


def test_without_stretch_it_is_its_level() -> None:
    made = switch(0.0)
    made.edge(Edge("b", True, 1), ns(1))
    assert made.shows(ns(1))
    made.edge(Edge("b", False, 2), ns(1.1))
    assert not made.shows(ns(1.1))


@pytest.mark.parametrize("level", [True, False])
def test_the_level_wins_over_the_edges(level: bool) -> None:
    made = switch(0.0)
    made.edge(Edge("b", not level, 1), ns(1))
    made.level(ns(2), on=level)
    assert made.shows(ns(2)) is level


def test_a_press_seen_by_its_level_alone_is_stretched_too() -> None:
    made = switch()
    made.level(ns(1), on=True)
    made.level(ns(1.25), on=False)
    assert made.shows(ns(2.19))
    assert not made.shows(ns(2.2))


def test_found_pressed_is_on_and_not_stretched() -> None:
    made = Switch(ns(STRETCH_S))
    made.level(ns(1), on=True)
    assert made.shows(ns(1))
    made.level(ns(1.25), on=False)
    assert not made.shows(ns(1.25))


@pytest.mark.parametrize(("edges", "chatters"), [(CHATTER_EDGES, True), (CHATTER_EDGES - 1, False)])
def test_more_edges_than_a_hand_makes(edges: int, chatters: bool) -> None:
    made = switch()
    for number in range(edges):
        made.edge(Edge("b", number % 2 == 0, number + 1), ns(1 + 0.02 * number))
    end_s = 1 + 0.02 * edges
    assert made.chatters(ns(end_s)) is chatters
    assert not made.chatters(ns(end_s + 1))
    # A second without an edge later: no press of all this is left but a calm one's.
    assert made.shows(ns(end_s + 0.5)) is not chatters


def test_edges_spread_over_more_than_a_second_are_a_hand() -> None:
    made = switch()
    for number in range(3 * CHATTER_EDGES):
        made.edge(Edge("b", number % 2 == 0, number + 1), ns(1 + 0.05 * number))
        assert not made.chatters(ns(1 + 0.05 * number))


def test_edges_lost_count_as_chatter_and_never_as_a_press() -> None:
    made = switch()
    made.edge(Edge("b", True, 1), ns(1))
    made.edge(Edge("b", False, 2), ns(1.1))
    made.edge(Edge("b", False, 2 + CHATTER_EDGES), ns(5))
    assert made.lost == CHATTER_EDGES - 1
    assert made.chatters(ns(5))
    assert not made.shows(ns(5))


def test_one_lost_edge_is_no_chatter() -> None:
    made = switch()
    made.edge(Edge("b", True, 1), ns(1))
    made.edge(Edge("b", True, 3), ns(1.5))
    assert made.lost == 1
    assert not made.chatters(ns(1.5))


def moved(levels: list[bool], period_s: float = 0.25) -> tuple[Moving, int]:
    """An output whose level was read so, once a period, and written each time."""
    made, now_ns = Moving(ns(period_s)), ns(1)
    made.start(now_ns)
    for on in levels:
        now_ns += ns(period_s)
        made.read(now_ns, on=on)
        if made.active:
            made.next_edge()
    return made, now_ns


@pytest.mark.parametrize(
    ("levels", "on"),
    [
        ([True], True),
        ([True, False, True, False], True),
        ([], False),  # nothing seen yet
        ([True, True, True, True], False),  # stuck high
        ([False, False, False], False),  # stuck low
        ([True, False, True, True], True),  # one edge may fail
    ],
)
def test_on_only_while_edges_are_seen(levels: list[bool], on: bool) -> None:
    made, now_ns = moved(levels)
    assert made.moves(now_ns) is on


@pytest.mark.parametrize(("periods", "on"), [(2.4, True), (2.5, False)])
def test_seen_within_two_and_a_half_periods(periods: float, on: bool) -> None:
    made, now_ns = moved([True, False, True])
    later_ns = now_ns + round(periods * ns(0.25))
    assert made.moves(later_ns) is on
    made.check(later_ns)
    assert made.active is on


def test_reading_again_between_two_edges_is_no_move() -> None:
    made, now_ns = moved([True])
    made.read(now_ns + ns(0.25), on=False)  # the edge written after the first
    for step in (2, 3):
        made.read(now_ns + step * ns(0.25), on=False)
    assert not made.moves(now_ns + ns(0.875))


def test_a_level_that_changes_by_itself_is_no_move() -> None:
    made, now_ns = moved([True])
    made.read(now_ns + ns(0.25), on=False)
    made.read(now_ns + ns(0.5), on=True)  # nobody wrote that
    assert not made.moves(now_ns + ns(0.875))


def test_once_stopped_it_does_not_begin_by_itself() -> None:
    made, now_ns = moved([True, True, True, True])
    made.read(now_ns + ns(0.25), on=False)
    assert not made.active
    assert not made.moves(now_ns + ns(0.25))


def output(**more: object) -> OutputSettings:
    return OutputSettings.model_validate({"line": 5, "token": "bay-1", **more})


@pytest.mark.parametrize(
    ("name", "toggled", "refused"),
    [
        ("bay-1/heat_permit", False, True),
        ("bay-1/heat_permit", True, False),
        ("bay-1/horn", False, False),
    ],
)
def test_a_permit_on_a_pin_must_move(name: str, toggled: bool, refused: bool) -> None:
    found = list(KIND.faults(CHIP, {}, {name: output(toggled=toggled)}))
    assert any("keeps its level when this computer hangs" in fault for fault in found) is refused
    assert len(found) == refused


@pytest.mark.parametrize(
    ("name", "stretch_s", "refused"),
    [
        ("bay-1/estop_ok", None, True),
        ("bay-1/estop_ok", 0.0, False),
        ("bay-1/start_button", None, False),
    ],
)
def test_contacts_that_stand_are_not_stretched(
    name: str, stretch_s: float | None, refused: bool
) -> None:
    point = PointSettings(line=4, bias="none", stretch_s=stretch_s)
    found = list(KIND.faults(CHIP, {name: point}, {}))
    assert any("would look closed" in fault for fault in found) is refused
    assert len(found) == refused


def test_too_many_lines() -> None:
    points = {f"bay-1/{line}": PointSettings(line=line, bias="none") for line in range(65)}
    assert "at most 64" in next(iter(KIND.faults(CHIP, points, {})))
    del points["bay-1/0"]
    assert list(KIND.faults(CHIP, points, {})) == []


def test_without_the_library_the_configuration_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gpio_kinds, "find_spec", lambda _name: None)
    assert "install curehold[gpio]" in next(iter(KIND.faults(CHIP, {}, {})))


@pytest.mark.parametrize(
    "wrong",
    [{"line": -1}, {"line": 1024}, {"line": ""}, {"line": True}, {"line": 1, "bias": "up"}],
)
def test_points_that_are_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        PointSettings.model_validate(wrong)


def test_settings_say_what_is_wrong() -> None:
    with pytest.raises(ValidationError, match="raise hold_s or lower period_s"):
        GpioSettings(chip="x", period_s=2.0, hold_s=1.0)
    with pytest.raises(ValidationError):
        GpioSettings(chip="x", hold_s=31.0)
    assert (CHIP.debounce_ms, CHIP.stretch_s) == (20, 1.2)


def test_the_same_line_twice_is_found() -> None:
    assert set(KIND.claims(PointSettings(line=4, bias="none"))) == set(KIND.claims(output(line=4)))
    assert KIND.place(output(line="HORN")) == "line HORN"

"""What hands do out of turn: one small act for each order."""

from collections.abc import Callable

from simulator.crew.plan import Order
from simulator.panel import Controls

PRESS_S = 2.0
TURN_C = 20.0
TURN_KPA = 10.0


def carry_out(order: str, now_s: float, controls: Controls) -> None:
    """Do one thing.

    Args:
        order: an `Order`, or its value.
        now_s: plant time, s.
        controls: what hands can set.

    Raises:
        ValueError: there is no such order.
    """
    known = Order(order)
    button = _BUTTONS.get(known)
    if button is None:
        _DOES[known](controls)
    else:
        controls.press(button, now_s, PRESS_S)


def _let_down(controls: Controls) -> None:
    controls.release_request = True
    _feeds(controls, is_open=False)
    _exhausts(controls, are_open=True)


def _shut_exhaust(controls: Controls) -> None:
    controls.release_request = False
    _exhausts(controls, are_open=False)


def _feeds(controls: Controls, *, is_open: bool) -> None:
    for valves in controls.valves.values():
        valves.feed_open = is_open


def _exhausts(controls: Controls, *, are_open: bool) -> None:
    for valves in controls.valves.values():
        valves.exhaust_open = are_open


def _turn_air(controls: Controls, by_kpa: float) -> None:
    for valves in controls.valves.values():
        valves.set_kpa += by_kpa


def _turn_heat(controls: Controls, by_c: float) -> None:
    if controls.set_c is not None:
        controls.set_c += by_c


def _turn_off(controls: Controls) -> None:
    controls.set_c = None


def _pins(controls: Controls, *, are_in: bool) -> None:
    controls.pins_in = are_in


def _plugs(controls: Controls, *, are_in: bool) -> None:
    controls.plugged = dict.fromkeys(controls.plugged, are_in)


def _take_off(controls: Controls) -> None:
    controls.pins_in = False
    controls.mounted = False


def _estop(controls: Controls, *, pressed: bool) -> None:
    controls.estop_pressed = pressed


_BUTTONS = {
    Order.PRESS_START: "start_button",
    Order.PRESS_HERE: "here_button",
    Order.PRESS_RESET: "reset_button",
}

_DOES: dict[Order, Callable[[Controls], None]] = {
    Order.LET_DOWN: _let_down,
    Order.SHUT_EXHAUST: _shut_exhaust,
    Order.OPEN_FEED: lambda controls: _feeds(controls, is_open=True),
    Order.SHUT_FEED: lambda controls: _feeds(controls, is_open=False),
    Order.TRIM_UP: lambda controls: _turn_air(controls, TURN_KPA),
    Order.TRIM_DOWN: lambda controls: _turn_air(controls, -TURN_KPA),
    Order.PULL_PINS: lambda controls: _pins(controls, are_in=False),
    Order.PUT_PINS_IN: lambda controls: _pins(controls, are_in=True),
    Order.RAISE_SET: lambda controls: _turn_heat(controls, TURN_C),
    Order.LOWER_SET: lambda controls: _turn_heat(controls, -TURN_C),
    Order.TURN_OFF: _turn_off,
    Order.UNPLUG: lambda controls: _plugs(controls, are_in=False),
    Order.PLUG: lambda controls: _plugs(controls, are_in=True),
    Order.TAKE_OFF: _take_off,
    Order.TAPE_HERE: lambda controls: controls.taped.add("here_button"),
    Order.UNTAPE: lambda controls: controls.taped.clear(),
    Order.PRESS_ESTOP: lambda controls: _estop(controls, pressed=True),
    Order.FREE_ESTOP: lambda controls: _estop(controls, pressed=False),
}

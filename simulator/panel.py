"""Where people and plant meet: what hands can set, what eyes and ears can tell.

The crew gets these and nothing else, so it cannot act on what no one could see.
"""

from dataclasses import dataclass, field
from typing import NamedTuple

from simulator.bags import BagValves

SIDES = ("inner", "outer")
BUTTONS = ("start_button", "here_button", "reset_button")
COILS = ("heat_permit", "horn", "beacon_red", "beacon_amber", "release_permit")


@dataclass(slots=True)
class Controls:
    """Everything hands can set.

    Attributes:
        set_c: both thermostats' knob, °C; None is off.
        plugged: by side, the pad's lead is in.
        mounted: the pads are on the tyre.
        pins_in: the clamp's pins are in.
        release_request: the switch that asks to let down.
        estop_pressed: the emergency stop is pressed.
        tyre: count of tyres brought to the rig; a new one is cold.
        valves: by side.
        released_at_s: by button, the plant time at which the press ends.
        taped: buttons held down by tape.
    """

    set_c: float | None = None
    plugged: dict[str, bool] = field(default_factory=lambda: dict.fromkeys(SIDES, True))
    mounted: bool = False
    pins_in: bool = False
    release_request: bool = False
    estop_pressed: bool = False
    tyre: int = 1
    valves: dict[str, BagValves] = field(
        default_factory=lambda: {side: BagValves() for side in SIDES}
    )
    released_at_s: dict[str, float] = field(default_factory=lambda: dict.fromkeys(BUTTONS, 0.0))
    taped: set[str] = field(default_factory=set)

    def press(self, button: str, now_s: float, for_s: float) -> None:
        """Hold a button down until `now_s + for_s`."""
        self.released_at_s[button] = now_s + for_s

    def pressed(self, button: str, now_s: float) -> bool:
        """The button is down, by hand or by tape."""
        return button in self.taped or now_s < self.released_at_s[button]


class Shown(NamedTuple):
    """What a person at the rig can see and hear.

    Attributes:
        pads_c: by side, from the thermostats' own dials, which need no mains, °C.
        bags_kpa: by side, from the dial gauges, kPa.
        lamps: outputs of the supervisor by coil name; the horn among them.
    """

    pads_c: dict[str, float]
    bags_kpa: dict[str, float]
    lamps: dict[str, bool]


class RelayModule:
    """The relay module: coils, contacts, and a time-out that opens them all.

    Attributes:
        coils: by name, as written and as read back.
        stuck: by name, a contact that stays where it is, closed or open, whatever
            the coil and the module's own supply do.
        powered: the module has its supply; without it all contacts open, it
            answers nothing and has forgotten its coils.
        horn_dead: the horn makes no sound though its contact closes.
        timeout_s: without a request for this long all coils open; 0 is never.
        silent_s: plant time since the last request.
    """

    def __init__(self) -> None:
        self.coils = dict.fromkeys(COILS, False)
        self.stuck: dict[str, bool] = {}
        self.powered = True
        self.horn_dead = False
        self.timeout_s = 5.0
        self.silent_s = 0.0

    def contact(self, name: str) -> bool:
        """The contact of one coil is closed."""
        return self.stuck.get(name, self.powered and self.coils[name])

    def shown(self) -> dict[str, bool]:
        """What the lamps show and the horn sounds, by coil name."""
        shown = dict(self.coils) if self.powered else dict.fromkeys(COILS, False)
        shown.update(self.stuck)
        if self.horn_dead:
            shown["horn"] = False
        return shown

    def heard(self) -> None:
        """A request for this unit has come."""
        self.silent_s = 0.0

    def advance(self, dt_s: float) -> None:
        """Count silence and open the coils when it has lasted too long."""
        self.silent_s += dt_s
        if not self.powered or 0 < self.timeout_s < self.silent_s:
            self.coils = dict.fromkeys(COILS, False)

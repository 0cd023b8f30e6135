"""One rig: pads, repair, bags, supply, contactor and instruments, as they really are.

`advance` moves it by one step. What it knows that no wire carries is the
`truth`. Nothing here reads a clock: plant time is what was advanced.
"""

from dataclasses import dataclass, replace
from random import Random

from simulator.bags import Bag, BagSettings
from simulator.cured import CompoundSettings, Cured
from simulator.electrics import Electrics
from simulator.exchange import ClampSettings
from simulator.heat import Heat
from simulator.host import Host, Papers
from simulator.pads import PadSettings
from simulator.panel import SIDES, Controls, RelayModule, Shown
from simulator.sensors import (
    CURRENT_CLAMP,
    THERMOCOUPLE,
    TRANSMITTER,
    Failure,
    Instrument,
    InstrumentSettings,
    TerminalBox,
)
from simulator.slab import SlabSettings
from simulator.supply import Supply, SupplySettings
from simulator.surroundings import Surroundings
from simulator.wire import Wire

STEP_S = 1.0
HEAT_ON_A = 1.0
THERMOCOUPLES = frozenset({"pad_inner_c", "pad_outer_c", "ambient_c", "tyre_wall_c"})


@dataclass(frozen=True, slots=True)
class RigSettings:
    """How a rig is built; all figures invented and of a plausible size.

    Attributes:
        ambient_c: air and cold tyre, °C.
        pad: both pads.
        slab: the repair.
        compound: its rubber.
        clamp: behind the pads.
        bag: both bags.
        supply: compressor and receiver.
        thermocouple: how the three thermocouples behave.
        transmitter: how the three pressure transmitters behave.
        knob_error_c_max: each thermostat's knob is off by up to this, by seed.
    """

    ambient_c: float = 20.0
    pad: PadSettings = PadSettings()
    slab: SlabSettings = SlabSettings()
    compound: CompoundSettings = CompoundSettings()
    clamp: ClampSettings = ClampSettings()
    bag: BagSettings = BagSettings()
    supply: SupplySettings = SupplySettings()
    thermocouple: InstrumentSettings = THERMOCOUPLE
    transmitter: InstrumentSettings = TRANSMITTER
    knob_error_c_max: float = 0.8


def _draws(seed: str) -> Random:
    return Random(seed)  # noqa: S311 - repeatable noise, no secret


class Rig:
    """The state of one rig.

    Attributes:
        settings: how it is built.
        now_s: plant time, s.
        surroundings: air, draught and sun.
        electrics: from the mains to the thermostats.
        heat: all of its heat; pads and slab are its parts.
        pads: by side.
        slab: the repair, inner face first.
        cured: how cured it really is.
        bags: by side.
        supply: the air supply.
        controls: what hands have set.
        relays: the relay module.
        wire: what is wrong with the wire.
        host: what is wrong with the supervisor's own computer.
        papers: what is wrong with the papers.
        box: where the thermocouples end.
        instruments: by the name of what they measure, with its unit.
    """

    def __init__(self, settings: RigSettings, seed: int) -> None:
        self.settings = settings
        self._steps = 0
        self.surroundings = Surroundings(settings.ambient_c)
        self.electrics = Electrics(_draws(f"{seed} electrics"))
        self.heat = Heat(settings.pad, settings.slab, settings.clamp, settings.ambient_c)
        self.pads = self.heat.pads
        self.slab = self.heat.slab
        self.cured = Cured(settings.compound, self.slab.cells.cures)
        self.bags = {side: Bag(settings.bag, settings.ambient_c) for side in SIDES}
        self.supply = Supply(settings.supply, settings.ambient_c)
        self.controls = Controls()
        self.relays = RelayModule()
        self.wire = Wire()
        self.host = Host()
        self.papers = Papers()
        self.box = TerminalBox(settings.ambient_c)
        self.instruments = self._build_instruments(seed)
        self._tyre = self.controls.tyre
        # What the bags drew in the step before; the pads give it in the next.
        self._bags_w = dict.fromkeys(SIDES, 0.0)
        self._knob_error_c = {
            side: _draws(f"{seed} knob {side}").uniform(-1, 1) * settings.knob_error_c_max
            for side in SIDES
        }

    @property
    def now_s(self) -> float:
        """Plant time, s; counted in whole steps, so it never drifts."""
        return self._steps * STEP_S

    @property
    def heat_on(self) -> bool:
        """Any pad's heater carries enough current for the relay in its lead to pull in."""
        return any(pad.current_a >= HEAT_ON_A for pad in self.pads.values())

    def advance(self) -> None:
        """Move by one step of `STEP_S`."""
        self._steps += 1
        self.relays.advance(STEP_S)
        self.electrics.advance(
            STEP_S,
            coil=self.relays.contact("heat_permit"),
            estop=self.controls.estop_pressed,
        )
        if self._tyre != self.controls.tyre:
            self._tyre = self.controls.tyre
            self.slab.renew(self.surroundings.ambient_c)
            self.cured.renew()
        self._advance_heat()
        self.cured.advance(STEP_S, self.slab.centre_c, self.slab.edge_c)
        self._advance_air()
        self._advance_instruments()

    def shown(self) -> Shown:
        """What a person at the rig can see and hear now."""
        pads, bags = self.pads, self.bags
        return Shown(
            pads_c={side: round(pads[side].thermostat.sensed_c) for side in SIDES},
            bags_kpa={side: round(bags[side].pressure_kpa / 2) * 2.0 for side in SIDES},
            lamps=self.relays.shown(),
        )

    def switches(self) -> dict[str, bool]:
        """The wired inputs by channel name."""
        controls = self.controls
        return {
            "start_button": controls.pressed("start_button", self.now_s),
            "here_button": controls.pressed("here_button", self.now_s),
            "reset_button": controls.pressed("reset_button", self.now_s),
            "pins_in": controls.pins_in,
            "heat_on": self.heat_on,
            "mains_ok": self.electrics.mains_ok,
            "estop_ok": self.electrics.estop_ok,
            "release_request": controls.release_request,
        }

    def measured(self) -> dict[str, float | None]:
        """What instruments and switches show, by channel name; None from one that failed."""
        failed = (Failure.OPEN, Failure.SHORT)
        shown: dict[str, float | None] = {
            name: None if instrument.telling in failed else instrument.shown
            for name, instrument in self.instruments.items()
        }
        return shown | self.switches()

    def truth(self) -> dict[str, float]:
        """What really is, by name with unit; never on the wire."""
        inner, outer = self.pads["inner"], self.pads["outer"]
        through_c, cured = self.slab.centre_c, self.cured
        return {
            "true_pad_inner_c": inner.temperature_c,
            "true_pad_outer_c": outer.temperature_c,
            "true_pad_inner_edge_c": inner.edge_c,
            "true_pad_outer_edge_c": outer.edge_c,
            "true_slab_inner_face_c": float(through_c[0]),
            "true_slab_middle_c": self.slab.middle_c,
            "true_slab_hottest_c": self.slab.hottest_c,
            "true_slab_coldest_c": self.slab.coldest_c,
            "true_slab_outer_face_c": float(through_c[-1]),
            "true_least_cured_min": cured.least_min,
            "true_most_cured_min": cured.most_min,
            "true_edge_least_cured_min": cured.edge_least_min,
            "true_bag_inner_kpa": self.bags["inner"].pressure_kpa,
            "true_bag_outer_kpa": self.bags["outer"].pressure_kpa,
            "true_gas_inner_c": self.bags["inner"].gas_c,
            "true_gas_outer_c": self.bags["outer"].gas_c,
            "true_supply_kpa": self.supply.pressure_kpa,
            "true_ambient_c": self.surroundings.ambient_c,
            "true_mains_share": self.electrics.mains_share,
            "true_heat_w": inner.power_w + outer.power_w,
            "true_contactor_closed": self.electrics.contactor_closed,
            "true_pins_in": float(self.controls.pins_in),
        }

    def _advance_heat(self) -> None:
        controls, pads = self.controls, self.pads
        supply_share = self.electrics.supply_share
        for side, pad in pads.items():
            knob_c = controls.set_c
            pad.thermostat.set_c = None if knob_c is None else knob_c + self._knob_error_c[side]
        self.heat.advance(
            STEP_S,
            powered={side: supply_share if controls.plugged[side] else 0.0 for side in SIDES},
            mounted=controls.mounted,
            pressed={side: bag.pressure_kpa for side, bag in self.bags.items()},
            surroundings=self.surroundings,
            bags_w=self._bags_w,
        )

    def _advance_air(self) -> None:
        supply, ambient_c = self.supply, self.surroundings.ambient_c
        taken_mol = 0.0
        mounted = self.controls.mounted
        for side, bag in self.bags.items():
            warmth_c = self.pads[side].temperature_c - ambient_c if mounted else 0.0
            before_j = bag.drawn_j
            taken_mol += bag.advance(
                STEP_S,
                self.controls.valves[side],
                supply_kpa=supply.pressure_kpa,
                around_c=ambient_c + bag.settings.gas_share * warmth_c,
                supply_c=supply.air_c,
                wet=supply.wet,
            )
            self._bags_w[side] = (bag.drawn_j - before_j) / STEP_S if mounted else 0.0
        supply.advance(STEP_S, taken_mol, mains=self.electrics.mains_ok, around_c=ambient_c)

    def _advance_instruments(self) -> None:
        instruments, around = self.instruments, self.surroundings
        self.box.advance(STEP_S, ambient_c=around.ambient_c, sun_w_m2=around.sun_w_m2)
        # A pad's thermocouple goes through the same connector as its heater.
        instruments["pad_inner_c"].unplugged = not self.controls.plugged["inner"]
        instruments["pad_outer_c"].unplugged = not self.controls.plugged["outer"]
        for name, true in self._true().items():
            box = self.box if name in THERMOCOUPLES else None
            instruments[name].advance(STEP_S, true, ambient_c=around.ambient_c, box=box)

    def _true(self) -> dict[str, float]:
        """What the instruments are on, by the name of each."""
        pads, bags = self.pads, self.bags
        return {
            "pad_inner_c": pads["inner"].centre_c,
            "pad_outer_c": pads["outer"].centre_c,
            "ambient_c": self.surroundings.ambient_c,
            "tyre_wall_c": self.slab.tyre_c,
            "bag_inner_kpa": bags["inner"].pressure_kpa,
            "bag_outer_kpa": bags["outer"].pressure_kpa,
            "supply_kpa": self.supply.pressure_kpa,
            "heat_current_inner_a": pads["inner"].current_a,
            "heat_current_outer_a": pads["outer"].current_a,
        }

    def _build_instruments(self, seed: int) -> dict[str, Instrument]:
        return {
            name: Instrument(self._kind(name), _draws(f"{seed} {name}"), start)
            for name, start in self._true().items()
        }

    def _kind(self, name: str) -> InstrumentSettings:
        if name.endswith("_a"):
            return CURRENT_CLAMP
        kind = self.settings.thermocouple if name.endswith("_c") else self.settings.transmitter
        if name == "supply_kpa":
            # A wider span on the same sort of transmitter.
            return replace(kind, noise=5 * kind.noise, quantum=5 * kind.quantum)
        return kind

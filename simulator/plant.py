"""One rig: pads, repair, bags, supply, contactor and instruments, as they really are.

`advance` moves it by one step. What it knows that no wire carries is the
`truth`. Nothing here reads a clock: plant time is what was advanced.
"""

from dataclasses import dataclass, field, replace
from random import Random

from simulator.bags import Bag, BagSettings, Supply, SupplySettings
from simulator.host import Host, Papers
from simulator.pads import Pad, PadSettings
from simulator.panel import SIDES, Controls, RelayModule, Shown
from simulator.sensors import THERMOCOUPLE, TRANSMITTER, Instrument, InstrumentSettings
from simulator.slab import Face, Slab, SlabSettings

STEP_S = 0.25
PRESSED_FULLY_KPA = 100.0


@dataclass(frozen=True, slots=True)
class RigSettings:
    """How a rig is built; all figures invented and of a plausible size.

    Attributes:
        ambient_c: air and cold tyre, °C.
        pad: both pads.
        slab: the repair.
        bag: both bags.
        supply: compressor and receiver.
        thermocouple: how the three thermocouples behave.
        transmitter: how the three pressure transmitters behave.
        contact_w_m2k: pad to rubber, pressed fully, W/(m² K).
        loose_contact_w_m2k: pad to rubber without pressure.
        knob_error_c_max: each thermostat's knob is off by up to this, by seed.
        bare_w_m2k: bare rubber to ambient.
    """

    ambient_c: float = 20.0
    pad: PadSettings = PadSettings()
    slab: SlabSettings = SlabSettings()
    bag: BagSettings = BagSettings()
    supply: SupplySettings = SupplySettings()
    thermocouple: InstrumentSettings = THERMOCOUPLE
    transmitter: InstrumentSettings = TRANSMITTER
    contact_w_m2k: float = 250.0
    loose_contact_w_m2k: float = 15.0
    knob_error_c_max: float = 0.8
    bare_w_m2k: float = 9.0


@dataclass(slots=True)
class Wire:
    """Faults of the wire and the modules, not of the plant.

    Attributes:
        silent_modules: of `temperatures`, `pressures`, `relays`: answer nothing.
    """

    silent_modules: set[str] = field(default_factory=set)


def _draws(seed: str) -> Random:
    return Random(seed)  # noqa: S311 - repeatable noise, no secret


class Rig:
    """The state of one rig.

    Attributes:
        settings: how it is built.
        now_s: plant time, s.
        mains_ok: mains present.
        contactor_welded: the contactor stays closed whatever its coil does.
        pads: by side.
        slab: the repair, inner face first.
        bags: by side.
        supply: the air supply.
        controls: what hands have set.
        relays: the relay module.
        wire: what is wrong with the wire.
        host: what is wrong with the supervisor's own computer.
        papers: what is wrong with the papers.
        instruments: by the name of what they measure, with its unit.
    """

    def __init__(self, settings: RigSettings, seed: int) -> None:
        self.settings = settings
        self._steps = 0
        self.mains_ok = True
        self.contactor_welded = False
        self.pads = {side: Pad(settings.pad, settings.ambient_c) for side in SIDES}
        self.slab = Slab(settings.slab, settings.ambient_c)
        self.bags = {side: Bag(settings.bag, settings.ambient_c) for side in SIDES}
        self.supply = Supply(settings.supply)
        self.controls = Controls()
        self.relays = RelayModule()
        self.wire = Wire()
        self.host = Host()
        self.papers = Papers()
        self.instruments = self._build_instruments(seed)
        self._tyre = self.controls.tyre
        self._knob_error_c = {
            side: _draws(f"{seed} knob {side}").uniform(-1, 1) * settings.knob_error_c_max
            for side in SIDES
        }

    @property
    def now_s(self) -> float:
        """Plant time, s; counted in whole steps, so it never drifts."""
        return self._steps * STEP_S

    @property
    def contactor_closed(self) -> bool:
        """The contactor passes current, if there is any."""
        called = self.relays.coils["heat_permit"] and self.mains_ok
        return self.contactor_welded or (called and not self.controls.estop_pressed)

    @property
    def heat_on(self) -> bool:
        """Any pad's heater carries current."""
        return any(pad.heating for pad in self.pads.values())

    def advance(self) -> None:
        """Move by one step of `STEP_S`."""
        self._steps += 1
        self.relays.advance(STEP_S)
        if self._tyre != self.controls.tyre:
            self._tyre = self.controls.tyre
            self.slab = Slab(self.settings.slab, self.settings.ambient_c)
        self._advance_heat()
        self._advance_air()
        for name, true in self._measured().items():
            self.instruments[name].advance(STEP_S, true)

    def shown(self) -> Shown:
        """What a person at the rig can see and hear now."""
        return Shown(
            pads_c={side: round(pad.thermostat.sensed_c) for side, pad in self.pads.items()},
            bags_kpa={side: round(bag.pressure_kpa / 2) * 2.0 for side, bag in self.bags.items()},
            lamps=self.relays.coils,
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
            "mains_ok": self.mains_ok,
            "estop_ok": not controls.estop_pressed,
            "release_request": controls.release_request,
        }

    def truth(self) -> dict[str, float]:
        """What really is, by name with unit; never on the wire."""
        quarter = len(self.slab.cells_c) // 4
        return {
            "true_pad_inner_c": self.pads["inner"].temperature_c,
            "true_pad_outer_c": self.pads["outer"].temperature_c,
            "true_slab_inner_face_c": self.slab.cells_c[0],
            "true_slab_quarter_c": self.slab.cells_c[quarter],
            "true_slab_middle_c": self.slab.middle_c,
            "true_slab_hottest_c": max(self.slab.cells_c),
            "true_slab_outer_face_c": self.slab.cells_c[-1],
            "true_bag_inner_kpa": self.bags["inner"].pressure_kpa,
            "true_bag_outer_kpa": self.bags["outer"].pressure_kpa,
            "true_gas_inner_c": self.bags["inner"].gas_c,
            "true_gas_outer_c": self.bags["outer"].gas_c,
            "true_supply_kpa": self.supply.pressure_kpa,
            "true_heat_on": float(self.heat_on),
            "true_contactor_closed": float(self.contactor_closed),
            "true_pins_in": float(self.controls.pins_in),
        }

    def _advance_heat(self) -> None:
        powered = self.contactor_closed and self.mains_ok and self.controls.plugged
        faces = {side: self._face(side) for side in SIDES}
        flows_w_m2 = self.slab.advance(STEP_S, faces["inner"], faces["outer"])
        for side, flow_w_m2 in zip(SIDES, flows_w_m2, strict=True):
            pad = self.pads[side]
            knob_c = self.controls.set_c
            pad.thermostat.set_c = None if knob_c is None else knob_c + self._knob_error_c[side]
            pad.advance(
                STEP_S,
                powered=powered,
                ambient_c=self.settings.ambient_c,
                to_repair_w=flow_w_m2 * pad.settings.area_m2 if self.controls.mounted else None,
            )

    def _face(self, side: str) -> Face:
        settings = self.settings
        if not self.controls.mounted:
            return Face(settings.ambient_c, settings.bare_w_m2k)
        pressed = min(1.0, self.bags[side].pressure_kpa / PRESSED_FULLY_KPA)
        loose = settings.loose_contact_w_m2k
        contact_w_m2k = loose + (settings.contact_w_m2k - loose) * pressed
        return Face(self.pads[side].temperature_c, contact_w_m2k)

    def _advance_air(self) -> None:
        taken_mol = 0.0
        for side, bag in self.bags.items():
            taken_mol += bag.advance(
                STEP_S,
                self.controls.valves[side],
                supply_kpa=self.supply.pressure_kpa,
                around_c=self._around_bag_c(side),
            )
        self.supply.advance(STEP_S, taken_mol, mains=self.mains_ok)

    def _around_bag_c(self, side: str) -> float:
        ambient_c = self.settings.ambient_c
        if not self.controls.mounted:
            return ambient_c
        warmth_c = self.pads[side].temperature_c - ambient_c
        return ambient_c + self.settings.bag.gas_share * warmth_c

    def _measured(self) -> dict[str, float]:
        return {
            "pad_inner_c": self.pads["inner"].temperature_c,
            "pad_outer_c": self.pads["outer"].temperature_c,
            "ambient_c": self.settings.ambient_c,
            "bag_inner_kpa": self.bags["inner"].pressure_kpa,
            "bag_outer_kpa": self.bags["outer"].pressure_kpa,
            "supply_kpa": self.supply.pressure_kpa,
        }

    def _build_instruments(self, seed: int) -> dict[str, Instrument]:
        return {
            name: Instrument(self._kind(name), _draws(f"{seed} {name}"), start)
            for name, start in self._measured().items()
        }

    def _kind(self, name: str) -> InstrumentSettings:
        kind = self.settings.thermocouple if name.endswith("_c") else self.settings.transmitter
        if name == "supply_kpa":
            # A wider span on the same sort of transmitter.
            return replace(kind, noise=5 * kind.noise, quantum=5 * kind.quantum)
        return kind

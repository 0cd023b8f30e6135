"""A heated pad: its mass, its heater, its thermostat and its thermal cut-out.

The pad is one lump. Its thermostat switches on its own sensor, not on the
thermocouple the supervisor reads. The cut-out stands alone: it opens this
pad's heater whatever the contactor does, and stays open until someone resets
it by hand.
"""

from dataclasses import dataclass
from enum import StrEnum


class ThermostatState(StrEnum):
    """What the thermostat's contact does."""

    WORKS = "works"
    STUCK_CLOSED = "stuck_closed"
    STUCK_OPEN = "stuck_open"


@dataclass(frozen=True, slots=True)
class PadSettings:
    """One pad; invented figures of a plausible size.

    Attributes:
        area_m2: of one face.
        heat_capacity_j_k: of the pad and the plate on it, J/K.
        power_w: of the heater.
        back_loss_w_m2k: through the bag or cover behind it to ambient.
        front_loss_w_m2k: from the bare front face to ambient, off the tyre.
        thermostat_lag_s: of the thermostat's own sensor, s.
        hysteresis_c: opens this far above set, closes as far below, °C.
        cutout_c: the thermal cut-out opens above, °C.
    """

    area_m2: float = 0.30
    heat_capacity_j_k: float = 18_000.0
    power_w: float = 1_600.0
    back_loss_w_m2k: float = 13.0
    front_loss_w_m2k: float = 9.0
    thermostat_lag_s: float = 12.0
    hysteresis_c: float = 1.0
    cutout_c: float = 165.0


class Thermostat:
    """A contact that opens above set and closes below, with lag and hysteresis.

    Attributes:
        set_c: the knob, °C; None is off.
        sensed_c: what its own sensor says, °C; the crew reads this.
        calling: its contact is closed.
        state: a stuck contact calls whatever it senses.
    """

    def __init__(self, lag_s: float, hysteresis_c: float, start_c: float) -> None:
        self.set_c: float | None = None
        self.sensed_c = start_c
        self.calling = False
        self.state = ThermostatState.WORKS
        self.error_c = 0.0
        self.sensor_share = 1.0
        self._lag_s = lag_s
        self._hysteresis_c = hysteresis_c

    def advance(self, dt_s: float, pad_c: float) -> None:
        """Follow the pad for `dt_s` and switch."""
        self.sensed_c += (pad_c - self.sensed_c) * min(1.0, dt_s / self._lag_s)
        if self.state is ThermostatState.STUCK_CLOSED:
            self.calling = True
        elif self.state is ThermostatState.STUCK_OPEN:
            self.calling = False
        elif self.set_c is None or self.sensed_c > self.set_c + self._hysteresis_c:
            self.calling = False
        elif self.sensed_c < self.set_c - self._hysteresis_c:
            self.calling = True


class Pad:
    """One pad.

    Attributes:
        temperature_c: true temperature, °C.
        heating: its heater carries current.
        cutout_ok: the thermal cut-out has not opened.
        heated_j: put in by the heater since the start, J.
        lost_j: given to ambient since the start, J.
        given_j: given to the repair since the start, J.
    """

    def __init__(self, settings: PadSettings, start_c: float) -> None:
        self.settings = settings
        self.temperature_c = start_c
        self.thermostat = Thermostat(settings.thermostat_lag_s, settings.hysteresis_c, start_c)
        self.heating = False
        self.cutout_ok = True
        self.cutout_bridged = False
        self.heater_share = 1.0
        self.edge_heater_share = 1.0
        self.lead_broken = False
        self.lead_extra_ohm = 0.0
        self.contact_share = 1.0
        self.centre_c = start_c
        self.edge_c = start_c
        self.power_w = 0.0
        self.current_a = 0.0
        self.joint_w = 0.0
        self.heated_j = 0.0
        self.lost_j = 0.0
        self.given_j = 0.0

    def advance(
        self, dt_s: float, *, powered: bool, ambient_c: float, to_repair_w: float | None
    ) -> None:
        """One step.

        Args:
            dt_s: step, s; far below the pad's time constant of about an hour.
            powered: mains reach the pad's thermostat through the contactor.
            ambient_c: °C.
            to_repair_w: heat flowing into the repair, W; None when the pad is
                off the tyre and its front is bare.
        """
        size = self.settings
        self.thermostat.advance(dt_s, self.temperature_c)
        if self.temperature_c > size.cutout_c:
            self.cutout_ok = False
        self.heating = powered and self.thermostat.calling and self.cutout_ok
        loss_w_m2k = size.back_loss_w_m2k
        if to_repair_w is None:
            loss_w_m2k += size.front_loss_w_m2k
        heat_j = size.power_w * dt_s if self.heating else 0.0
        loss_j = loss_w_m2k * size.area_m2 * (self.temperature_c - ambient_c) * dt_s
        given_j = (to_repair_w or 0.0) * dt_s
        self.temperature_c += (heat_j - loss_j - given_j) / size.heat_capacity_j_k
        self.heated_j += heat_j
        self.lost_j += loss_j
        self.given_j += given_j

"""A heated pad: centre and edge zone, heater with its lead, thermostat, thermal cut-out.

The thermostat switches on its own sensor, not on the thermocouple the
supervisor reads. The cut-out stands alone: it opens this pad's heater whatever
the contactor does, and stays open until someone resets it by hand. How heat
moves between the zones and away from them is the business of `heat`.
"""

from dataclasses import dataclass
from enum import StrEnum

NOMINAL_V = 230.0
# A sensor that hangs free is slower by this than a seated one.
FREE_SENSOR_SHARE = 0.3


class ThermostatState(StrEnum):
    """What the thermostat's contact does."""

    WORKS = "works"
    STUCK_CLOSED = "stuck_closed"
    STUCK_OPEN = "stuck_open"


@dataclass(frozen=True, slots=True)
class PadSettings:
    """One pad; invented figures of a plausible size, a square of 0.55 m.

    Attributes:
        area_m2: of one face.
        heat_capacity_j_k: of the pad and the plate on it, J/K.
        power_w: of the heater at 230 V at its own terminals.
        lead_ohm: of lead and plug.
        edge_area_share: of the face: a rim of some 50 mm.
        edge_power_share: of the heater's elements, along the rim; a little more
            than its area, because the rim loses more, yet not enough.
        between_w_k: from the centre to the edge zone, through the plate, W/K.
        edge_loss_w_k: from the edge zone sideways to still air, W/K.
        back_loss_w_m2k: through the bag or cover behind it.
        back_clamp_share: of the back's loss, what goes into the clamp, on the tyre.
        front_loss_w_m2k: from the bare front face to still air, off the tyre.
        thermostat_lag_s: of the thermostat's own sensor, s.
        hysteresis_c: opens this far above set, closes as far below, °C.
        cutout_c: the thermal cut-out opens above, °C.
        cutout_lag_s: of its bimetal, s.
    """

    area_m2: float = 0.30
    heat_capacity_j_k: float = 18_000.0
    power_w: float = 1_600.0
    lead_ohm: float = 0.2
    edge_area_share: float = 0.33
    edge_power_share: float = 0.37
    between_w_k: float = 12.0
    edge_loss_w_k: float = 0.9
    back_loss_w_m2k: float = 13.0
    back_clamp_share: float = 0.6
    front_loss_w_m2k: float = 9.0
    thermostat_lag_s: float = 12.0
    hysteresis_c: float = 1.0
    cutout_c: float = 165.0
    cutout_lag_s: float = 15.0


class Thermostat:
    """A contact that opens above set and closes below, with lag and hysteresis.

    Attributes:
        set_c: the knob, °C; None is off.
        sensed_c: what its own sensor says, °C; the crew reads this.
        calling: its contact is closed.
        state: a stuck contact stays where it is whatever it senses.
        error_c: its sensor reads this much too high, °C; below 0 the pad gets too hot.
        sensor_share: 1 well seated in the pad, 0 hanging in the air.
    """

    def __init__(self, lag_s: float, hysteresis_c: float, start_c: float) -> None:
        """Off, and as warm as all around.

        Args:
            lag_s: of the sensor, s.
            hysteresis_c: °C, to both sides.
            start_c: °C.
        """
        self.set_c: float | None = None
        self.sensed_c = start_c
        self.calling = False
        self.state = ThermostatState.WORKS
        self.error_c = 0.0
        self.sensor_share = 1.0
        self._sensor_c = start_c
        self._lag_s = lag_s
        self._hysteresis_c = hysteresis_c

    def advance(self, dt_s: float, pad_c: float, ambient_c: float) -> None:
        """Follow the pad for `dt_s` and switch."""
        seated = self.sensor_share
        speed = FREE_SENSOR_SHARE + (1 - FREE_SENSOR_SHARE) * seated
        around_c = ambient_c + (pad_c - ambient_c) * seated
        self._sensor_c += (around_c - self._sensor_c) * min(1.0, dt_s * speed / self._lag_s)
        self.sensed_c = self._sensor_c + self.error_c
        self.calling = self._calls()

    def _calls(self) -> bool:
        if self.state is not ThermostatState.WORKS:
            return self.state is ThermostatState.STUCK_CLOSED
        if self.set_c is None:
            return False
        # Inside the band a contact stays as it is.
        limit_c = self.set_c + (self._hysteresis_c if self.calling else -self._hysteresis_c)
        return self.sensed_c <= limit_c if self.calling else self.sensed_c < limit_c


class Pad:
    """One pad.

    Attributes:
        settings: how it is built.
        thermostat: its own.
        centre_c: of the centre zone, °C; thermostat and cut-out sit there.
        edge_c: of the edge zone, °C.
        heating: its heater carries current.
        power_w: heat its elements give now, W.
        current_a: in its lead now, effective, A.
        joint_w: heat a bad joint in its lead gives now, W; not into the pad.
        heated_j: put in by the heater since the start, J.
        given_j: given to the repair since the start, J.
        cutout_ok: the thermal cut-out has not opened.
        cutout_bridged: someone has bridged it; opening no longer helps.
        heater_share: of all elements that still work.
        edge_heater_share: of the rim's elements that still work.
        lead_broken: no current whatever happens.
        lead_extra_ohm: of a bad joint in the lead.
        contact_share: of its good contact with the rubber: an air pocket, a fold,
            something trapped; 0 leaves what passes an air gap.
    """

    def __init__(self, settings: PadSettings, start_c: float) -> None:
        """Whole, off, and as warm as all around.

        Args:
            settings: how it is built.
            start_c: °C.
        """
        self.settings = settings
        self.thermostat = Thermostat(settings.thermostat_lag_s, settings.hysteresis_c, start_c)
        self.centre_c = start_c
        self.edge_c = start_c
        self.heating = False
        self.power_w = 0.0
        self.current_a = 0.0
        self.joint_w = 0.0
        self.heated_j = 0.0
        self.given_j = 0.0
        self.cutout_ok = True
        self.cutout_bridged = False
        self.heater_share = 1.0
        self.edge_heater_share = 1.0
        self.lead_broken = False
        self.lead_extra_ohm = 0.0
        self.contact_share = 1.0
        self._cutout_c = start_c

    @property
    def temperature_c(self) -> float:
        """Mean over the face, °C."""
        return self.centre_c + (self.edge_c - self.centre_c) * self.settings.edge_area_share

    def switch(self, dt_s: float, voltage_share: float, ambient_c: float) -> tuple[float, float]:
        """Let thermostat and cut-out follow the pad, and the heater follow them.

        Args:
            dt_s: step, s.
            voltage_share: effective voltage at the thermostat, of nominal.
            ambient_c: the air now, °C.

        Returns:
            Heat of the centre and of the edge elements for this step, W.
        """
        size = self.settings
        self.thermostat.advance(dt_s, self.centre_c, ambient_c)
        self._cutout_c += (self.centre_c - self._cutout_c) * min(1.0, dt_s / size.cutout_lag_s)
        if self._cutout_c > size.cutout_c:
            self.cutout_ok = False
        passes = self.cutout_ok or self.cutout_bridged
        closed = passes and self.thermostat.calling and not self.lead_broken
        edge_alive = self.heater_share * self.edge_heater_share * size.edge_power_share
        alive = self.heater_share * (1 - size.edge_power_share) + edge_alive
        self.heating = closed and voltage_share > 0 and alive > 0
        if not self.heating:
            self.power_w = self.current_a = self.joint_w = 0.0
            return 0.0, 0.0
        # Elements in parallel: each has the voltage that lead and joint leave over.
        elements_a_v = size.power_w * alive / NOMINAL_V**2
        lead_ohm = size.lead_ohm + self.lead_extra_ohm
        left_v = NOMINAL_V * voltage_share / (1 + lead_ohm * elements_a_v)
        self.current_a = left_v * elements_a_v
        self.power_w = left_v * self.current_a
        self.joint_w = self.current_a**2 * self.lead_extra_ohm
        self.heated_j += self.power_w * dt_s
        edge_w = self.power_w * edge_alive / alive
        return self.power_w - edge_w, edge_w

"""Instruments: lag, noise from a seeded generator, quantisation, a cold junction, and failures.

A thermocouple here speaks degrees, not millivolts: what its curve bends between
junction and terminals is far below the noise. All figures are invented and of a
plausible size.
"""

from array import array
from dataclasses import dataclass
from enum import StrEnum
from math import copysign, exp, nan
from random import Random

import numpy as np

DRAWN_AT_ONCE = 512
# A bead in still air follows some ten times more slowly than one clamped to metal.
HANGING_LAG_FACTOR = 10.0
BLOCKED_TAP_LAG_S = 1200.0


class Failure(StrEnum):
    """How an instrument has failed."""

    NONE = "none"
    OPEN = "open"
    SHORT = "short"
    FROZEN = "frozen"
    JUMPING = "jumping"  # a loose terminal: every third sample or so leaps
    REVERSED = "reversed"  # a thermocouple's wires are swapped
    GARBAGE = "garbage"  # the converter gives no number, or one that cannot be


@dataclass(frozen=True, slots=True)
class InstrumentSettings:
    """One kind of instrument; figures in the unit it shows.

    Attributes:
        lag_s: first-order lag, s.
        noise: standard deviation of each sample.
        quantum: smallest step it can show.
        leap_scale: a loose terminal's leaps have one to three times this size.
    """

    lag_s: float
    noise: float
    quantum: float
    leap_scale: float = 30.0


THERMOCOUPLE = InstrumentSettings(lag_s=4.0, noise=0.10, quantum=0.1)
TRANSMITTER = InstrumentSettings(lag_s=0.3, noise=0.12, quantum=0.05)
CURRENT_CLAMP = InstrumentSettings(lag_s=0.5, noise=0.05, quantum=0.1, leap_scale=3.0)


BOX_LAG_S = 1200.0
COLD_JUNCTION_LAG_S = 60.0
SUN_C_M2_W = 0.02  # 800 W/m² warm a grey box by 16 °C


class TerminalBox:
    """Where the thermocouples end: a box in the sun or out of it, with a cold junction.

    The cold junction's own sensor follows the terminals a minute late, so a box
    that warms or cools quickly is an error common to all its thermocouples.

    Attributes:
        temperature_c: of its terminals.
        sensed_c: what its cold junction's sensor follows.
        box_warm_c: something in it, or beside it, warms it by this much in the end.
        error_c: its cold junction reads this much too high.
    """

    def __init__(self, start_c: float) -> None:
        self.temperature_c = self.sensed_c = start_c
        self.box_warm_c = 0.0
        self.error_c = 0.0

    @property
    def shift_c(self) -> float:
        """What it adds to every thermocouple that ends in it, °C."""
        return self.sensed_c + self.error_c - self.temperature_c

    def advance(self, dt_s: float, *, ambient_c: float, sun_w_m2: float) -> None:
        """Follow the air and the sun for `dt_s`, well under a minute."""
        towards_c = ambient_c + SUN_C_M2_W * sun_w_m2 + self.box_warm_c
        self.temperature_c += (towards_c - self.temperature_c) * dt_s / BOX_LAG_S
        self.sensed_c += (self.temperature_c - self.sensed_c) * dt_s / COLD_JUNCTION_LAG_S


class Instrument:
    """A thermocouple, a pressure transmitter or a current clamp.

    Attributes:
        shown: the last sample; stands still while frozen, and means nothing
            while open or short.
        failure: how it has failed.
        unplugged: its connector is out; `telling` is then open.
        offset: calibration error, in its unit.
        drift_per_h: more of it every hour; 0 takes what has drifted away.
        noise_factor: on its own noise.
        detached_share: 0 well seated, 1 hanging in the air.
        tap_blocked: the pressure tap is iced or full of dirt: follows in many minutes.
        lag_factor: on its own lag.
    """

    def __init__(self, settings: InstrumentSettings, random: Random, start: float) -> None:
        self.settings = settings
        self.shown = start
        self.failure = Failure.NONE
        self.unplugged = False
        self.offset = 0.0
        self.drift_per_h = 0.0
        self.noise_factor = 1.0
        self.detached_share = 0.0
        self.tap_blocked = False
        self.lag_factor = 1.0
        self._drifted = 0.0
        self._followed = start
        self._generator = np.random.Generator(np.random.PCG64(random.getrandbits(128)))
        self._drawn = array("d")
        self._draws = 0
        # Kept from step to step, as it seldom changes: the lag and what it makes of a step.
        self._lag_s = self._dt_s = 0.0
        self._share = 1.0

    @property
    def telling(self) -> Failure:
        """What its module can tell of it: `failure`, or open when it is unplugged."""
        return Failure.OPEN if self.unplugged else self.failure

    def advance(
        self, dt_s: float, true: float, *, ambient_c: float, box: TerminalBox | None
    ) -> None:
        """Follow the true value for `dt_s` and take one sample.

        Args:
            dt_s: step, s.
            true: value there, in the instrument's unit.
            ambient_c: air that a detached thermocouple hangs in, °C.
            box: where a thermocouple ends; None: it is another kind, or the box is ideal.
        """
        # Drawn once a step whatever has failed, so that a failure does not shift what follows.
        if self._draws == len(self._drawn):
            self._drawn = array("d", self._generator.standard_normal(DRAWN_AT_ONCE).tobytes())
            self._draws = 0
        draw = self._drawn[self._draws]
        self._draws += 1
        settings = self.settings
        lag_s = settings.lag_s * self.lag_factor
        if self.detached_share:
            true += (ambient_c - true) * self.detached_share
            lag_s *= 1.0 + (HANGING_LAG_FACTOR - 1.0) * self.detached_share
        if self.tap_blocked:
            lag_s = BLOCKED_TAP_LAG_S
        if lag_s != self._lag_s or dt_s != self._dt_s:
            self._lag_s, self._dt_s = lag_s, dt_s
            self._share = 1.0 - exp(-dt_s / lag_s)
        self._followed += (true - self._followed) * self._share
        sample = self._followed + self.offset + draw * settings.noise * self.noise_factor
        if box is not None:
            sample += box.shift_c
        if self.drift_per_h or self._drifted:
            sample += self._drift(dt_s)
        if self.failure is not Failure.NONE:
            self._fail(sample, box, draw)
            return
        self.shown = round(sample / settings.quantum) * settings.quantum

    def _drift(self, dt_s: float) -> float:
        if self.drift_per_h:
            self._drifted += self.drift_per_h * dt_s / 3600
        else:
            self._drifted = 0.0
        return self._drifted

    def _fail(self, value: float, box: TerminalBox | None, drawn_factor: float) -> None:
        """Show what the failure leaves of a sample; its chances hang on the same draw."""
        if self.failure is Failure.FROZEN:
            return
        if self.failure is Failure.REVERSED:
            # Swapped wires turn the difference to the terminals round.
            terminals = 0.0 if box is None else box.temperature_c
            value -= 2 * (self._followed - terminals)
        elif self.failure is Failure.JUMPING and abs(drawn_factor) > 1.0:
            value += drawn_factor * self.settings.leap_scale
        elif self.failure is Failure.GARBAGE:
            if drawn_factor > 0.5:
                self.shown = nan
                return
            value = copysign(2000.0, drawn_factor) + 3000.0 * drawn_factor
        self.shown = round(value / self.settings.quantum) * self.settings.quantum

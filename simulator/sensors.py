"""Instruments: lag, noise from a seeded generator, quantisation, and ways to fail."""

from dataclasses import dataclass
from enum import StrEnum
from random import Random


class Failure(StrEnum):
    """How an instrument has failed."""

    NONE = "none"
    OPEN = "open"
    SHORT = "short"
    FROZEN = "frozen"
    JUMPING = "jumping"
    REVERSED = "reversed"
    GARBAGE = "garbage"


@dataclass(frozen=True, slots=True)
class InstrumentSettings:
    """One kind of instrument; figures in the unit it shows.

    Attributes:
        lag_s: first-order lag, s.
        noise: standard deviation of each sample.
        quantum: smallest step it can show.
    """

    lag_s: float
    noise: float
    quantum: float


THERMOCOUPLE = InstrumentSettings(lag_s=4.0, noise=0.10, quantum=0.1)
TRANSMITTER = InstrumentSettings(lag_s=0.3, noise=0.12, quantum=0.05)
CURRENT_CLAMP = InstrumentSettings(lag_s=0.5, noise=0.05, quantum=0.1)


class TerminalBox:
    """Where the thermocouples end: a box with its own warmth and a cold junction.

    Attributes:
        temperature_c: of its terminals.
        box_warm_c: something else in it, or beside it, warms it by this much.
        error_c: its cold junction reads this much too high.
    """

    def __init__(self, start_c: float) -> None:
        self.temperature_c = start_c
        self.box_warm_c = 0.0
        self.error_c = 0.0

    def advance(self, dt_s: float, *, ambient_c: float, sun_w_m2: float) -> None:
        """Follow the air and the sun for `dt_s`."""


class Instrument:
    """A thermocouple or a pressure transmitter.

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
        self._random = random
        self._followed = start

    @property
    def telling(self) -> Failure:
        """What its module can tell of it: `failure`, or open when it is unplugged."""
        return Failure.OPEN if self.unplugged else self.failure

    def advance(
        self, dt_s: float, true: float, *, ambient_c: float = 20.0, box: TerminalBox | None = None
    ) -> None:
        """Follow the true value for `dt_s` and take one sample."""
        self._followed += (true - self._followed) * min(1.0, dt_s / self.settings.lag_s)
        # Drawn even when unused, so that a failure does not shift what follows.
        sample = self._followed + self._random.gauss(0.0, self.settings.noise)
        if self.failure is Failure.FROZEN:
            return
        self.shown = round(sample / self.settings.quantum) * self.settings.quantum

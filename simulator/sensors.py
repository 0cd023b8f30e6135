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


class Instrument:
    """A thermocouple or a pressure transmitter.

    Attributes:
        shown: the last sample; stands still while frozen, and means nothing
            while open or short.
        failure: how it has failed.
    """

    def __init__(self, settings: InstrumentSettings, random: Random, start: float) -> None:
        self.settings = settings
        self.shown = start
        self.failure = Failure.NONE
        self._random = random
        self._followed = start

    def advance(self, dt_s: float, true: float) -> None:
        """Follow the true value for `dt_s` and take one sample."""
        self._followed += (true - self._followed) * min(1.0, dt_s / self.settings.lag_s)
        # Drawn even when unused, so that a failure does not shift what follows.
        sample = self._followed + self._random.gauss(0.0, self.settings.noise)
        if self.failure is Failure.FROZEN:
            return
        self.shown = round(sample / self.settings.quantum) * self.settings.quantum

"""From a link's sample to a channel's, back to back, and the bare library's sum beside it."""

from collections.abc import Callable, Sequence

from thermocouple_its90 import TYPES

from drivers.base import Sample
from drivers.sensors import ThermocoupleSettings, measured
from tests.bench.meter import process_cpu

TYPE_K = ThermocoupleSettings(signal="thermocouple", type="K")
COLD_JUNCTIONS_C = (23.4, 31.0)
# From cold to hot, each another, as a cure brings them.
SIGNALS_MV = [0.01 * step for step in range(600)]
COUNT_MIN = 2000


def plain_us(count: int) -> float:
    """A channel with no sensor, condition or correction; each."""
    return _us_each(count, lambda signal, _: _measured(signal, None, None))


def thermocouple_us(count: int) -> float:
    """A thermocouple with its cold junction; each."""
    return _us_each(count, lambda signal, terminals: _measured(signal, TYPE_K, terminals))


def library_us(count: int) -> float:
    """The same millivolts and the same degrees, by the library alone; each."""
    table = TYPES["K"]

    def by_library(signal: Sample, terminals: Sample) -> object:
        assert signal.value is not None
        assert terminals.value is not None
        return table.temperature(signal.value + table.emf(terminals.value))

    return _us_each(count, by_library)


def _measured(
    signal: Sample, sensor: ThermocoupleSettings | None, cold_junction: Sample | None
) -> Sample:
    return measured(
        signal,
        sensor=sensor,
        cold_junction=cold_junction,
        condition=None,
        condition_sample=None,
        correction=None,
    )


def _us_each(count: int, do: Callable[[Sample, Sample], object]) -> float:
    samples = _samples()
    times = max(COUNT_MIN, count) // len(samples) + 1
    with process_cpu() as cpu:
        for _ in range(times):
            for signal, terminals in samples:
                do(signal, terminals)
    return cpu.us_each(times * len(samples))


def _samples() -> Sequence[tuple[Sample, Sample]]:
    return [
        (
            Sample(signal_mv, "good", "", 0),
            Sample(COLD_JUNCTIONS_C[place % len(COLD_JUNCTIONS_C)], "good", "", 0),
        )
        for place, signal_mv in enumerate(SIGNALS_MV)
    ]

"""Thermocouples and Pt100 through a whole link, from a module that somebody else wrote.

modbus-tk holds the voltages of NIST's table and the resistances of IEC 60751;
our link reads them on a serial bus and the sums of `drivers.sensors` make them
degrees. Each must be the table's temperature to the table's last digit but one.
"""

import pytest

from drivers.base import Sample
from drivers.modbus import PointSettings, open_link
from drivers.sensors import Pt100Settings, SensorSettings, ThermocoupleSettings, measured
from tests.unit.peers import Memory, modbus_tk_rtu
from tests.virtual_clock import VirtualClock

UNIT = 5
# mV, cold junction at 0 °C: NIST ITS-90 reference functions (NIST Monograph 175;
# IEC 60584-1).
TABLE_C = (25, 50, 70, 100, 120, 140, 150, 200)
TABLE_MV = {
    "K": (1.000242, 2.023078, 2.851249, 4.096230, 4.919882, 5.734508, 6.138344, 8.138473),
    "J": (1.277288, 2.585315, 3.649539, 5.268916, 6.360306, 7.458677, 8.009905, 10.778746),
}
# ohm, IEC 60751.
TABLE_OHM = {100: 138.5055, 140: 153.5843}
# The last digit but one of each table, which is one count of the module.
MV_PER_COUNT, OHM_PER_COUNT = 0.00001, 0.001
# A count is off by half at most, and the table's last digit by half. Least slopes:
# above 25 °C a type K gives 0.040 mV a degree (the table: 1.0228 mV up to 50 °C) and
# a type J more; a Pt100 at 140 °C gives 0.3747 ohm, 100 (A + 2 B t) of IEC 60751.
THERMOCOUPLE_OFF_C = 0.55 * MV_PER_COUNT / 0.040
PT100_OFF_C = 0.55 * OHM_PER_COUNT / 0.3747


def shown_mv(kind: str, tip_c: int, junction: str) -> float:
    """What the terminals show: voltages are subtracted, not degrees."""
    at_tip = TABLE_MV[kind][TABLE_C.index(tip_c)]
    return at_tip - (TABLE_MV[kind][0] if junction == "warm" else 0.0)


def words(counts: int) -> tuple[int, int]:
    """An int32 as two registers, the high one first."""
    return (counts >> 16) & 0xFFFF, counts & 0xFFFF


THERMOCOUPLES = [
    (kind, tip_c, junction)
    for kind in TABLE_MV
    for tip_c in TABLE_C
    for junction in ("ice", "warm")
]
COUNTS = [
    *(round(shown_mv(*one) / MV_PER_COUNT) for one in THERMOCOUPLES),
    *(round(ohm / OHM_PER_COUNT) for ohm in TABLE_OHM.values()),
]
MEMORY: Memory = {
    (UNIT, "input"): (0, (0, 250, *(word for counts in COUNTS for word in words(counts)))),
}


def points() -> dict[str, PointSettings]:
    tenths = {"table": "input", "type": "int16", "scale": 0.1}
    made = {"ice": tenths | {"register": 0}, "warm": tenths | {"register": 1}}
    names = [*("{} {} {}".format(*one) for one in THERMOCOUPLES), *map(str, TABLE_OHM)]
    for place, name in enumerate(names):
        scale = MV_PER_COUNT if " " in name else OHM_PER_COUNT
        at = 2 + 2 * place
        made[name] = {"table": "input", "register": at, "type": "int32", "scale": scale}
    return {name: PointSettings.model_validate({"unit": UNIT, **one}) for name, one in made.items()}


def degrees(sensor: SensorSettings, signal: Sample, junction: Sample | None) -> float:
    found = measured(
        signal,
        sensor=sensor,
        cold_junction=junction,
        condition=None,
        condition_sample=None,
        correction=None,
    )
    assert (found.quality, found.reason) == ("good", "")
    assert found.value is not None
    return found.value


async def test_every_value_of_the_tables_to_its_last_digit_but_one() -> None:
    async with modbus_tk_rtu(MEMORY) as peer:
        link = open_link("peer", peer.settings(), points(), {}, VirtualClock())
        await link.poll_once()
        samples = dict(link.snapshot())
        await link.close()
    assert link.statistics().failures == 0
    for kind, tip_c, junction in THERMOCOUPLES:
        sensor = ThermocoupleSettings(signal="thermocouple", type=kind)
        signal = samples[f"{kind} {tip_c} {junction}"]
        found_c = degrees(sensor, signal, samples[junction])
        assert found_c == pytest.approx(tip_c, abs=THERMOCOUPLE_OFF_C), (kind, junction)
    for platinum_c in TABLE_OHM:
        found_c = degrees(Pt100Settings(signal="pt100"), samples[str(platinum_c)], None)
        assert found_c == pytest.approx(platinum_c, abs=PT100_OFF_C)


def test_the_module_holds_what_is_published() -> None:
    """Type K at 140 °C with its terminals at 25 °C shows 4.734266 mV."""
    assert shown_mv("K", 140, "warm") == pytest.approx(4.734266, abs=1e-9)
    at = 2 + 2 * THERMOCOUPLES.index(("K", 140, "warm"))
    _, held = MEMORY[UNIT, "input"]
    assert held[at : at + 2] == (473427 >> 16, 473427 & 0xFFFF)

"""What a serial bus must carry in one cycle; arithmetic, as a pseudo-terminal has no baud rate."""

import pytest

from drivers.modbus.codec import Request
from drivers.modbus.registers import (
    OutputSettings,
    PointSettings,
    RtuSettings,
    TcpSettings,
    UnitSettings,
)
from drivers.modbus.rtu import LUMP_S_MAX, quiet_s
from drivers.modbus.schedule import Cycle, cycle_of, fits, read_s


def bus(**keys: object) -> RtuSettings:
    return RtuSettings.model_validate({"device": "/dev/ttyUSB0", "hold_s": 10.0, **keys})


def inputs(unit: int, count: int, first: int = 0) -> dict[str, PointSettings]:
    return {
        f"bay-{unit}/{number}": PointSettings(
            unit=unit, table="input", register=first + number, type="int16"
        )
        for number in range(count)
    }


def relays(count: int) -> dict[str, OutputSettings]:
    return {
        f"bay-{number}/heat_permit": OutputSettings(unit=9, register=number, token=str(number))
        for number in range(count)
    }


def test_eight_registers_at_9600_baud_take_about_37_ms() -> None:
    """(8 + 21 + 2 x 3.5) characters of 10 bits at 9600 baud; the design's "about 37 ms"."""
    settings = bus(baud_rate=9600, parity="none", units={"1": UnitSettings(answer_s=0.0)})
    assert read_s(settings, Request(1, "input", 0, 8, ())) == pytest.approx(36 * 10 / 9600)
    assert read_s(settings, Request(1, "input", 0, 8, ())) == pytest.approx(0.0375)


@pytest.mark.parametrize(
    ("keys", "silence_s"),
    [  # Modbus over Serial Line V1.02, section 2.5.1.1
        ({"baud_rate": 9600}, 3.5 * 11 / 9600),
        ({"baud_rate": 19200}, 3.5 * 11 / 19200),
        ({"baud_rate": 38400}, 0.00175),
        ({"baud_rate": 115200, "parity": "none"}, 0.00175),
    ],
)
def test_the_silence_between_frames(keys: dict[str, object], silence_s: float) -> None:
    assert quiet_s(bus(**keys)) == pytest.approx(silence_s)


def test_a_module_s_own_time_counts_where_it_is_longer_than_the_silence() -> None:
    quick, slow = UnitSettings(answer_s=0.0), UnitSettings(answer_s=0.05)
    settings = bus(units={"1": quick, "2": slow})
    more_s = read_s(settings, Request(2, "input", 0, 1, ())) - read_s(
        settings, Request(1, "input", 0, 1, ())
    )
    assert more_s == pytest.approx(0.05 - quiet_s(settings))


def test_a_cycle_holds_everything_the_link_does() -> None:
    watched = UnitSettings(watchdog_register=1, watchdog_counts_per_s=10, watchdog_s=3.0)
    settings = bus(units={"9": watched, "8": UnitSettings()})
    cycle = cycle_of(settings, inputs(1, 8) | inputs(2, 4), relays(3))
    assert (cycle.reads, cycle.writes, cycle.time_outs) == (3, 3, 1)  # read-backs in one read
    character_s = 11 / 19200
    around_s = 0.01 + 3.5 * character_s  # the module's own time, and the silence after
    assert cycle.writes_s == pytest.approx(3 * (16 * character_s + around_s))
    assert cycle.time_outs_s == pytest.approx(15 * character_s + around_s)
    characters = (8 + 21) + (8 + 13) + (8 + 6)
    assert cycle.reads_s == pytest.approx(characters * character_s + 3 * around_s)
    assert cycle.silent_s == pytest.approx(8 * character_s + 0.5)
    assert cycle.total_s == pytest.approx(
        cycle.reads_s + cycle.writes_s + cycle.time_outs_s + cycle.silent_s
    )


def test_two_reads_of_one_shape_wait_for_a_repetition_between_them() -> None:
    settings = bus()
    apart = inputs(1, 1) | {"far": PointSettings(unit=1, table="input", register=9, type="int16")}
    others = inputs(1, 1) | {"far": PointSettings(unit=2, table="input", register=9, type="int16")}
    more_s = cycle_of(settings, apart, {}).reads_s - cycle_of(settings, others, {}).reads_s
    assert more_s == pytest.approx(LUMP_S_MAX - quiet_s(settings))


def test_a_module_s_time_out_and_a_register_of_it_have_one_shape_too() -> None:
    watched = UnitSettings(watchdog_register=1, watchdog_counts_per_s=10, watchdog_s=3.0)
    settings = bus(units={"1": watched})
    one = {"set_c": PointSettings(unit=1, table="holding", register=9, type="int16")}
    other = {"set_c": PointSettings(unit=1, table="input", register=9, type="int16")}
    more_s = cycle_of(settings, one, {}).total_s - cycle_of(settings, other, {}).total_s
    assert more_s == pytest.approx(LUMP_S_MAX - quiet_s(settings))


def test_what_fits_is_no_fault_and_what_does_not_comes_with_its_sum() -> None:
    points = {name: point for unit in range(1, 13) for name, point in inputs(unit, 2).items()}
    assert fits(bus(), points, relays(5)) == []
    (told,) = fits(bus(baud_rate=9600, parity="none"), points, relays(5))
    cycle = cycle_of(bus(baud_rate=9600, parity="none"), points, relays(5))
    assert told.startswith(f"one cycle needs {cycle.total_s:.2f} s and period_s is 1: 13 reads ")
    assert "5 writes 0.15 s" in told
    assert "one silent module 0.51 s, at 9600 baud; raise period_s or baud_rate" in told
    assert fits(bus(baud_rate=9600, parity="none", period_s=2.0), points, relays(5)) == []


def test_the_last_cycle_that_fits_and_the_first_that_does_not() -> None:
    points = inputs(1, 1)
    total_s = cycle_of(bus(), points, {}).total_s
    assert fits(bus(period_s=total_s + 1e-6), points, {}) == []
    assert len(fits(bus(period_s=total_s - 1e-6), points, {})) == 1


def test_an_answer_that_cannot_come_in_time_is_a_fault() -> None:
    slow = bus(baud_rate=1200, period_s=10.0)
    (told,) = fits(slow, inputs(1, 60), {})
    assert told.startswith("unit 1, input 0 (+60): its answer of 125 characters needs 1.16 s at")
    assert "timeout_s is 0.5; raise timeout_s or baud_rate" in told
    assert fits(bus(baud_rate=1200, period_s=10.0, timeout_s=1.2), inputs(1, 60), {}) == []


def test_a_link_over_tcp_has_no_such_sum() -> None:
    points = {name: point for unit in range(1, 200) for name, point in inputs(unit, 9).items()}
    assert fits(TcpSettings(host="127.0.0.1"), points, {}) == []


def test_the_sum_in_words() -> None:
    told = str(Cycle(12, 0.44, 5, 0.12, 1, 0.03, 0.5))
    assert told == (
        "12 reads 0.44 s, 5 writes 0.12 s, 1 modules' time-outs 0.03 s, one silent module 0.50 s"
    )

"""Settings of a Modbus link: what is refused, and that the text says what would be right."""

from typing import Any

import pytest
from pydantic import ValidationError

from drivers.kinds import kinds
from drivers.modbus import OutputSettings, PointSettings, RtuSettings, TcpSettings
from drivers.modbus.registers import UnitSettings

HOST = "127.0.0.1"
WORD = {"unit": 1, "table": "input", "register": 0, "type": "int16"}
LONG = WORD | {"type": "float32"}
BIT = {"unit": 1, "table": "discrete", "register": 0}


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ({"timeout_s": 2.0}, "lower timeout_s or raise period_s"),
        ({"hold_s": 0.5}, "raise hold_s or lower period_s"),
        ({"port": 0}, "greater than or equal to 1"),
        ({"port": 65536}, "less than or equal to 65535"),
        ({"period_s": float("nan")}, "finite number"),
        ({"period_ms": 5}, "Extra inputs"),
        ({"host": ""}, "at least 1 character"),
        ({"host": "\u00e9..x"}, "no name or address of a computer"),
        ({"host": "10.0.0\0.1"}, "holds what no name or address has"),
        ({"host": "10.0.0.1 "}, "holds what no name or address has"),
    ],
)
def test_link_settings_refused(settings: dict[str, object], says: str) -> None:
    with pytest.raises(ValidationError, match=says):
        TcpSettings.model_validate({"host": HOST} | settings)


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        (WORD | {"unit": 250}, "reserved by the standard; give 0 to 247"),
        (WORD | {"unit": 256}, "less than or equal to 255"),
        (WORD | {"register": 65536}, "less than or equal to 65535"),
        (WORD | {"register": 1.0}, "valid integer"),
        (WORD | {"register": True}, "valid integer"),
        (WORD | {"table": "inputs"}, "'input', 'holding', 'coil' or 'discrete'"),
        ({**WORD, "type": None}, "type is missing.*int16, uint16, int32, float32"),
        (WORD | {"inverted": True}, "inverted is for bits only"),
        (WORD | {"order": "CDAB"}, "needs four bytes and int16 has two"),
        (LONG | {"register": 65535}, "give at most 65534"),
        (WORD | {"scale": 0.0}, "scale = 0"),
        (WORD | {"scale": float("inf")}, "finite number"),
        (WORD | {"range_low": 5.0, "range_high": 5.0}, "range_low = 5 is not below range_high = 5"),
        (WORD | {"open_at": 5.0, "short_at": 5.0}, "could not be told apart"),
        (WORD | {"open_at": 40000}, r"open_at = 40000 is no int16 \(-32768 to 32767\)"),
        (WORD | {"short_at": 0.5}, "short_at = 0.5 is no int16"),
        (LONG | {"open_at": 1e39}, "is no float32"),
        (BIT | {"scale": 2.0}, "scale: a bit of table 'discrete' has none"),
        (BIT | {"type": "int16", "range_low": 0.0}, "type, range_low: a bit"),
    ],
)
def test_point_settings_refused(settings: dict[str, object], says: str) -> None:
    with pytest.raises(ValidationError, match=says):
        PointSettings.model_validate(settings)


@pytest.mark.parametrize(
    "settings",
    [
        WORD | {"unit": 247, "register": 65535, "open_at": 32767, "short_at": -32768},
        WORD | {"unit": 255},  # a server with no units behind it
        LONG | {"register": 65534, "order": "DCBA"},
        BIT | {"inverted": True},
    ],
)
def test_point_settings_at_their_edges_are_taken(settings: dict[str, object]) -> None:
    PointSettings.model_validate(settings)


def test_settings_do_not_change() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        TcpSettings(host=HOST).port = 5


def test_an_output_needs_a_token() -> None:
    with pytest.raises(ValidationError, match="token"):
        OutputSettings.model_validate({"unit": 3, "register": 0})


WATCHED = {"watchdog_register": 16, "watchdog_counts_per_s": 10, "watchdog_s": 5.0}


@pytest.mark.parametrize(
    ("unit", "says"),
    [
        ({"watchdog_s": 5.0}, "needs watchdog_register and watchdog_counts_per_s"),
        (WATCHED | {"watchdog_register": None}, "needs watchdog_register"),
        (WATCHED | {"watchdog_s": 0.04}, "0 counts, and the register takes 1 to 65535"),
        (WATCHED | {"watchdog_counts_per_s": 1000, "watchdog_s": 66.0}, "less than or equal to 60"),
        (WATCHED | {"watchdog_register": 65536}, "less than or equal to 65535"),
        ({"answer_s": 2.0}, "less than or equal to 1"),
        ({"modul": "relay_output_8"}, "Extra inputs"),
    ],
)
def test_unit_settings_refused(unit: dict[str, Any], says: str) -> None:
    with pytest.raises(ValidationError, match=says):
        TcpSettings.model_validate({"host": HOST, "units": {"3": unit}})


@pytest.mark.parametrize("key", ["03", "248", "254", "256", "-1", "three", "", "\u0663"])
def test_units_are_named_by_their_address(key: str) -> None:
    with pytest.raises(ValidationError, match="cannot be unit addresses; give 0 to 247"):
        TcpSettings.model_validate({"host": HOST, "units": {key: {}}})


def test_what_is_known_of_a_unit_is_found_by_its_address() -> None:
    settings = TcpSettings.model_validate({"host": HOST, "units": {"3": WATCHED}})
    assert settings.unit(3).watchdog_counts == 50
    assert settings.unit(4) == UnitSettings()
    assert settings.unit(4).watchdog_counts is None


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ({}, "give one of the two"),
        ({"device": "/dev/ttyUSB0", "usb_serial_number": "A1"}, "give one of the two"),
        ({"device": "/dev/ttyUSB0", "late_s": 0.1}, "late_s = 0.1 is below timeout_s = 0.5"),
        ({"device": "/dev/ttyUSB0", "parity": "mark"}, "'none', 'even' or 'odd'"),
        ({"device": "/dev/ttyUSB0", "hold_s": 0.5}, "raise hold_s or lower period_s"),
    ],
)
def test_bus_settings_refused(settings: dict[str, Any], says: str) -> None:
    with pytest.raises(ValidationError, match=says):
        RtuSettings.model_validate(settings)


TCP = {"host": HOST}
BUS = {"device": "/dev/ttyUSB0"}
WIRES = pytest.mark.parametrize(("kind", "at"), [("modbus_tcp", TCP), ("modbus_rtu", BUS)])


@WIRES
@pytest.mark.parametrize(
    ("settings", "watchdog_s", "says"),
    [
        ({}, 1.5, "units.3.watchdog_s = 1.5 is not above period_s + timeout_s = 1.5"),
        ({}, 3.6, ""),
        ({"period_s": 2.0, "timeout_s": 1.0}, 3.0, "raise watchdog_s or lower period_s"),
        ({}, 9.0, ""),
        ({}, 9.1, "units.3.watchdog_s = 9.1 is above 3 x hold_s = 9"),
        ({"hold_s": 1.0}, 5.0, "keep heat on long after this program died; lower watchdog_s"),
    ],
)
def test_a_time_out_must_fit_the_polls_and_what_it_guards_against(
    kind: str, at: dict[str, Any], settings: dict[str, Any], watchdog_s: float, says: str
) -> None:
    model = kinds()[kind].settings
    units = {"3": WATCHED | {"watchdog_s": watchdog_s}, "4": {}}
    told = list(
        kinds()[kind].faults(model.model_validate(at | settings | {"units": units}), {}, {})
    )
    assert len(told) == bool(says)
    assert not says or says in told[0]


@pytest.mark.parametrize(
    ("kind", "at", "enough"), [("modbus_tcp", TCP, 1.6), ("modbus_rtu", BUS, 3.6)]
)
def test_the_shortest_time_out_there_may_be(kind: str, at: dict[str, Any], enough: float) -> None:
    for watchdog_s, fault in [(enough, False), (enough - 0.1, True)]:
        settings = at | {"units": {"3": WATCHED | {"watchdog_s": watchdog_s}}}
        told = list(kinds()[kind].faults(kinds()[kind].settings.model_validate(settings), {}, {}))
        assert bool(told) is fault


@pytest.mark.parametrize(("unit", "says"), [(0, "0; give 1 to 247"), (255, "255; give"), (1, "")])
def test_a_serial_bus_has_no_unit_for_everybody_and_none_of_its_own(unit: int, says: str) -> None:
    point = PointSettings.model_validate(WORD | {"unit": unit})
    output = OutputSettings(unit=unit, register=0, token="bay-1")
    tcp, rtu = kinds()["modbus_tcp"], kinds()["modbus_rtu"]
    bus = RtuSettings.model_validate(BUS | {"units": {str(unit): {}}})
    told = list(rtu.faults(bus, {"bay-1/a": point}, {"bay-1/b": output}))
    wrong = [f"units.{unit}:", "bay-1/a:", "bay-1/b:"] if says else []
    assert [fault.split()[0] for fault in told] == wrong
    assert all(says in fault for fault in told)
    assert not list(tcp.faults(TcpSettings.model_validate(TCP), {"a": point}, {"b": output}))


@WIRES
def test_where_a_point_is_and_what_it_takes(kind: str, at: dict[str, Any]) -> None:
    modbus = kinds()[kind]
    word, long = PointSettings.model_validate(WORD), PointSettings.model_validate(LONG)
    relay = OutputSettings(unit=3, register=7, token="bay-1")
    assert modbus.place(word) == "unit 1 input 0"
    assert modbus.place(relay) == "unit 3 coil 7"
    assert set(modbus.claims(long)) == {(1, "input", 0), (1, "input", 1)}
    assert set(modbus.claims(relay)) == {(3, "coil", 7)}
    own = modbus.settings.model_validate(at)
    assert modbus.address(own) == modbus.address(
        modbus.settings.model_validate(at | {"hold_s": 2.0})
    )


def test_two_links_to_one_module_have_one_address() -> None:
    tcp, rtu = kinds()["modbus_tcp"], kinds()["modbus_rtu"]
    assert tcp.address(TcpSettings(host=HOST)) != tcp.address(TcpSettings(host=HOST, port=503))
    by_number = RtuSettings(usb_serial_number="A1")
    assert rtu.address(by_number) != rtu.address(RtuSettings.model_validate(BUS))

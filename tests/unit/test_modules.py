"""Descriptions of modules: what comes with the program is right, and a wrong one says why."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from drivers.modbus.modules import (
    OURS,
    ModuleDescription,
    fill_in,
    fill_in_link,
    load_module,
    our_modules,
)
from drivers.modbus.registers import OutputSettings, PointSettings, UnitSettings
from drivers.sensors import SENSORS

LINK = {
    "units": {
        "1": {"module": "thermocouple_input_8"},
        "2": {"module": "current_input_4", "answer_s": 0.05},
        "3": {"module": "relay_output_8", "watchdog_s": 5.0},
        "9": {},
    }
}
HERE = Path("/")
VOLTS = {"table": "input", "register": 0, "type": "int16"}
OWN = """
title = "One input, invented"
about = "Invented."
[inputs.wall]
table = "input"
register = 7
type = "int16"
"""


def own_link(tmp_path: Path, text: str) -> dict[str, Any]:
    (tmp_path / "my-module.toml").write_text(text, encoding="utf-8")
    return {"units": {"1": {"module": "./my-module.toml"}}}


def test_the_modules_the_program_brings() -> None:
    assert our_modules() == [
        "current_input_4",
        "digital_input_8",
        "pressure_transmitter_float",
        "relay_output_8",
        "thermocouple_input_8",
    ]


@pytest.mark.parametrize("name", our_modules())
def test_a_module_the_program_brings_is_whole(name: str) -> None:
    module = load_module(name, HERE)
    assert "invented" in module.about.lower()
    for described in module.inputs.values():
        PointSettings.model_validate({"unit": 1} | described.keys())
    for output in module.outputs.values():
        whole = {"unit": 1, "token": "bay-1"} | output.model_dump(by_alias=True)
        OutputSettings.model_validate(whole)
    UnitSettings.model_validate(module.unit_keys())


@pytest.mark.parametrize("name", our_modules())
def test_no_two_values_of_a_module_overlap(name: str) -> None:
    """A register given twice would be a slip of the pen; they are many and alike."""
    module = load_module(name, HERE)
    taken = [
        (described.table, described.number + step)
        for described in module.inputs.values()
        for step in range(described.width)
    ]
    taken += [("coil", output.number) for output in module.outputs.values()]
    assert len(taken) == len(set(taken))
    counted = int(name[-1]) if name[-1].isdigit() else 0
    named = [key for key in (*module.inputs, *module.outputs) if key.isdigit()]
    assert named == [str(at) for at in range(1, counted + 1)]


def test_each_file_says_that_its_map_is_invented_and_no_makers() -> None:
    for name in our_modules():
        text = (OURS / f"{name}.toml").read_text(encoding="utf-8")
        assert "Invented map of no maker's module" in tomllib.loads(text)["about"]


def test_an_input_is_filled_in_below_what_the_entry_says_itself() -> None:
    assert fill_in(LINK, {"unit": 1, "input": "3", "scale": 0.2}, HERE) == {
        "unit": 1,
        "table": "input",
        "register": 2,
        "type": "int16",
        "scale": 0.2,
        "open_at": 32767,
    }


def test_an_output_is_filled_in() -> None:
    entry = {"unit": 3, "output": "2", "toggled": True}
    assert fill_in(LINK, entry, HERE) == {"unit": 3, "register": 1, "toggled": True}


def test_an_entry_that_names_neither_stays_as_it_is() -> None:
    entry = {"unit": 1, "register": 5, "sensor": {"signal": "loop"}, "cold_junction": {"unit": 2}}
    filled = fill_in(LINK, entry, HERE)
    assert filled == entry
    assert filled is not entry


def test_a_sensor_is_joined_key_by_key() -> None:
    entry = {"unit": 2, "input": "1", "sensor": {"at_4_ma": 0.0, "at_20_ma": 600.0}}
    filled = fill_in(LINK, entry, HERE)
    assert filled["sensor"] == {"signal": "loop", "at_4_ma": 0.0, "at_20_ma": 600.0}
    assert (filled["scale"], filled["type"]) == (0.001, "uint16")


@pytest.mark.parametrize(
    ("own", "place"),
    [
        (None, {"unit": 1, "register": 8}),
        ({"unit": 1, "input": "terminals"}, {"unit": 1, "register": 8}),
        ({"input": "terminals"}, {"unit": 1, "register": 8}),
        ({"unit": 2, "input": "4"}, {"unit": 2, "register": 3}),
    ],
)
def test_the_cold_junction_becomes_a_place(
    own: dict[str, Any] | None, place: dict[str, Any]
) -> None:
    entry = {"unit": 1, "input": "1_mv", "sensor": {"type": "K"}}
    if own is not None:
        entry["cold_junction"] = own
    filled = fill_in(LINK, entry, HERE)
    assert filled["sensor"] == {"signal": "thermocouple", "type": "K"}
    assert {key: filled["cold_junction"][key] for key in place} == place
    assert "input" not in filled["cold_junction"]


def test_a_cold_junction_meant_by_name_is_an_input_too() -> None:
    with pytest.raises(ValueError, match="did you mean 'terminals'"):
        ModuleDescription.model_validate(
            {
                "title": "Invented",
                "about": "Invented.",
                "inputs": {
                    "1": VOLTS | {"cold_junction": "terminal"},
                    "terminals": VOLTS | {"register": 1},
                },
            }
        )


def test_a_cold_junction_of_the_entrys_own_is_not_mixed_with_the_modules() -> None:
    own = {"unit": 7, "table": "holding", "register": 40, "type": "uint16"}
    filled = fill_in(LINK, {"unit": 1, "input": "1_mv", "cold_junction": own}, HERE)
    assert filled["cold_junction"] == own


@pytest.mark.parametrize(
    ("entry", "whole"),
    [
        ({"unit": 1, "input": "8_mv", "sensor": {"type": "J"}}, "thermocouple"),
        ({"unit": 2, "input": "4", "sensor": {"at_4_ma": 0.0, "at_20_ma": 6.0}}, "loop"),
    ],
)
def test_a_sensor_that_was_filled_in_is_one_the_program_has(
    entry: dict[str, Any], whole: str
) -> None:
    sensor = fill_in(LINK, entry, HERE)["sensor"]
    assert SENSORS[whole].model_validate(sensor).signal == whole


def test_nothing_is_changed_that_was_given() -> None:
    link = {"units": {"1": {"module": "thermocouple_input_8"}}}
    entry = {"unit": 1, "input": "1_mv"}
    fill_in(link, entry, HERE)["sensor"]["signal"] = "spoilt"
    fill_in_link(link, HERE)["units"]["1"]["answer_s"] = 9
    assert link == {"units": {"1": {"module": "thermocouple_input_8"}}}
    assert entry == {"unit": 1, "input": "1_mv"}
    assert fill_in(link, entry, HERE)["sensor"]["signal"] == "thermocouple"


def test_a_links_units_are_filled_in_below_what_they_say_themselves() -> None:
    units = fill_in_link({"kind": "modbus_rtu"} | LINK, HERE)["units"]
    assert units == {
        "1": {"module": "thermocouple_input_8", "answer_s": 0.02},
        "2": {"module": "current_input_4", "answer_s": 0.05},
        "3": {
            "module": "relay_output_8",
            "watchdog_s": 5.0,
            "answer_s": 0.01,
            "watchdog_register": 16,
            "watchdog_counts_per_s": 10,
        },
        "9": {},
    }
    for unit in units.values():
        UnitSettings.model_validate(unit)


@pytest.mark.parametrize(
    "link", [{}, {"units": 5}, {"units": {"1": 5}}, {"units": {"1": {"module": 5}}}]
)
def test_what_is_no_table_or_no_name_stays_for_the_model_to_tell(link: dict[str, Any]) -> None:
    assert fill_in_link(link, HERE) == link


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ({"unit": 1, "input": "terminal"}, "did you mean 'terminals'"),
        ({"unit": 1, "input": "12"}, "unit 1, 8 thermocouple inputs, has no such input"),
        ({"unit": 1, "input": 1}, "input = 1: .* did you mean '1'"),
        ({"unit": 1, "input": ["1"]}, "has no such input"),
        ({"unit": 1, "output": "1"}, "has no such output; it has none"),
        ({"unit": 3, "output": "9"}, "give one of '1', '2', '3', '4', '5', '6', '7', '8'"),
        ({"unit": 9, "input": "1"}, r'names no module for unit 9; add module = "..." to the link'),
        ({"unit": 8, "input": "1"}, "names no module for unit 8"),
        ({"unit": [8], "input": "1"}, "names no module for unit"),
        ({"input": "1"}, "input needs unit, the address of its module"),
        ({"unit": 1, "input": "1", "output": "1"}, "remove the other"),
        ({"unit": 1, "cold_junction": {"input": "x"}}, "input = 'x': unit 1"),
    ],
)
def test_what_cannot_be_filled_in_is_told(entry: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        fill_in(LINK, entry, HERE)


def test_one_of_your_own_is_found_beside_the_configuration(tmp_path: Path) -> None:
    link = own_link(tmp_path, OWN)
    assert fill_in(link, {"unit": 1, "input": "wall"}, tmp_path)["register"] == 7
    with pytest.raises(ValueError, match="seen from the configuration's folder"):
        fill_in_link(link, tmp_path / "elsewhere")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("register = 7", "register = 70000"), "inputs.wall.register = 70000: .*65535"),
        (("register = 7", "registre = 7"), "inputs.wall.registre: no such key; remove it"),
        (("register = 7", ""), "inputs.wall.register: missing; add it"),
        (("register = 7", "register = 7\nunit = 1"), "inputs.wall.unit: no such key"),
        (('type = "int16"', ""), "inputs.wall: type is missing"),
        (
            ('"int16"', '"int16"\ncold_junction = "wall"'),
            "toml: inputs.wall.cold_junction = 'wall' is",
        ),
        (("[inputs.wall]", "[inputs.wall"), "not TOML: .*mend it"),
        (("title", "[watchdog]\nregister = 1\ncounts_per_s = 0\n[x]\ntitle"), "counts_per_s = 0"),
        ((OWN, 'title = "t"\nabout = "a"'), "inputs and outputs are both missing"),
    ],
)
def test_a_wrong_description_names_file_key_and_what_to_do(
    tmp_path: Path, change: tuple[str, str], says: str
) -> None:
    link = own_link(tmp_path, OWN.replace(*change))
    with pytest.raises(ValueError, match=says) as told:
        fill_in_link(link, tmp_path)
    assert str(told.value).startswith("units.1: module = './my-module.toml': ")
    assert str(tmp_path / "my-module.toml") in str(told.value)
    # Told in whole once, at the link; its eight channels only point there.
    with pytest.raises(ValueError, match=r"description of unit 1 cannot be used; see units\.1"):
        fill_in(link, {"unit": 1, "input": "wall"}, tmp_path)


def test_brackets_without_end_are_told(tmp_path: Path) -> None:
    link = own_link(tmp_path, "title = " + "[" * 50_000)
    with pytest.raises(ValueError, match=r"my-module\.toml: not TOML: .*mend it"):
        fill_in_link(link, tmp_path)


def test_bytes_that_are_no_text_are_told(tmp_path: Path) -> None:
    link = own_link(tmp_path, "")
    (tmp_path / "my-module.toml").write_bytes(b"title = '\xff'")
    with pytest.raises(ValueError, match=r"my-module\.toml: not TOML: .*utf-8"):
        fill_in_link(link, tmp_path)


def test_every_description_that_cannot_be_used_is_told_at_once() -> None:
    link = {"units": {"1": {"module": "relays_8"}, "2": {"module": "../x"}, "3": {"module": ""}}}
    with pytest.raises(ValueError, match="no such module") as told:
        fill_in_link(link, HERE)
    assert "units.1: module = 'relays_8': no such module; did you mean 'relay_output_8'" in str(
        told.value
    )
    assert str(told.value).count("no such module") == 3

"""Links, channels and outputs of a configuration, over every kind of link.

All rigs, figures and addresses are invented.
"""

import re
from datetime import date
from pathlib import Path

import pytest

from daemon.config import Config, ConfigError, load
from daemon.inputs import sample_of
from drivers.base import Sample
from drivers.kinds import kinds

ROOT = Path(__file__).parents[2]
BUS = (ROOT / "deploy" / "curehold.bus.example.toml").read_text(encoding="utf-8")
PAD = "rigs.bay-4.channels.pad_inner_c"


def swapped(old: str, new: str, text: str = BUS) -> str:
    assert old in text
    return text.replace(old, new, 1)


def loaded(tmp_path: Path, text: str) -> Config:
    path = tmp_path / "shop.toml"
    path.write_text(text, encoding="utf-8")
    return load(path)


def faults_of(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        loaded(tmp_path, text)
    return [fault.removeprefix("shop.toml: ") for fault in caught.value.faults]


def test_the_example_of_a_bus_loads(tmp_path: Path) -> None:
    config = loaded(tmp_path, BUS)
    assert [rig.name for rig in config.rigs] == ["bay-4", "bay-5"]
    points = config.points("bus")
    pad = points["bay-4/pad_inner_c"]
    # What the description of the module says, not the configuration.
    assert (pad.unit, pad.table, pad.scale) == (1, "input", 0.1)
    outputs = config.outputs("bus")
    assert outputs["bay-5/heat_permit"].token == "bay-5"
    assert outputs["bay-5/heat_permit"].number == outputs["bay-4/heat_permit"].number + 4
    # Lamps and horn call for people, whatever becomes of the module's time-out.
    guarded = {name: output.guarded for name, output in outputs.items() if "bay-4" in name}
    assert guarded == {
        "bay-4/heat_permit": True,
        "bay-4/horn": False,
        "bay-4/beacon_red": False,
    }
    assert config.links["bus"].settings.unit(3).watchdog_counts is not None
    assert set(config.points("air")) == {
        f"bay-{rig}/bag_{side}_kpa" for rig in (4, 5) for side in ("inner", "outer")
    }


def test_a_calibration_stands_among_the_limits_of_its_rig(tmp_path: Path) -> None:
    """So every frame names it, by their hash."""
    first, second = loaded(tmp_path, BUS).rigs
    assert first.channels["pad_inner_c"].correction is not None
    assert first.channels["pad_inner_c"].correction.on == date(2026, 10, 1)
    kept = first.limits.calibrations["pad_inner_c"]
    assert (kept.on, kept.by, kept.zero_reads) == ("2026-10-01", "R. T.", 0.4)
    assert (kept.span_at, kept.span_reads) == (100.0, 100.9)
    assert second.limits.calibrations == {}
    again = type(first.limits).model_validate_json(first.limits.model_dump_json())
    assert again == first.limits
    other = loaded(tmp_path, swapped("zero_reads = 0.4", "zero_reads = 0.5")).rigs[0]
    assert other.limits.model_dump_json() != first.limits.model_dump_json()


def test_a_channel_reads_corrected(tmp_path: Path) -> None:
    config = loaded(tmp_path, BUS)
    channel = config.rigs[0].channels["pad_inner_c"]
    key = "bay-4/pad_inner_c"
    # Read 0.4 in ice and 100.9 at 100: halfway it reads 50.65 at 50.
    read = sample_of(key, channel, {key: Sample(50.65, "good", "", 7)})
    assert read.value == pytest.approx(50.0)
    plain = config.rigs[0].channels["pad_outer_c"]
    raw = Sample(50.65, "good", "", 7)
    assert sample_of("bay-4/pad_outer_c", plain, {"bay-4/pad_outer_c": raw}) is raw


THERMOCOUPLE = """
link = "bus"
unit = 9
table = "input"
register = 0
type = "int16"
scale = 0.001
"""
COLD = f"""
[{PAD}.cold_junction]
unit = 9
table = "input"
register = 8
type = "int16"
scale = 0.01
"""
CONDITION = f"""
[{PAD}.condition]
unit = 9
table = "input"
register = 9
type = "uint16"
read_as = "bits"
failure = [0]
maintenance_required = [3]
"""


def with_millivolts(*more: str) -> str:
    text = swapped('link = "bus"\nunit = 1\ninput = "1"\n', THERMOCOUPLE)
    return text + f'\n[{PAD}.sensor]\nsignal = "thermocouple"\ntype = "K"\n' + "".join(more)


def test_a_thermocouple_takes_its_terminals_and_its_state_with_it(tmp_path: Path) -> None:
    config = loaded(tmp_path, with_millivolts(COLD, CONDITION))
    key = "bay-4/pad_inner_c"
    assert {name for name in config.points("bus") if name.startswith(key)} == {
        key,
        f"{key}.cold_junction",
        f"{key}.condition",
    }
    channel = config.rigs[0].channels["pad_inner_c"]
    shown = {
        key: Sample(4.734266, "good", "", 5),  # mV, NIST ITS-90, type K, 140 °C less 25 °C
        f"{key}.cold_junction": Sample(25.0, "good", "", 3),
        f"{key}.condition": Sample(0.0, "good", "", 4),
    }
    read = sample_of(key, channel, shown)
    corrected = (140.0 - 0.4) / (100.9 - 0.4) * 100.0  # as observed at the calibration
    assert read.value == pytest.approx(corrected, abs=0.001)
    assert (read.quality, read.reason, read.at_ns) == ("good", "", 3)
    failed = sample_of(key, channel, shown | {f"{key}.condition": Sample(1.0, "good", "", 4)})
    assert (failed.value, failed.quality, failed.reason) == (None, "bad", "failure")
    cold = sample_of(
        key, channel, shown | {f"{key}.cold_junction": Sample(None, "bad", "no_reply", 3)}
    )
    assert (cold.value, cold.reason) == (None, "cold_junction")


MISTAKES = {
    "no kind": (
        swapped('kind = "modbus_rtu"\n', ""),
        f"links.bus.kind: give one of {', '.join(kinds())}",
    ),
    "a kind unknown": (
        swapped('kind = "modbus_rtu"', 'kind = "modbus_rtv"'),
        'links.bus.kind = "modbus_rtv": did you mean modbus_rtu?',
    ),
    "two ways to the port": (
        swapped("baud_rate = 19200", 'baud_rate = 19200\nusb_serial_number = "X"'),
        "links.bus: device and usb_serial_number: give one of the two, the port's path or the "
        "adapter's serial number",
    ),
    "heat that outlives a gap": (
        swapped("period_s = 1.0", "period_s = 1.0\nhold_s = 5.0"),
        "links.bus.hold_s = 5: give at most 3",
    ),
    "two links on one port": (
        swapped(
            "/dev/serial/by-id/usb-air-board",
            "/dev/serial/by-id/usb-bus-adapter",
        ),
        "links.air: the same address as links.bus; one link serves any number of rigs, keep one",
    ),
    "an output on a link that only reads": (
        swapped(
            'horn = { link = "bus", unit = 3, output = "2" }', 'horn = { link = "air", key = "x" }'
        ),
        "rigs.bay-4.outputs.horn: link air only reads; put outputs on a link that can write",
    ),
    "one key for two channels": (
        swapped('key = "bay4_outer_kpa"', 'key = "bay4_inner_kpa"'),
        "rigs.bay-4.channels.bag_outer_kpa: the same place as rigs.bay-4.channels.bag_inner_kpa "
        "(link air, key bay4_inner_kpa); give each its own",
    ),
    "a token of one's own": (
        swapped('output = "2" }', 'output = "2", token = "x" }'),
        "rigs.bay-4.outputs.horn.token: no such key; remove it",
    ),
    "millivolts without the terminals": (
        with_millivolts(),
        f"{PAD}.cold_junction: missing; a thermocouple's millivolts say nothing without the "
        "temperature of its terminals, give the place where that is read",
    ),
    "terminals without millivolts": (
        BUS + COLD,
        f"{PAD}.cold_junction: only for a sensor with signal = 'thermocouple'; remove it, or add "
        "the sensor",
    ),
    "a sensor unknown": (
        BUS + f'\n[{PAD}.sensor]\nsignal = "thermo"\n',
        f'{PAD}.sensor.signal = "thermo": did you mean thermocouple?',
    ),
    "a sensor without its signal": (
        BUS + f'\n[{PAD}.sensor]\ntype = "K"\n',
        f"{PAD}.sensor.signal: give one of thermocouple, pt100, loop, voltage",
    ),
    "a sensor that is no table": (
        swapped('unit = 1\ninput = "1"', 'unit = 1\ninput = "1"\nsensor = 3'),
        f"{PAD}.sensor.signal: give one of thermocouple, pt100, loop, voltage",
    ),
    "a correction without its day": (
        swapped("on = 2026-10-01\n", ""),
        f"{PAD}.correction.on: missing; add it, docs/configuration.md says what it is",
    ),
    "a date in quotes": (
        swapped("on = 2026-10-01", 'on = "2026-10-01"'),
        f'{PAD}.correction.on = "2026-10-01": give a date without quotes, for instance 2026-10-01',
    ),
    "no list of columns": (
        swapped('form = "key_value"', 'form = "csv"\ncolumns = 3'),
        "links.air.columns = 3: give a list in [brackets]",
    ),
    "a calibration among the limits": (
        BUS + "\n[rigs.bay-4.limits.calibrations]\n",
        "rigs.bay-4.limits.calibrations: a calibration stands in the channel's own table "
        "[rigs.bay-4.channels.CHANNEL.correction]; move it there",
    ),
    "a condition that is no table": (
        swapped('unit = 1\ninput = "1"', 'unit = 1\ninput = "1"\ncondition = 3'),
        f"{PAD}.condition = 3: give a table in [brackets]",
    ),
    "a link that is no text": (
        swapped('link = "bus"\nunit = 1\ninput = "1"', 'link = 3\nunit = 1\ninput = "1"'),
        f"{PAD}.link = 3: give text in quotes",
    ),
    "no link": (
        swapped('link = "bus"\nunit = 1\ninput = "1"', 'unit = 1\ninput = "1"'),
        f"{PAD}.link: missing; add it, docs/configuration.md says what it is",
    ),
}


@pytest.mark.parametrize("name", MISTAKES)
def test_each_mistake_is_told_once_and_nothing_else_is(tmp_path: Path, name: str) -> None:
    text, expected = MISTAKES[name]
    assert faults_of(tmp_path, text) == [expected]


def test_a_bus_that_cannot_fit_is_refused_with_the_arithmetic(tmp_path: Path) -> None:
    (told,) = faults_of(tmp_path, swapped("baud_rate = 19200", "baud_rate = 600"))
    assert told.startswith("links.bus: ")
    seconds = [float(number) for number in re.findall(r"(\d+\.\d+) s", told)]
    assert seconds
    assert max(seconds) > 1.0  # what it needs, above period_s
    assert "baud_rate" in told


def test_a_watchdog_shorter_than_a_poll_is_refused(tmp_path: Path) -> None:
    (told,) = faults_of(tmp_path, swapped("watchdog_s = 4.0", "watchdog_s = 1.0"))
    assert told.startswith("links.bus: ")
    assert "watchdog_s = 1" in told

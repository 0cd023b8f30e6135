"""Links, channels and outputs of a configuration, over every kind of link.

All rigs, figures and addresses are invented.
"""

import re
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from daemon.config import Config, ConfigError, load
from daemon.inputs import sample_of
from daemon.wiring import wired
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
    "a sensor of a switch": (
        swapped('unit = 2, input = "1" }', 'unit = 2, input = "1", sensor = {signal = "pt100"} }'),
        "rigs.bay-4.channels.start_button.sensor: a switch is on or off, nothing in it can be "
        "converted or corrected; remove it, or read the switch at another place",
    ),
    "a correction of a switch": (
        swapped('input = "7" }', 'input = "7", correction = {on = 2026-10-01, zero_reads = 0.4} }'),
        "rigs.bay-4.channels.mains_ok.correction: a switch is on or off, nothing in it can be "
        "converted or corrected; remove it, or read the switch at another place",
    ),
    "degrees for kilopascals": (
        swapped("range_high = 700.0 }", 'range_high = 700.0, sensor = {signal = "pt100"} }'),
        "rigs.bay-4.channels.bag_inner_kpa.sensor.signal = 'pt100': gives °C and this channel is "
        "in kPa; correct signal",
    ),
    "a pin that would float": (
        swapped('{ link = "bus", unit = 2, input = "2" }', '{ link = "pins", line = 4 }')
        + '\n[links.pins]\nkind = "gpio"\nchip = "/dev/gpiochip0"\n',
        "rigs.bay-4.channels.here_button.bias: missing; add it, docs/configuration.md says what "
        "it is",
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


BOARD = """
[links.board]
kind = "linux_iio"
[links.pins]
kind = "gpio"
chip = "/dev/gpiochip0"
"""
VOLTAGE = """{ signal = "voltage", low_v = 0.5, at_low_v = 0.0, high_v = 4.5, at_high_v = 1000.0,
valid_low_v = 0.4, valid_high_v = 4.6 }""".replace("\n", " ")


def on_the_board(channel: str, attribute: str, more: str = "") -> str:
    """The example with one more channel, read from what the kernel drives."""
    place = f'link = "board"\ndevice = "converter"\nattribute = "{attribute}"\n'
    return f"{BUS}{BOARD}\n[rigs.bay-4.channels.{channel}]\n{place}{more}\n"


@pytest.mark.parametrize(
    ("channel", "attribute", "more"),
    [
        ("supply_kpa", "in_voltage0", f"scale = 0.001\nsensor = {VOLTAGE}"),
        ("supply_kpa", "in_pressure0", ""),
        ("ambient_c", "temp1", ""),
        ("probe_c", "in_resistance0", 'sensor = { signal = "pt100" }'),
        ("supply_kpa", "curr1", 'sensor = { signal = "loop", at_4_ma = 0.0, at_20_ma = 1e3 }'),
        ("heat_current_inner_a", "curr1", "scale = 0.001"),
        ("heat_on", "in0", "scale = 0.001"),  # judged when it is read
        (
            "probe_c",
            "in_voltage0",
            'sensor = { signal = "thermocouple", type = "K" }\n'
            'cold_junction = { device = "converter", attribute = "in_temp0" }',
        ),
    ],
)
def test_what_the_kernel_gives_in_the_unit_that_is_wanted(
    tmp_path: Path, channel: str, attribute: str, more: str
) -> None:
    config = loaded(tmp_path, on_the_board(channel, attribute, more))
    assert f"bay-4/{channel}" in config.points("board")


@pytest.mark.parametrize(
    ("channel", "attribute", "more", "told"),
    [
        ("supply_kpa", "in_voltage0", f"sensor = {VOLTAGE}", ": what is read there is in mV and V"),
        ("heat_current_inner_a", "curr1", "", ": what is read there is in mA and A"),
        ("probe_c", "in_voltage0", "", ": what is read there is in mV and °C"),
        (
            "probe_c",
            "in_temp0",
            'sensor = { signal = "pt100" }',
            ": what is read there is in °C and ohm",
        ),
        (
            "probe_c",
            "in_voltage0",
            'sensor = { signal = "thermocouple", type = "K" }\n'
            'cold_junction = { device = "converter", attribute = "in_voltage1" }',
            ".cold_junction: what is read there is in mV and °C",
        ),
    ],
)
def test_what_the_kernel_gives_in_another_unit_is_refused(
    tmp_path: Path, channel: str, attribute: str, more: str, told: str
) -> None:
    """A thousandfold value looks like a value."""
    (fault,) = faults_of(tmp_path, on_the_board(channel, attribute, more))
    assert fault.startswith(f"rigs.bay-4.channels.{channel}{told} is wanted; correct the place")


@pytest.mark.parametrize(
    ("value", "reason"),
    [(0.0, ""), (1.0, ""), (0.5, "above_range"), (139.8, "above_range"), (-1.0, "below_range")],
)
def test_a_switch_is_on_or_off_and_nothing_else(tmp_path: Path, value: float, reason: str) -> None:
    """A wrong key or register read as a switch would seem a button that is pressed."""
    channel = loaded(tmp_path, BUS).rigs[0].channels["start_button"]
    key = "bay-4/start_button"
    read = sample_of(key, channel, {key: Sample(value, "good", "", 7, (3,))})
    expected = (
        Sample(None, "bad", reason, 7, (3,)) if reason else Sample(value, "good", "", 7, (3,))
    )
    assert read == expected


SHORT = "rigs.bay-4.channels.here_button: shows a press for stretch_s = "


@pytest.mark.parametrize(
    ("button", "period_s", "told"),
    [
        ('line = 4, bias = "none"', 1.0, None),
        (
            'line = 4, bias = "none"',
            1.2,
            f"{SHORT}1.2 and a frame comes every frame_period_s = 1.2",
        ),
        ('line = 4, bias = "none", stretch_s = 3.0', 2.0, None),
        (
            'line = 4, bias = "none", stretch_s = 0.0',
            1.0,
            f"{SHORT}0 and a frame comes every frame_period_s = 1",
        ),
    ],
)
def test_a_short_press_shows_in_a_frame(
    tmp_path: Path, button: str, period_s: float, told: str | None
) -> None:
    text = swapped('{ link = "bus", unit = 2, input = "2" }', f'{{ link = "pins", {button} }}')
    text = swapped("hold_min = 150.0", f"hold_min = 150.0\nframe_period_s = {period_s}", text)
    if told is None:
        assert loaded(tmp_path, text + BOARD).links["pins"]
        return
    (fault,) = faults_of(tmp_path, text + BOARD)
    assert fault.startswith(told)


def pieces() -> list[tuple[str, dict[str, Any]]]:
    """Every piece of a configuration that a page shows, with the page."""
    return [
        (page.name if page.parent.name == "docs" else page.parent.name, tomllib.loads(block))
        for page in sorted([*ROOT.glob("docs/*.md"), *ROOT.glob("drivers/*/README.md")])
        for block in re.findall(r"^```toml\n(.*?)^```", page.read_text("utf-8"), re.M | re.S)
        if re.search(r"^\[(?:links|rigs)\.", block, re.M)  # else a description of a module
    ]


PLACE = {"link": "bus", "unit": 9, "table": "input", "register": 100, "type": "int32"}


@pytest.mark.parametrize(("page", "piece"), pieces())
def test_every_piece_that_a_page_shows_is_right(page: str, piece: dict[str, Any]) -> None:
    """In an otherwise empty configuration; a channel of which only a part is shown gets a place."""
    port = {"kind": "modbus_rtu", "device": "/dev/serial/by-id/x"}
    links = piece.get("links", {})
    links["bus"] = port | links.get("bus", {})
    rigs = piece.get("rigs", {})
    # A piece may show links alone.
    channels = rigs.get("bay-2", {}).get("channels", {})
    for name, entry in channels.items():
        channels[name] = entry if "link" in entry else PLACE | entry
    made = wired(links, rigs, ROOT)
    assert made.faults == [], page
    assert {name for _, name in made.channels} == set(channels)


def test_every_kind_of_wire_is_shown_by_a_page() -> None:
    shown = {
        link["kind"]
        for _, piece in pieces()
        for link in piece.get("links", {}).values()
        if "kind" in link
    }
    assert shown | {"modbus_rtu", "modbus_tcp"} == set(kinds())

"""The library's real interface, and the kernel's simulated chip where it has one.

Source:
    Linux kernel documentation, admin-guide/gpio/gpio-sim, from memory.
"""

import builtins
import inspect
import os
import sys
from collections.abc import Iterator
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from drivers.base import LinkDown
from drivers.gpio import GpioSettings, OutputSettings, PointSettings, lines, open_link
from drivers.gpio.registers import Wanted
from tests.virtual_clock import VirtualClock, settle

gpiod = pytest.importorskip("gpiod", reason="the extra curehold[gpio] is not installed")

from drivers.gpio import chip  # noqa: E402 - needs gpiod, which may be missing

SIM = Path("/sys/kernel/config/gpio-sim")
NUMBER_LINES = 8


def wanted(path: str, line: int | str = 2) -> Wanted:
    return Wanted(
        path,
        20,
        {"button": PointSettings(line=line, bias="pull_down")},
        {"lamp": OutputSettings(line=5, token="bay-1")},
    )


@pytest.mark.parametrize("bias", ["pull_up", "pull_down", "none"])
@pytest.mark.parametrize("inverted", [True, False])
def test_the_library_takes_what_we_say_of_an_input(bias: Any, inverted: bool) -> None:
    made = chip.settings_of(PointSettings(line=2, bias=bias, inverted=inverted), 20)
    assert made.direction is gpiod.line.Direction.INPUT
    assert made.edge_detection is gpiod.line.Edge.BOTH
    assert made.debounce_period == timedelta(milliseconds=20)
    assert made.active_low is inverted
    names = {"pull_up": "PULL_UP", "pull_down": "PULL_DOWN", "none": "DISABLED"}
    assert made.bias is gpiod.line.Bias[names[bias]]
    _given_to_the_c_side(made)


@pytest.mark.parametrize("inverted", [True, False])
def test_the_library_takes_what_we_say_of_an_output(inverted: bool) -> None:
    made = chip.settings_of(OutputSettings(line=5, token="t", inverted=inverted), 20)
    assert made.direction is gpiod.line.Direction.OUTPUT
    assert made.output_value is gpiod.line.Value.INACTIVE
    assert made.active_low is inverted
    assert made.edge_detection is gpiod.line.Edge.NONE
    _given_to_the_c_side(made)


def _given_to_the_c_side(made: Any) -> None:
    from gpiod import _ext  # noqa: PLC0415 - the library's own C side, for this check only
    from gpiod.line_settings import _line_settings_to_ext  # noqa: PLC0415 - the same

    config = _ext.LineConfig()
    config.add_line_settings([2], _line_settings_to_ext(made))


def test_the_library_has_all_that_is_called() -> None:
    request = inspect.signature(gpiod.Chip.request_lines)
    assert "consumer" in request.parameters
    for name in ("get_values", "set_value", "read_edge_events", "release", "fd"):
        assert hasattr(gpiod.LineRequest, name)
    for name in ("get_info", "line_offset_from_id", "close"):
        assert hasattr(gpiod.Chip, name)
    event = gpiod.EdgeEvent(gpiod._ext.EDGE_EVENT_TYPE_RISING, 7, 2, 3, 1)
    assert event.event_type is event.Type.RISING_EDGE
    assert (event.line_offset, event.line_seqno) == (2, 1)


@pytest.mark.parametrize("path", ["/dev/null", "/dev/gpiochip-none", "no such label"])
def test_no_chip_there(path: str) -> None:
    with pytest.raises(LinkDown, match=r"check chip|check `gpiodetect`"):
        lines.request(wanted(path))


def test_without_the_library(monkeypatch: pytest.MonkeyPatch) -> None:
    real_import = builtins.__import__

    def without_gpiod(name: str, *more: Any) -> ModuleType:
        if name.partition(".")[0] == "gpiod":
            raise ImportError(name)
        return real_import(name, *more)

    monkeypatch.delitem(sys.modules, "drivers.gpio.chip")
    monkeypatch.delattr("drivers.gpio.chip")
    monkeypatch.setattr(builtins, "__import__", without_gpiod)
    with pytest.raises(LinkDown, match=r"install curehold\[gpio\]"):
        lines.request(wanted("/dev/null"))


class SimulatedChip:
    """A chip of the kernel's gpio-sim, made by configfs."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._bank = folder / "bank0"
        self._line = self._bank / "line2"
        self._line.mkdir(parents=True)
        (self._bank / "num_lines").write_text(f"{NUMBER_LINES}\n")
        (self._bank / "label").write_text("curehold-test\n")
        (self._line / "name").write_text("START\n")
        (folder / "live").write_text("1\n")
        self.name = (self._bank / "chip_name").read_text().strip()
        device = (folder / "dev_name").read_text().strip()
        self._lines = Path("/sys/devices/platform", device, self.name)

    def pull(self, line: int, way: str) -> None:
        (self._lines / f"sim_gpio{line}" / "pull").write_text(way)

    def value(self, line: int) -> str:
        return (self._lines / f"sim_gpio{line}" / "value").read_text().strip()

    def unplug(self) -> None:
        (self._folder / "live").write_text("0\n")

    def remove(self) -> None:
        with suppress(OSError):  # already off
            self.unplug()
        for folder in (self._line, self._bank, self._folder):
            folder.rmdir()


@pytest.fixture
def simulated() -> Iterator[SimulatedChip]:
    if not os.access(SIM, os.W_OK):
        pytest.skip("this kernel has no gpio-sim, or we may not use it (modprobe gpio-sim, root)")
    made = SimulatedChip(SIM / f"curehold-{os.getpid()}")
    yield made
    made.remove()


@pytest.mark.parametrize("by", ["path", "label"])
@pytest.mark.parametrize("line", [2, "START"])
def test_edges_and_levels_of_the_kernel(simulated: SimulatedChip, by: str, line: int | str) -> None:
    path = f"/dev/{simulated.name}" if by == "path" else "curehold-test"
    held = lines.request(Wanted(path, 0, wanted(path, line).inputs, wanted(path).outputs))
    try:
        assert held.edges() == []
        assert held.levels() == {"button": False, "lamp": False}
        simulated.pull(2, "pull-up")
        simulated.pull(2, "pull-down")
        assert [(edge.name, edge.on, edge.number) for edge in held.edges()] == [
            ("button", True, 1),
            ("button", False, 2),
        ]
        held.set("lamp", on=True)
        assert simulated.value(5) == "1"
        assert held.levels()["lamp"] is True
        with pytest.raises(LinkDown, match="no other program"):
            lines.request(wanted(path))
    finally:
        held.release()
        held.release()


async def test_a_link_over_the_kernels_chip(simulated: SimulatedChip) -> None:
    clock = VirtualClock()
    path = f"/dev/{simulated.name}"
    settings = GpioSettings(chip=path, debounce_ms=0)
    link = open_link("pins", settings, wanted(path).inputs, wanted(path).outputs, clock)
    try:
        await link.poll_once()
        assert {one.value for one in link.snapshot().values()} == {0.0}
        simulated.pull(2, "pull-up")
        await settle()
        assert link.snapshot()["button"].value == 1.0
        await link.write("lamp", on=True)
        assert simulated.value(5) == "1"
        simulated.unplug()
        await settle()
        await link.poll_once()
        assert {one.reason for one in link.snapshot().values()} == {"link_down"}
    finally:
        await link.close()

"""The chip as the kernel gives it, through libgpiod; all of `gpiod` that is used is here.

Source:
    libgpiod 2.x, its Python binding's own documentation; the kernel's GPIO
    character device (a queue of 16 edges per line, the oldest lost first; a
    debounced line reads as its debounced level), from memory.
"""

import select
from collections.abc import Iterable, Mapping
from datetime import timedelta
from pathlib import Path

import gpiod
from gpiod.line import Bias as KernelBias
from gpiod.line import Direction, Value
from gpiod.line import Edge as KernelEdge

from drivers.base import LinkDown
from drivers.gpio.codec import Edge
from drivers.gpio.registers import Bias, LineSettings, OutputSettings, PointSettings, Wanted

CONSUMER = "curehold"
READS_MAX = 16
CHIPS = "/dev"
CHIPS_MAX = 64
BIASES: Mapping[Bias, KernelBias] = {
    "pull_up": KernelBias.PULL_UP,
    "pull_down": KernelBias.PULL_DOWN,
    "none": KernelBias.DISABLED,
}


def request(wanted: Wanted) -> "KernelLines":
    """Ask the kernel for the lines; outputs begin as off.

    Raises:
        LinkDown: no such chip or line, or in use by another.
    """
    path = chip_path(wanted.chip)
    entries: dict[str, LineSettings] = {**wanted.inputs, **wanted.outputs}
    config: dict[Iterable[int | str] | int | str, gpiod.LineSettings | None] = {
        entry.line: settings_of(entry, wanted.debounce_ms) for entry in entries.values()
    }
    try:
        with gpiod.Chip(path) as chip:
            offsets = {name: chip.line_offset_from_id(one.line) for name, one in entries.items()}
            held = chip.request_lines(config, consumer=CONSUMER)
    except (OSError, ValueError) as error:
        raise LinkDown(
            f"{wanted.chip}: its lines cannot be had: {error}; check chip and line against "
            "`gpioinfo`, this program's right to open the chip, and that no other program holds "
            "the lines"
        ) from error
    return KernelLines(held, offsets)


def chip_path(chip: str) -> str:
    """The path of a chip given by its path or by its label.

    Raises:
        LinkDown: no chip, or more than one, has that label.
    """
    if "/" in chip:
        return chip
    found = []
    for path in sorted(Path(CHIPS).glob("gpiochip*"))[:CHIPS_MAX]:
        try:
            with gpiod.Chip(str(path)) as one:
                if one.get_info().label == chip:
                    found.append(str(path))
        except OSError:  # gone meanwhile, or not ours to open
            continue
    if len(found) != 1:
        raise LinkDown(
            f"{len(found)} chips have the label {chip}; check `gpiodetect`, this program's right "
            "to open them, or give the chip's path"
        )
    return found[0]


def settings_of(entry: LineSettings, debounce_ms: int) -> gpiod.LineSettings:
    """What the kernel is told of one line."""
    if isinstance(entry, OutputSettings):
        return gpiod.LineSettings(
            direction=Direction.OUTPUT, active_low=entry.inverted, output_value=Value.INACTIVE
        )
    bias = entry.bias if isinstance(entry, PointSettings) else "none"
    return gpiod.LineSettings(
        direction=Direction.INPUT,
        edge_detection=KernelEdge.BOTH,
        bias=BIASES[bias],
        active_low=entry.inverted,
        debounce_period=timedelta(milliseconds=debounce_ms),
    )


class KernelLines:
    """Implements `lines.Lines`; made by `request`."""

    def __init__(self, held: gpiod.LineRequest, offsets: Mapping[str, int]) -> None:
        self._held = held
        self._offsets = dict(offsets)
        # The library's own way to ask uses select, which fails above 1023 descriptors.
        self._waiting = select.poll()
        self._waiting.register(held.fd, select.POLLIN)
        self._names = {offset: name for name, offset in offsets.items()}

    @property
    def fd(self) -> int:
        """See `lines.Lines`."""
        return self._held.fd

    def edges(self) -> list[Edge]:
        """See `lines.Lines`."""
        found: list[Edge] = []
        # Reading without edges would wait; and no line may keep us here.
        for _ in range(READS_MAX):
            if not self._waiting.poll(0):
                break
            found += [
                Edge(
                    self._names[event.line_offset],
                    event.event_type is event.Type.RISING_EDGE,
                    event.line_seqno,
                )
                for event in self._held.read_edge_events()
            ]
        return found

    def levels(self) -> dict[str, bool]:
        """See `lines.Lines`."""
        values = self._held.get_values(list(self._offsets.values()))
        return {name: bool(value) for name, value in zip(self._offsets, values, strict=True)}

    def set(self, name: str, *, on: bool) -> None:
        """See `lines.Lines`."""
        self._held.set_value(self._offsets[name], Value.ACTIVE if on else Value.INACTIVE)

    def release(self) -> None:
        """See `lines.Lines`."""
        self._held.release()

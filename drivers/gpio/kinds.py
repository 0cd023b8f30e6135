"""Pins as a configuration names them, and what is wrong with a link as a whole."""

from collections.abc import Iterator, Mapping
from importlib.util import find_spec

from drivers.base import LinkKind
from drivers.gpio.device import open_link
from drivers.gpio.lines import NOT_INSTALLED
from drivers.gpio.registers import LINES_MAX, GpioSettings, OutputSettings, PointSettings

PERMIT = "heat_permit"
# Contacts that say for hours that all is well; stretched, a loose one looks sound.
STANDING = ("estop_ok", "mains_ok", "cutout_ok", "pins_in", "contactor_closed")


def faults(
    settings: GpioSettings,
    points: Mapping[str, PointSettings],
    outputs: Mapping[str, OutputSettings],
) -> Iterator[str]:
    """What is wrong with a link as a whole, in words."""
    if find_spec("gpiod") is None:
        yield NOT_INSTALLED
    if len(points) + len(outputs) > LINES_MAX:
        yield (
            f"{len(points) + len(outputs)} lines, and the kernel gives at most {LINES_MAX} at "
            "once; use another chip for some"
        )
    for name, output in outputs.items():
        if name.rpartition("/")[2] == PERMIT and not output.toggled:
            yield (
                f"{name}: a pin keeps its level when this computer hangs, and heat stays on; set "
                "toggled = true and feed a retriggered relay with it, or put it on a module with a "
                "communication time-out"
            )
    for name, point in points.items():
        stretch_s = settings.stretch_s if point.stretch_s is None else point.stretch_s
        if name.rpartition("/")[2] in STANDING and stretch_s > 0:
            yield (
                f"{name}: stretched by {stretch_s:g} s, a contact that opens and closes would look "
                "closed; set stretch_s = 0 for it"
            )


KINDS = (
    LinkKind(
        name="gpio",
        title="Pins of this computer",
        settings=GpioSettings,
        point=PointSettings,
        output=OutputSettings,
        open=open_link,
        address=lambda settings: settings.chip,
        place=lambda entry: f"line {entry.line}",
        claims=lambda entry: (entry.line,),
        fill_in=lambda _link, entry, _folder: dict(entry),
        fill_in_link=lambda link, _folder: dict(link),
        faults=faults,
    ),
)

"""Pins of this computer: `open_link`, the settings it takes, and `KINDS`.

See README.md in this package for wiring, settings and limits.
"""

from drivers.gpio.device import open_link
from drivers.gpio.kinds import KINDS
from drivers.gpio.registers import GpioSettings, OutputSettings, PointSettings

__all__ = ["KINDS", "GpioSettings", "OutputSettings", "PointSettings", "open_link"]

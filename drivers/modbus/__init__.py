"""Modbus TCP: `open_link` and the settings it takes.

See README.md in this package for wiring, settings and limits.
"""

from drivers.modbus.device import open_link
from drivers.modbus.registers import LinkSettings, OutputSettings, PointSettings

__all__ = ["LinkSettings", "OutputSettings", "PointSettings", "open_link"]

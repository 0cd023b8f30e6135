"""Modbus over TCP and over a serial bus: `open_link` and the settings it takes.

See README.md in this package for wiring, settings and limits.
"""

from drivers.modbus.device import open_link
from drivers.modbus.registers import OutputSettings, PointSettings, RtuSettings, TcpSettings

__all__ = ["OutputSettings", "PointSettings", "RtuSettings", "TcpSettings", "open_link"]

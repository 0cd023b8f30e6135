"""Modbus over TCP and over a serial bus: `open_link`, the settings it takes, and `KINDS`.

See README.md in this package for wiring, settings and limits.
"""

from drivers.modbus.device import open_link
from drivers.modbus.kinds import KINDS
from drivers.modbus.registers import OutputSettings, PointSettings, RtuSettings, TcpSettings

__all__ = ["KINDS", "OutputSettings", "PointSettings", "RtuSettings", "TcpSettings", "open_link"]

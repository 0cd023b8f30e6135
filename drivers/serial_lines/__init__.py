"""Lines from a small board on a serial port: `open_link`, the settings it takes, and `KINDS`.

See README.md in this package for wiring, settings and limits, and
docs/board-lines.md for the board's side.
"""

from drivers.serial_lines.device import open_link
from drivers.serial_lines.kinds import KINDS
from drivers.serial_lines.registers import LinesSettings, PointSettings

__all__ = ["KINDS", "LinesSettings", "PointSettings", "open_link"]

"""Sensors the kernel drives, read through sysfs: `open_link`, the settings it takes, and `KINDS`.

See README.md in this package for wiring, settings and limits.
"""

from drivers.linux_iio.device import open_link
from drivers.linux_iio.kinds import KINDS
from drivers.linux_iio.registers import PointSettings, SysfsSettings

__all__ = ["KINDS", "PointSettings", "SysfsSettings", "open_link"]

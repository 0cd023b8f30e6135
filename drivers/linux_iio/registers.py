"""What a configuration says of sensors the kernel drives, and the units the kernel gives.

Source:
    Linux kernel documentation, ABI/testing/sysfs-bus-iio,
    ABI/testing/sysfs-bus-iio-thermocouple and hwmon/sysfs-interface, from memory.
"""

import re
from dataclasses import dataclass
from typing import Literal, Self

from pydantic import BaseModel, Field, field_validator, model_validator

from drivers.settings import STRICT, ScaledSettings

Subsystem = Literal["iio", "hwmon"]

# Where each subsystem lists its devices, below the root, and how it names them.
PLACES: dict[Subsystem, tuple[str, str]] = {
    "iio": ("bus/iio/devices", "iio:device"),
    "hwmon": ("class/hwmon", "hwmon"),
}
TEXT_BYTES_MAX = 64
DEVICES_MAX = 256

_IIO = re.compile(
    r"in_(?P<type>temp|voltage|current|resistance|pressure)"
    r"(?P<index>\d{1,4}(?:-(?P=type)\d{1,4})?)?(?:_[a-z][a-z0-9]{0,19})?",
    re.ASCII,
)
_HWMON = re.compile(r"(?P<type>temp|in|curr)\d{1,4}", re.ASCII)
# Ours per the kernel's: thousandths of a degree become degrees; millivolts,
# milliamperes, ohms and kilopascals are ours already.
_FACTORS = {"temp": 0.001}
_UNITS = {
    "temp": "°C",
    "voltage": "mV",
    "in": "mV",
    "current": "mA",
    "curr": "mA",
    "resistance": "ohm",
    "pressure": "kPa",
}
_SUFFIXES = ("_raw", "_input", "_scale", "_offset", "_fault")


class SysfsSettings(BaseModel):
    """How this computer's own sensors are read.

    Attributes:
        sysfs: where the kernel shows its devices.
        period_s: time between polls, s.
        timeout_s: how long one device may take for all its points, s.
    """

    model_config = STRICT

    sysfs: str = Field(default="/sys", min_length=1, max_length=200)
    period_s: float = Field(default=1.0, ge=0.1, le=60)
    timeout_s: float = Field(default=0.5, gt=0, le=10)

    @field_validator("sysfs")
    @classmethod
    def _from_the_root(cls, sysfs: str) -> str:
        if not sysfs.startswith("/"):
            raise ValueError(f"sysfs = {sysfs!r} does not begin with /; give the whole path")
        if not sysfs.isprintable():
            raise ValueError(f"sysfs = {sysfs!r} is no path; give one that can be printed")
        return sysfs

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if self.timeout_s > self.period_s:
            raise ValueError(
                f"timeout_s = {self.timeout_s:g} is above period_s = {self.period_s:g}, so one "
                "slow device would hold up every poll; lower timeout_s or raise period_s"
            )
        return self


@dataclass(frozen=True, slots=True)
class DeviceName:
    """By what one device is found, whatever number it has today."""

    subsystem: Subsystem
    device: str
    bus_address: str | None

    def __str__(self) -> str:
        """The device in a few words, for messages."""
        return f"{self.device} at {self.bus_address}" if self.bus_address else self.device


class PointSettings(ScaledSettings):
    """One value to be read.

    Attributes:
        device: what the device's `name` file says.
        bus_address: for two devices of one name, the place on its bus as it
            stands in the device's real path, for instance `1-0048`.
        attribute: of IIO `in_temp0` and the like, of hwmon `temp1`, `in0`,
            `curr1`; without `_raw` or `_input`. Temperatures come in °C,
            voltages in mV, currents in mA, resistances in Ω, pressures in kPa.
    """

    device: str = Field(min_length=1, max_length=60)
    bus_address: str | None = Field(default=None, min_length=1, max_length=60)
    attribute: str

    @field_validator("attribute")
    @classmethod
    def _is_known(cls, attribute: str) -> str:
        if attribute.endswith(_SUFFIXES):
            raise ValueError(
                f"{attribute!r} names a file; leave {attribute[attribute.rindex('_') :]} away"
            )
        if not _IIO.fullmatch(attribute) and not _HWMON.fullmatch(attribute):
            raise ValueError(
                f"{attribute!r} is not read here; give in_temp, in_voltage, in_current, "
                "in_resistance or in_pressure with its number (IIO), or temp, in or curr with its "
                "number (hwmon)"
            )
        return attribute

    @property
    def found_by(self) -> DeviceName:
        """By what its device is found."""
        subsystem: Subsystem = "iio" if _IIO.fullmatch(self.attribute) else "hwmon"
        return DeviceName(subsystem, self.device, self.bus_address)

    @property
    def factor(self) -> float:
        """Our unit per the kernel's."""
        return _FACTORS.get(self._type(), 1.0)

    @property
    def gives(self) -> str:
        """The unit in which it comes; empty when `scale` makes it one of the user's."""
        return _UNITS.get(self._type(), "") if self.scale == 1 else ""

    def files_of(self, suffix: str) -> tuple[str, ...]:
        """Where IIO may keep `_scale` or `_offset`: its own, or shared ever more widely."""
        names = [self.attribute]
        found = _IIO.fullmatch(self.attribute)
        if found and found["index"]:  # in_voltage0-voltage1: in_voltage-voltage
            without = re.sub(r"\d+", "", found["index"])
            names.append(self.attribute.replace(found["index"], without, 1))
        names.append(f"in_{self._type()}")
        return tuple(dict.fromkeys([*(name + suffix for name in names), f"in{suffix}", suffix[1:]]))

    def fault_files(self) -> tuple[tuple[str, str], ...]:
        """Files that say 1 when the sensor is at fault, and the reason that is."""
        if self._type() != "temp":
            return ()
        if self.found_by.subsystem == "hwmon":
            return ((f"{self.attribute}_fault", "open_circuit"),)
        return (("fault_oc", "open_circuit"), ("fault_ovuv", "failure"))

    def _type(self) -> str:
        found = _IIO.fullmatch(self.attribute) or _HWMON.fullmatch(self.attribute)
        return found["type"] if found else ""

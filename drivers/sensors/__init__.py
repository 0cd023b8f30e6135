"""Signals of sensors into values: pure sums, no link of their own; see README.md."""

from drivers.sensors.condition import ConditionSettings, conditioned
from drivers.sensors.correction import CorrectionSettings
from drivers.sensors.loop import LoopSettings
from drivers.sensors.measure import (
    ONLY_DEGREES,
    SENSORS,
    SIGNAL_UNITS,
    SensorSettings,
    measured,
)
from drivers.sensors.resistance import Pt100Settings
from drivers.sensors.thermocouple import ThermocoupleSettings
from drivers.sensors.voltage import VoltageSettings

__all__ = [
    "ONLY_DEGREES",
    "SENSORS",
    "SIGNAL_UNITS",
    "ConditionSettings",
    "CorrectionSettings",
    "LoopSettings",
    "Pt100Settings",
    "SensorSettings",
    "ThermocoupleSettings",
    "VoltageSettings",
    "conditioned",
    "measured",
]

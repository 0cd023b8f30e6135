"""The phases of a cure."""

from enum import StrEnum


class Phase(StrEnum):
    """Where a rig is in the work. Shown to people by `TITLES`."""

    IDLE = "idle"
    PREHEAT = "preheat"
    FITTING = "fitting"
    INFLATION = "inflation"
    HEAT_UP = "heat_up"
    CURE = "cure"
    COOL_DOWN = "cool_down"
    RELEASE = "release"
    DONE = "done"
    ABORTED = "aborted"

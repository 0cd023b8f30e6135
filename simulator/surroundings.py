"""What lies around a rig: air, draught and sun."""

from dataclasses import dataclass


@dataclass(slots=True)
class Surroundings:
    """The place a rig stands in; changes with weather, doors and the time of day.

    Attributes:
        ambient_c: the air now, °C; -15 to 40 is meant.
        draught: factor on every loss to air: 1 is still air indoors, some 3 a
            strong draught through an open door.
        sun_w_m2: sunshine on the outer side, W/m²; some 900 at most.
    """

    ambient_c: float
    draught: float = 1.0
    sun_w_m2: float = 0.0

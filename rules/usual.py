"""How long the steps of a repair usually take; for what is said beforehand, never to judge.

Source:
    Common practice, no source; put your own figures once you have some.
"""

from pydantic import BaseModel, Field

from rules.facts import STRICT


class UsualTimes(BaseModel):
    """What usually takes how long on this rig.

    Attributes:
        preheat_min: the pads, from cold to where they are mounted.
        mount_min: carrying, mounting and pinning.
        air_min: airing up, and watching for leaks.
        heat_up_min: from preheated pads to where the hold begins.
        cool_min: under air, from the end of the hold to the let-down.
    """

    model_config = STRICT

    preheat_min: float = Field(default=25.0, gt=0, le=240)
    mount_min: float = Field(default=20.0, gt=0, le=240)
    air_min: float = Field(default=10.0, gt=0, le=120)
    heat_up_min: float = Field(default=35.0, gt=0, le=480)
    cool_min: float = Field(default=150.0, gt=0, le=1440)

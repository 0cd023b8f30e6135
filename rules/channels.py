"""The channels a rig may have, by name, with the unit in the name.

Source:
    This project's design. Plausible ranges are common practice, no source.
"""

from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What a channel is for."""

    PAD = "pad"
    BAG = "bag"
    READING = "reading"
    SWITCH = "switch"
    OUTPUT = "output"


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel.

    Attributes:
        name: as in frames, traces and configuration.
        kind: what it is.
        title: for people.
        unit: as shown to people; empty for switches.
    """

    name: str
    kind: Kind
    title: str
    unit: str = ""


CHANNELS: tuple[Channel, ...] = (
    Channel("pad_inner_c", Kind.PAD, "inner pad", "°C"),
    Channel("pad_outer_c", Kind.PAD, "outer pad", "°C"),
    Channel("bag_inner_kpa", Kind.BAG, "inner air", "kPa"),
    Channel("bag_outer_kpa", Kind.BAG, "outer air", "kPa"),
    Channel("ambient_c", Kind.READING, "air around the rig", "°C"),
    Channel("tyre_wall_c", Kind.READING, "tyre wall", "°C"),
    Channel("supply_kpa", Kind.READING, "air supply", "kPa"),
    Channel("probe_c", Kind.READING, "probe", "°C"),
    Channel("heat_current_inner_a", Kind.READING, "inner pad current", "A"),
    Channel("heat_current_outer_a", Kind.READING, "outer pad current", "A"),
    Channel("heat_on", Kind.SWITCH, "heat on"),
    Channel("start_button", Kind.SWITCH, "start button"),
    Channel("here_button", Kind.SWITCH, "here button"),
    Channel("reset_button", Kind.SWITCH, "reset button"),
    Channel("pins_in", Kind.SWITCH, "clamp pins in"),
    Channel("release_request", Kind.SWITCH, "release asked for"),
    Channel("estop_ok", Kind.SWITCH, "emergency stop not pressed"),
    Channel("mains_ok", Kind.SWITCH, "mains present"),
    Channel("contactor_closed", Kind.SWITCH, "contactor closed"),
    Channel("cutout_ok", Kind.SWITCH, "thermal cut-out not tripped"),
    Channel("horn_heard", Kind.SWITCH, "horn seen to sound"),
    Channel("supervisor_power_ok", Kind.SWITCH, "supervisor on its own supply"),
)

OUTPUTS: tuple[Channel, ...] = (
    Channel("heat_permit", Kind.OUTPUT, "heat permit"),
    Channel("horn", Kind.OUTPUT, "horn"),
    Channel("beacon_red", Kind.OUTPUT, "red beacon"),
    Channel("beacon_amber", Kind.OUTPUT, "amber beacon"),
    Channel("release_permit", Kind.OUTPUT, "release lamp"),
)

BY_NAME = {channel.name: channel for channel in CHANNELS}
OUTPUTS_BY_NAME = {channel.name: channel for channel in OUTPUTS}
PADS = ("pad_inner_c", "pad_outer_c")
BAGS = ("bag_inner_kpa", "bag_outer_kpa")
BUTTONS = ("start_button", "here_button", "reset_button")

"""What may go on when a sensor is lost, phase by phase: how long, and on what other evidence.

One table. `pad.sensor`, `bag.sensor`, `link.stale` and `rig.switch_unread` take their
times from it, a test holds each to it in every phase, and `docs/lost-sensors.md` is
made from it. The last good value is never evidence: what is lost is unknown from the
first frame on, and what stands in for it is something else that can still be read.

Source:
    This project's design; figures are common practice, no source.
"""

from dataclasses import dataclass
from enum import StrEnum

from rules.phases import Phase


class Lost(StrEnum):
    """What cannot be read, for people."""

    PAD = "a pad's temperature"
    BAG = "one bag's pressure, the other is read"
    BAGS = "the pressure of every bag"
    SWITCH = "emergency stop, mains or pins"
    LINK = "a module does not answer"


@dataclass(frozen=True, slots=True)
class Loss:
    """What a loss means in one phase.

    Attributes:
        hazard: module of the hazard that tells it.
        told_after: its limit, s, after which it warns.
        heat_after: its limit, s, after which heat that is on goes off; empty: it does
            not go off for this.
        goes_on: what may go on meanwhile.
        evidence: what else is looked at meanwhile; empty: nothing can stand in.
        sooner: what ends it at once; empty: nothing.
        expects_heat: a rig that is only watched and shows no heat signal counts as heated.
    """

    hazard: str
    told_after: str
    heat_after: str
    goes_on: str
    evidence: str = ""
    sooner: str = ""
    expects_heat: bool = False


NO_HEAT = frozenset({Phase.IDLE, Phase.FITTING, Phase.DONE, Phase.ABORTED})
COOLING = frozenset({Phase.COOL_DOWN, Phase.RELEASE})
HOLDING = frozenset({Phase.INFLATION, Phase.HEAT_UP, Phase.CURE})
LAMP_OFF = "no release lamp; hands judge it as hot"
HEAT_ALL_THE_SAME = "heat that is on all the same goes off"


def _pad(phase: Phase) -> Loss:
    hazard, told = "pad_sensor", "warn_after_s"
    if phase in COOLING:
        goes_on = f"cooling under air; {LAMP_OFF}; {HEAT_ALL_THE_SAME}"
        return Loss(hazard, told, "trip_after_s", goes_on)
    if phase in NO_HEAT:
        goes_on = f"all but heat; {HEAT_ALL_THE_SAME}"
        return Loss(hazard, told, "trip_after_s", goes_on)
    goes_on = "air stays on; mended and reset, the same run goes on"
    return Loss(hazard, told, "trip_after_s", goes_on, expects_heat=True)


def _bag(phase: Phase) -> Loss:
    hazard, told = "bag_sensor", "warn_after_s"
    if phase in HOLDING:
        evidence = "the other bag, and the air supply where it is measured"
        sooner = "the other bag falls, or the supply is low"
        goes_on = "heat, and the hold's clock stands"
        return Loss(hazard, told, "trip_after_s", goes_on, evidence, sooner, expects_heat=True)
    return _bag_off_heat(phase, "trip_after_s")


def _bags(phase: Phase) -> Loss:
    if phase in HOLDING:
        goes_on = "air stays on; mended and reset, the same run goes on"
        return Loss("bag_sensor", "warn_after_s", "blind_after_s", goes_on, expects_heat=True)
    return _bag_off_heat(phase, "blind_after_s")


def _bag_off_heat(phase: Phase, heat_after: str) -> Loss:
    hazard, told = "bag_sensor", "warn_after_s"
    if phase in COOLING:
        goes_on = f"cooling under air; {LAMP_OFF}; pins stay in; {HEAT_ALL_THE_SAME}"
        return Loss(hazard, told, heat_after, goes_on)
    if phase is Phase.PREHEAT:
        goes_on = "preheat: no bag is needed for it; mend before mounting"
        return Loss(hazard, told, "", goes_on, "the pads")
    return Loss(hazard, told, "", "all but pinning and unpinning by this gauge", "the bag by hand")


def _switch(phase: Phase) -> Loss:
    goes_on = "heat: the stop itself acts on the contactor without us"
    evidence = "the contactor, heat and pads" if phase not in NO_HEAT else "the eye"
    return Loss("rig_switch_unread", "warn_after_s", "", goes_on, evidence)


def _link(phase: Phase) -> Loss:
    hazard, told = "link_stale", "warn_after_s"
    if phase in NO_HEAT:
        return Loss(hazard, told, "trip_after_s", "all but an open run, heat or held air")
    goes_on = "air stays on; when all answers and is reset, the same run goes on"
    return Loss(hazard, told, "trip_after_s", goes_on)


_ROWS = {
    Lost.PAD: _pad,
    Lost.BAG: _bag,
    Lost.BAGS: _bags,
    Lost.SWITCH: _switch,
    Lost.LINK: _link,
}

LOSSES: dict[tuple[Lost, Phase], Loss] = {
    (lost, phase): row(phase) for lost, row in _ROWS.items() for phase in Phase
}

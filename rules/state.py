"""Everything the rules remember of one rig: a fold over its frames, nothing else.

Source:
    This project's design.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

from rules.air import Air
from rules.alarms import Alarms
from rules.buttons import Button
from rules.hazards import HAZARDS
from rules.heating import Heating
from rules.hold import Hold
from rules.permit import NEVER_GOOD, LastGood, Permit
from rules.phases import Place
from rules.signals import Signals
from rules.trust import Trust
from rules.unplugging import Unplugged

RULES_VERSION = 2


def fresh_memories() -> tuple[Any, ...]:
    """What every hazard remembers before its first frame, in hazard order.

    Source:
        Own method.
    """
    return tuple(hazard.memory_type() for hazard in HAZARDS)


@dataclass(frozen=True, slots=True)
class Run:
    """The run, open or last closed.

    Attributes:
        number: counted on this rig from 1; 0 before the first.
        open: it is going on.
        peak_c: hottest good pad reading so far, °C.
    """

    number: int = 0
    open: bool = False
    peak_c: float | None = None


class State(NamedTuple):
    """The fold's value after some frame.

    Attributes:
        frames: how many frames have been folded.
        now_ns: process time of the newest frame, ns, from 0 at the first.
        t_ns: `Frame.t_ns` of the newest frame.
        wall_ns: `Frame.wall_ns` of the newest frame.
        boot_id: of the newest frame.
        limits_hash: of the newest frame.
        trust: which pads' readings jump.
        air: the model of the air in the bags.
        heating: how the pads have warmed and cooled of late.
        signals: timers and windows for the phase table.
        place: the phase.
        run: the run.
        hold: the hold clock.
        unplugged: pads unplugged on purpose.
        buttons: the wired buttons, in the order of `rules.channels.BUTTONS`.
        alarms: what stands.
        permit: the heat permit.
        command_ids: answered already.
        last_good: pads and bags as last read well, in the order of
            `rules.channels.PADS` and `BAGS`; None: never.
        memories: what each hazard remembers, in hazard order.
    """

    frames: int = 0
    now_ns: int = 0
    t_ns: int = 0
    wall_ns: int = 0
    boot_id: str = ""
    limits_hash: str = ""
    trust: Trust = Trust()
    air: Air = Air()
    heating: Heating = Heating()
    signals: Signals = Signals()
    place: Place = Place()
    run: Run = Run()
    hold: Hold = Hold()
    unplugged: tuple[Unplugged, ...] = ()
    buttons: tuple[Button, ...] = (Button(), Button(), Button())
    alarms: Alarms = Alarms()
    permit: Permit = Permit()
    command_ids: tuple[str, ...] = ()
    last_good: LastGood = NEVER_GOOD
    memories: tuple[Any, ...] = fresh_memories()

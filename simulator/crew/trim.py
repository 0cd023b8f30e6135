"""Trimming the air by hand: an eye on a dial, a hand on a knob or a valve."""

from simulator.bags import AirMode, BagValves
from simulator.crew.plan import RepairPlan
from simulator.panel import Controls, Shown

OFF_KPA = 7.0
LOOKS_EVERY_S = 300.0


class Trimmer:
    """Keeps both bags where the plan wants them, now and then and not exactly.

    A regulator is turned by what the dial is off. What no knob can help, a locked-off
    bag or too much behind a non-relieving regulator, is let in or out by a valve
    held open until the dial shows what is wanted.

    Attributes:
        holding: sides with a valve held open, and whether it lets air in or out.
    """

    def __init__(self) -> None:
        self.holding: dict[str, str] = {}
        self._look_at_s = 0.0

    def advance(self, now_s: float, plan: RepairPlan, shown: Shown, controls: Controls) -> None:
        """Look at the dials and turn what must be turned."""
        for side in list(self.holding):
            self._end_when_right(side, plan, shown, controls.valves[side])
        if now_s < self._look_at_s:
            return
        self._look_at_s = now_s + LOOKS_EVERY_S
        self.let_go(controls)  # nobody holds a valve for longer than that
        for side, valves in controls.valves.items():
            off_kpa = shown.bags_kpa[side] - plan.set_kpa
            if abs(off_kpa) > OFF_KPA:
                self._trim(side, off_kpa, valves)

    def let_go(self, controls: Controls) -> None:
        """Shut every valve still held open."""
        for side in self.holding:
            _shut(controls.valves[side])
        self.holding.clear()

    def _trim(self, side: str, off_kpa: float, valves: BagValves) -> None:
        if off_kpa > 0 and valves.mode is not AirMode.RELIEVING:
            valves.exhaust_open = True
            self.holding[side] = "out"
        elif valves.mode is AirMode.LOCKED_OFF:
            valves.feed_open = True
            self.holding[side] = "in"
        else:
            valves.set_kpa -= off_kpa

    def _end_when_right(self, side: str, plan: RepairPlan, shown: Shown, valves: BagValves) -> None:
        over_kpa = shown.bags_kpa[side] - plan.set_kpa
        if over_kpa <= 0 if self.holding[side] == "out" else over_kpa >= 0:
            _shut(valves)
            del self.holding[side]


def _shut(valves: BagValves) -> None:
    valves.exhaust_open = False
    if valves.mode is AirMode.LOCKED_OFF:
        valves.feed_open = False

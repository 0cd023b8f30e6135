"""A rig with nobody's judgement: a start button, a countdown and nothing else.

It stands in the supervisor's place when the plant runs alone: start closes the
heat permit, the countdown begins when both displays stand at temperature and
opens it at the end. No trip, no alarm. What a fault does here is what it does
when nothing is done.
"""

import copy
from collections.abc import Iterable

from simulator.planned import PlannedFault
from simulator.plant import STEP_S, Rig
from simulator.yard import Yard

AT_TEMPERATURE_C = 120.0  # common practice, no source


class Countdown:
    """Grants heat on start and takes it away at the end of the hold.

    Attributes:
        left_s: still to count, s; None before the pads are at temperature.
    """

    def __init__(self, hold_s: float) -> None:
        self.left_s: float | None = None
        self._hold_s = hold_s

    def advance(self, rig: Rig) -> None:
        """Look at the displays and the start button, once a step."""
        rig.relays.heard()
        coils = rig.relays.coils
        if rig.controls.pressed("start_button", rig.now_s) and self.left_s != 0.0:
            coils["heat_permit"] = True
        if self.left_s is None:
            hot = min(rig.shown().pads_c.values()) >= AT_TEMPERATURE_C
            self.left_s = self._hold_s if hot else None
            return
        self.left_s = max(0.0, self.left_s - STEP_S)
        if self.left_s == 0.0:
            coils["heat_permit"] = False


class CountdownYard:
    """A yard whose every rig has a countdown; a new repair starts it afresh."""

    def __init__(self, yard: Yard) -> None:
        self.yard = yard
        self._countdowns = [Countdown(crew.plan.hold_s) for crew in yard.crews]
        self._repairs = [crew.repair for crew in yard.crews]

    def advance(self) -> None:
        """Move the yard by one step."""
        yard = self.yard
        yard.advance()
        for number, (rig, crew) in enumerate(zip(yard.rigs, yard.crews, strict=True)):
            if self._repairs[number] != crew.repair:
                self._repairs[number] = crew.repair
                self._countdowns[number] = Countdown(crew.plan.hold_s)
            self._countdowns[number].advance(rig)

    def fork(
        self, faults: Iterable[PlannedFault] = (), *, tail_s: float | None = None
    ) -> "CountdownYard":
        """Another one that goes on from here, with more faults to come; see `Yard.fork`."""
        twin = copy.deepcopy(self)
        twin.yard = twin.yard.fork(faults, tail_s=tail_s)
        return twin

    def run_until(self, at_s: float) -> None:
        """Move to `at_s` of plant time, or to the scenario's end."""
        while not self.yard.over and self.yard.now_s < at_s:
            self.advance()

"""All rigs of one scenario, moved together: plant, crew, faults."""

import copy
import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from random import Random

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.planned import PlannedFault, Scenario
from simulator.plant import STEP_S, Rig, RigSettings

MIDNIGHT_WALL_NS = 1_773_360_000_000_000_000  # UTC, of an invented day
STRIKES_FIRST_RIG = 0


@dataclass(slots=True)
class _Strike:
    """One planned fault's course."""

    planned: PlannedFault
    struck_at_s: float | None = None
    mended: bool = False

    @property
    def harms(self) -> bool:
        """It is a fault, no disturbance of a good day."""
        return not isinstance(self.planned.fault, Disturbance)

    def advance(self, rig: Rig, crew: Crew) -> None:
        if self.mended:
            return
        if self.struck_at_s is None:
            if rig.now_s < self._due_at_s(crew):
                return
            self.struck_at_s = rig.now_s
        if crew.mending:
            self.planned.fault.mend(rig, crew)
            self.mended = True
            return
        self.planned.fault.act(rig, crew, rig.now_s - self.struck_at_s)

    def _due_at_s(self, crew: Crew) -> float:
        onset = self.planned.onset
        if onset.stage is None:
            return onset.after_s
        began_at_s = crew.began_at_s.get((onset.repair, onset.stage))
        return float("inf") if began_at_s is None else began_at_s + onset.after_s


class Yard:
    """Rigs side by side under one plant clock; same seed, same course, to the bit.

    Attributes:
        scenario: what happens.
        rigs: one or more, each with its own noise.
        crews: one to each rig.
        over: the scenario has ended; the plant stands still.
    """

    def __init__(
        self, scenario: Scenario, *, rigs: int, seed: int, settings: RigSettings | None = None
    ) -> None:
        self.scenario = scenario
        built = settings or scenario.built
        self.rigs = [Rig(built, seed + 1000 * number) for number in range(rigs)]
        self.crews = [
            Crew(scenario.plans, Random(f"{seed} crew {number}"))  # noqa: S311 - repeatable, no secret
            for number in range(rigs)
        ]
        self.over = False
        self._over_at_s = scenario.over_at_s
        self._ends_by_faults = False
        self._strikes: list[_Strike] = []
        self._steps = 0
        self._home_at_s: float | None = None
        self._strike_with(scenario.faults)

    @property
    def now_s(self) -> float:
        """Plant time, s."""
        return self._steps * STEP_S

    @property
    def wall_ns(self) -> int:
        """The yard's wall time, ns since 1970."""
        stepped_s = self.rigs[STRIKES_FIRST_RIG].host.clock_step_s
        of_day_s = 3600 * self.scenario.start_hour + self.now_s + stepped_s
        return MIDNIGHT_WALL_NS + round(of_day_s * 1_000_000_000)

    def advance(self) -> None:
        """Move all rigs by one step; nothing moves once it is over."""
        if self.over:
            return
        self._steps += 1
        for rig in self.rigs:
            rig.advance()
        for rig, crew in zip(self.rigs, self.crews, strict=True):
            crew.advance(rig.now_s, rig.shown(), rig.controls)
        for strike in self._strikes:
            strike.advance(self.rigs[STRIKES_FIRST_RIG], self.crews[STRIKES_FIRST_RIG])
        self.over = self._has_ended()

    def fork(self, faults: Iterable[PlannedFault] = (), *, tail_s: float | None = None) -> "Yard":
        """Another yard that goes on from here, with more faults to come.

        Without faults it goes on as this one does, to the bit; this one is not touched.

        Args:
            faults: planned beside those of the scenario.
            tail_s: another tail than the scenario's, s.
        """
        twin = copy.deepcopy(self)
        twin.plan(faults)
        if tail_s is not None:
            twin.scenario = replace(twin.scenario, tail_s=tail_s)
        return twin

    def plan(self, faults: Iterable[PlannedFault]) -> None:
        """Plan more faults for what is still to come."""
        more = tuple(faults)
        self.scenario = replace(self.scenario, faults=self.scenario.faults + more)
        self._strike_with(more)

    def _strike_with(self, faults: tuple[PlannedFault, ...]) -> None:
        self._strikes += [_Strike(planned) for planned in faults]
        harmful = any(strike.harms for strike in self._strikes)
        self._ends_by_faults = harmful and not self.scenario.crew_mends

    def struck(self) -> dict[str, float]:
        """Faults now standing, by name, with the plant time they began, s."""
        return {
            strike.planned.name: strike.struck_at_s
            for strike in self._strikes
            if strike.struck_at_s is not None and not strike.mended
        }

    def _has_ended(self) -> bool:
        if self.now_s >= self._over_at_s:
            return True
        if self._home_at_s is None and all(crew.at_home for crew in self.crews):
            self._home_at_s = self.now_s
        tail_s = self.scenario.tail_s
        if self._home_at_s is not None and self.now_s >= self._home_at_s + tail_s:
            return True
        return self._ends_by_faults and self._last_strike_s() + tail_s <= self.now_s

    def _last_strike_s(self) -> float:
        """When the last of all faults struck, s; infinite while one is still to come."""
        struck_at_s = [strike.struck_at_s for strike in self._strikes if strike.harms]
        return max(math.inf if at_s is None else at_s for at_s in struck_at_s)

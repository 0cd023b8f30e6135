"""All rigs of one scenario, moved together: plant, crew, faults, truth."""

import csv
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import TextIO

from simulator.crew import Crew
from simulator.plant import STEP_S, Rig, RigSettings
from simulator.scenarios import PlannedFault, Scenario

LOOK_STEPS = 4  # the crew looks once a second
START_WALL_NS = 1_773_385_200_000_000_000  # 07:00 UTC on an invented day
STRIKES_FIRST_RIG = 0


@dataclass(slots=True)
class _Strike:
    """One planned fault's course."""

    planned: PlannedFault
    struck_at_s: float | None = None
    mended: bool = False

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
        built = settings or RigSettings()
        self.rigs = [Rig(built, seed + 1000 * number) for number in range(rigs)]
        self.crews = [
            Crew(scenario.plans, Random(f"{seed} crew {number}"))  # noqa: S311 - repeatable, no secret
            for number in range(rigs)
        ]
        self.over = False
        self._strikes = [_Strike(planned) for planned in scenario.faults]
        self._steps = 0
        self._home_at_s: float | None = None

    @property
    def now_s(self) -> float:
        """Plant time, s."""
        return self._steps * STEP_S

    @property
    def wall_ns(self) -> int:
        """The yard's wall time, ns since 1970."""
        return START_WALL_NS + round(self.now_s * 1_000_000_000)

    def advance(self) -> None:
        """Move all rigs by one step; nothing moves once it is over."""
        if self.over:
            return
        self._steps += 1
        for rig in self.rigs:
            rig.advance()
        if self._steps % LOOK_STEPS == 0:
            for rig, crew in zip(self.rigs, self.crews, strict=True):
                crew.advance(rig.now_s, rig.shown(), rig.controls)
            for strike in self._strikes:
                strike.advance(self.rigs[STRIKES_FIRST_RIG], self.crews[STRIKES_FIRST_RIG])
            self.over = self._has_ended()

    def struck(self) -> dict[str, float]:
        """Faults now standing, by name, with the plant time they began, s."""
        return {
            strike.planned.name: strike.struck_at_s
            for strike in self._strikes
            if strike.struck_at_s is not None and not strike.mended
        }

    def _has_ended(self) -> bool:
        if self.now_s >= self.scenario.over_at_s:
            return True
        if self._home_at_s is None and all(crew.at_home for crew in self.crews):
            self._home_at_s = self.now_s
        ends = [] if self._home_at_s is None else [self._home_at_s]
        struck = [strike.struck_at_s for strike in self._strikes]
        struck_at_s = [at_s for at_s in struck if at_s is not None]
        if struck and len(struck_at_s) == len(struck) and not self.scenario.crew_mends:
            ends.append(max(struck_at_s))
        return any(self.now_s >= end_s + self.scenario.tail_s for end_s in ends)


class TruthFile:
    """Writes what really is, one row per rig and second of plant time, as CSV."""

    def __init__(self, path: Path, yard: Yard) -> None:
        self._yard = yard
        self._file: TextIO = path.open("w", newline="", encoding="utf-8")
        self._rows = csv.writer(self._file)
        self._next_s = 0.0
        self._rows.writerow(["time_s", "rig", "stage", "broken", *yard.rigs[0].truth()])

    def note(self) -> None:
        """Write the rows that are due."""
        yard = self._yard
        if yard.now_s < self._next_s:
            return
        self._next_s = yard.now_s + 1.0
        broken = " ".join(yard.struck())
        for number, (rig, crew) in enumerate(zip(yard.rigs, yard.crews, strict=True)):
            true = [f"{value:.3f}" for value in rig.truth().values()]
            here = broken if number == STRIKES_FIRST_RIG else ""
            self._rows.writerow([f"{yard.now_s:g}", number + 1, crew.stage, here, *true])

    def close(self) -> None:
        """Finish the file."""
        self._file.close()

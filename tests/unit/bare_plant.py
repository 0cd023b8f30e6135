"""A rig with its crew and nobody who supervises: one healthy repair to fork faults from.

A stand-in closes the heat permit when start is pressed and opens it at the
planned end of the hold; it never looks at anything else.
"""

import copy
from dataclasses import dataclass, field
from functools import cache
from random import Random

from simulator.crew import Crew, RepairPlan, Stage
from simulator.faults import Fault, area_of, catalogue
from simulator.faults.base import Onset
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings

BUILT = RigSettings()
AREAS = ("air", "people", "host", "harmless")
KINDS = {name: kind for name, kind in catalogue().items() if area_of(kind) in AREAS}
SEED = 11
ENDS_S = 8 * 3600.0


@dataclass(frozen=True)
class Row:
    """What really was at the end of one second."""

    stage: Stage
    pads_c: tuple[float, ...]
    bags_kpa: tuple[float, ...]
    supply_kpa: float
    least_min: float


@dataclass
class Bare:
    """One rig and its crew."""

    rig: Rig
    crew: Crew
    permit: bool = False
    rows: list[Row] = field(default_factory=list)
    struck_at_s: float = 0.0

    def advance(self) -> None:
        rig, crew = self.rig, self.crew
        rig.advance()
        crew.advance(rig.now_s, rig.shown(), rig.controls)
        if rig.controls.pressed("start_button", rig.now_s):
            self.permit = True
        if crew.stage is Stage.HOLD and crew.in_stage_s(rig.now_s) >= crew.plan.hold_s:
            self.permit = False
        rig.relays.coils["heat_permit"] = self.permit
        rig.relays.heard()
        self.rows.append(
            Row(
                crew.stage,
                tuple(rig.pads[side].temperature_c for side in SIDES),
                tuple(rig.bags[side].pressure_kpa for side in SIDES),
                rig.supply.pressure_kpa,
                rig.cured.least_min,
            )
        )

    def suffer(self, fault: Fault, seconds: float) -> "Bare":
        """Go on for so long with a fault that strikes now; keep only its rows."""
        self.rows.clear()
        self.struck_at_s = self.rig.now_s
        self.suffer_on(fault, seconds)
        return self

    def suffer_on(self, fault: Fault, seconds: float) -> None:
        """Go on for so much longer with a fault that struck before; keep all rows."""
        until_s = self.rig.now_s + seconds
        while self.rig.now_s < until_s:
            fault.act(self.rig, self.crew, self.rig.now_s - self.struck_at_s)
            self.advance()

    def go_on(self, seconds: float) -> "Bare":
        """Go on for so long with nothing new; keep only these rows."""
        self.rows.clear()
        until_s = self.rig.now_s + seconds
        while self.rig.now_s < until_s:
            self.advance()
        return self

    def due(self, onset: Onset) -> bool:
        if onset.stage is None:
            return self.rig.now_s >= onset.after_s
        began_at_s = self.crew.began_at_s.get((onset.repair, onset.stage))
        return began_at_s is not None and self.rig.now_s >= began_at_s + onset.after_s


@dataclass(frozen=True)
class Healthy:
    """One repair in which nothing breaks."""

    at: dict[Onset, Bare]
    rows: list[Row]

    def since(self, onset: Onset) -> list[Row]:
        """What came after an onset, second by second."""
        return self.rows[round(self.at[onset].rig.now_s) :]


@cache
def healthy() -> Healthy:
    """The healthy repair, as it was at every onset of these areas' faults."""
    bare = Bare(Rig(BUILT, SEED), Crew((RepairPlan(),), Random(SEED)))  # noqa: S311 - repeatable, no secret
    wanted = {kind.onset for kind in KINDS.values()}
    at: dict[Onset, Bare] = {}
    while not bare.crew.at_home and bare.rig.now_s < ENDS_S:
        for onset in [onset for onset in wanted if bare.due(onset)]:
            at[onset] = _fork(bare)
            wanted.discard(onset)
        bare.advance()
    assert bare.crew.at_home, "the healthy repair never ended"
    assert not wanted, f"no such onset in a whole repair: {wanted}"
    return Healthy(at, bare.rows)


def at_onset(name: str, onset: Onset | None = None) -> Bare:
    """The healthy repair as it was when this fault strikes; yours to break."""
    return _fork(healthy().at[onset or KINDS[name].onset])


def _fork(bare: Bare) -> Bare:
    rig, crew = copy.deepcopy((bare.rig, bare.crew))
    return Bare(rig, crew, bare.permit)

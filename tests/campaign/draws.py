"""One cure drawn by its seed: rig, weather, repair, people, what is fitted, and what may break.

All of it is invented, between bounds of a plausible size. Nothing drawn here is
wrong by itself: people press late, go for coffee, carry pads with their plugs
in, and press another button first, and still nobody and nothing comes to harm.
"""

from dataclasses import dataclass, replace
from random import Random
from typing import Any, Literal, get_args, get_origin

import numpy as np

from rules.facts import AirMode as StatedAirMode
from rules.facts import RigFacts
from rules.limits import Limits, LimitsBase
from simulator.bags import AirMode
from simulator.crew import Errand, ErrandKind, Habits, RepairPlan, Stage
from simulator.faults import Disturbance, Fault, area_of, catalogue
from simulator.faults.base import Onset
from simulator.planned import PlannedFault, Scenario
from simulator.plant import RigSettings
from simulator.repairs import HOLD_S_BY_MM, WATCHES_LONGER_S
from simulator.slab import SlabSettings
from simulator.yard import Yard
from tests.campaign.course import Course, begin
from tests.campaign.wires import FITTINGS

FAULTS = {name: kind for name, kind in catalogue().items() if not issubclass(kind, Disturbance)}
DISTURBANCES = {name: kind for name, kind in catalogue().items() if issubclass(kind, Disturbance)}

ALTITUDE_M_MAX = 3000.0
COFFEE_S_MAX = 840.0
LATER_IN_HOLD_S_MAX = 300.0
AT_THE_END_S = 900.0
REPLUGGED_S = 40.0
# Their course is told on a regulator that feeds and vents (see their pages in docs/faults.md):
# on another, a warm bag stands high above what its regulator would refill it to.
ON_RELIEVING = frozenset(name for name, kind in FAULTS.items() if area_of(kind) == "air") - {
    "bag_tears",
    "hose_burst",
    "slow_leak",
} | {"regulator_refills", "trimmed_too_far"}


@dataclass(frozen=True, slots=True)
class Drawn:
    """One cure before it begins.

    Attributes:
        seed: of everything in it.
        scenario: rig, weather and people, nothing breaks.
        limits: what the owner states.
        fittings: which channels are fitted, by the name of the set.
    """

    seed: int
    scenario: Scenario
    limits: LimitsBase
    fittings: str

    @property
    def hold_s(self) -> float:
        """The data sheet's time, s."""
        return self.scenario.plans[0].hold_s

    @property
    def mode(self) -> str:
        """How the air is held."""
        return self.scenario.plans[0].air_mode.value

    def begin(self) -> Course:
        """The course at plant time 0."""
        yard = Yard(self.scenario, rigs=1, seed=self.seed)
        return begin(yard, self.limits, FITTINGS[self.fittings])


def limits_for(plan: RepairPlan, **facts: Any) -> LimitsBase:
    """What the owner of the rig states, as the crew means to work."""
    stated: dict[str, Any] = {
        "title": "BAY 2",
        "air_mode": StatedAirMode(plan.air_mode.value),
        "set_c": plan.set_c,
        "set_kpa": plan.set_kpa,
        "hold_min": plan.hold_s / 60,
        "commissioned_on": "2026-03-02",
    }
    return Limits(facts=RigFacts(**(stated | facts)))


def random_of(text: str) -> Random:
    """Draws that the text alone decides."""
    return Random(text)  # noqa: S311 - repeatable draws, no secret


def draw(seed: int, *, mode: str | None = None, fittings: str | None = None) -> Drawn:
    """One cure.

    Args:
        seed: the same one, the same cure.
        mode: how the air is held, whatever the seed says.
        fittings: what is fitted, whatever the seed says.
    """
    random = random_of(f"cure {seed}")
    drawn_mode = random.choice((AirMode.RELIEVING, *AirMode))
    held = drawn_mode if mode is None else AirMode(mode)
    thickness_mm = random.uniform(20.0, 80.0)
    plan = _plan(random, held, thickness_mm)
    plans: tuple[RepairPlan, ...] = (plan,)
    if random.random() < 0.2:
        soon_s, short_s = random.uniform(60.0, 1800.0), random.uniform(300.0, 1200.0)
        plans += (replace(plan, start_after_s=soon_s, preheat_s_min=short_s, errands=()),)
    scenario = Scenario(
        f"cure {seed}",
        f"a repair of {thickness_mm:.0f} mm, {held}",
        plans=plans,
        built=_built(random, thickness_mm),
        start_hour=random.uniform(0.0, 24.0),
    )
    altitude_m = random.uniform(0.0, ALTITUDE_M_MAX)
    fitted = random.choices(("all", "usual", "few"), (0.6, 0.25, 0.15))[0]
    limits = limits_for(plan, site_altitude_m=altitude_m)
    return Drawn(seed, scenario, limits, fittings or fitted)


def _plan(random: Random, mode: AirMode, thickness_mm: float) -> RepairPlan:
    thick_mm, holds_s = list(HOLD_S_BY_MM), list(HOLD_S_BY_MM.values())
    hold_s = 60.0 * round(float(np.interp(thickness_mm, thick_mm, holds_s)) / 60.0)
    night = random.random() < 0.1
    habits = Habits(
        pace=random.uniform(0.8, 1.3),
        presses_wrong=random.random() < 0.1,
        trims=mode is AirMode.LOCKED_OFF,
        unplugs=random.random() < 0.8,
        night=night,
        answers_horn_after_s=random.uniform(20.0, 120.0),
    )
    errands: tuple[Errand, ...] = ()
    if not night and random.random() < 0.5:
        after_s = random.uniform(300.0, hold_s - 600.0)
        for_s = random.uniform(300.0, COFFEE_S_MAX)
        errands = (Errand(ErrandKind.AWAY, Stage.HOLD, after_s, for_s),)
    return RepairPlan(
        preheat_s_min=random.uniform(900.0, 1800.0),
        mount_s=random.uniform(600.0, 1200.0),
        air_mode=mode,
        hold_s=hold_s,
        hold_s_max=hold_s + WATCHES_LONGER_S,
        cool_below_c=random.uniform(60.0, 80.0),
        here_every_s=random.uniform(600.0, 1200.0 if night else 1400.0),
        habits=habits,
        errands=errands,
    )


def _built(random: Random, thickness_mm: float) -> RigSettings:
    usual = RigSettings()
    # No noisier than usual: `noisy_in_class` is told from the usual noise.
    noisy = random.uniform(0.5, 1.0)
    return RigSettings(
        ambient_c=random.uniform(-15.0, 40.0),
        slab=SlabSettings.repair(thickness_mm=thickness_mm),
        pad=replace(
            usual.pad,
            power_w=random.uniform(1400.0, 2200.0),
            heat_capacity_j_k=random.uniform(15_000.0, 24_000.0),
        ),
        bag=replace(
            usual.bag,
            volume_l=random.uniform(12.0, 30.0),
            gas_share=random.uniform(0.3, 0.6),
        ),
        thermocouple=replace(usual.thermocouple, noise=noisy * usual.thermocouple.noise),
        transmitter=replace(usual.transmitter, noise=noisy * usual.transmitter.noise),
    )


def planned_in(seed: int, name: str, hold_s: float) -> PlannedFault:
    """A fault or disturbance of a cure, its size drawn between its bounds.

    Args:
        seed: of the cure.
        name: of the fault.
        hold_s: of the cure. What strikes within the hold's last quarter of an hour
            strikes as long before its end in any hold; the rest earlier in a short one.
    """
    random = random_of(f"cure {seed} {name}")
    kind = catalogue()[name]
    fault = kind() if random.random() < 0.3 else kind.model_validate(_sizes(random, kind))
    onset = kind.onset
    if onset.stage is Stage.HOLD:
        usual_s = RepairPlan().hold_s
        if onset.after_s > usual_s - AT_THE_END_S:
            after_s = hold_s - (usual_s - onset.after_s)
        else:
            later_s = random.uniform(0.0, LATER_IN_HOLD_S_MAX)
            after_s = round((onset.after_s + later_s) * min(1.0, hold_s / usual_s))
        onset = Onset(after_s, onset.stage, onset.repair)
    if name == "heated_no_air":
        # Sooner, start is refused: plugs have only just gone in.
        onset = Onset(REPLUGGED_S, onset.stage, onset.repair)
    return PlannedFault(name, fault, onset)


def _sizes(random: Random, kind: type[Fault]) -> dict[str, object]:
    sizes: dict[str, object] = {}
    for name, info in kind.model_fields.items():
        if get_origin(info.annotation) is Literal:
            sizes[name] = random.choice(get_args(info.annotation))
            continue
        bounds = {
            end: getattr(item, end)
            for item in info.metadata
            for end in ("ge", "le")
            if hasattr(item, end)
        }
        drawn = random.uniform(bounds["ge"], bounds["le"])
        sizes[name] = round(drawn) if info.annotation is int else drawn
    return sizes

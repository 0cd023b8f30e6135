"""The crew turns up the heat and has forgotten the air."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import SAFE_LET_DOWN_C, WARM_C, hottest_pad_c, rise_s
from simulator.faults.pressing import THROWS_KN, pressed_kpa
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class HeatedNoAir(Fault):
    """Pads on the tyre, clamp pinned, and nothing presses.

    Deadline: where a loose pad touches the rubber it is as hot as the pad. Water
    boils at 100 °C with no pressure on it (IAPWS), and from there the rubber opens
    and sets so. From the preheat's 70 °C at most a pad of 18 kJ/K is there after
    some 6 min of 1600 W.
    """

    wakes: ClassVar[tuple[str, ...]] = ("run.heat_without_pressure",)
    harm: ClassVar[str] = "the rubber cures unpressed and porous; the pads slide"
    touches: ClassVar[frozenset[str]] = frozenset({"valves", "controls.set_c"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.AIR_UP)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' rise to where water boils."""
        return rise_s(built, WARM_C, SAFE_LET_DOWN_C)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """A pad on the tyre is hot enough to boil water that nothing presses."""
        hottest_c = max(hottest_pad_c(rig, side) for side in SIDES)
        limp = pressed_kpa(rig) * rig.settings.pad.area_m2 < THROWS_KN
        return rig.controls.mounted and limp and hottest_c > SAFE_LET_DOWN_C

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Turn up the knob and ask for heat, the feeds shut; once."""
        if since_s >= 1.0:
            return
        for valves in rig.controls.valves.values():
            valves.feed_open = False
        rig.controls.set_c = crew.plan.set_c
        rig.controls.press("start_button", rig.now_s, 2.0)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Let go of start and open the feeds: the air is up before the rubber is hot."""
        rig.controls.press("start_button", 0.0, 0.0)
        for valves in rig.controls.valves.values():
            valves.feed_open = True

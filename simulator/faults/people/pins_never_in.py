"""The crew forgets the clamp's pins and airs up."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import choked_mol_s, clamp_kn, filling_s
from simulator.faults.pressing import THROWS_KN
from simulator.gas import ATMOSPHERE_KPA, ZERO_C_K
from simulator.plant import Rig, RigSettings
from simulator.vessel import LIMP_SHARE


class PinsNeverIn(Fault):
    """The bags push a clamp apart that nothing locks.

    Deadline: 3 kN, the weight of a third of a tonne, throw it open: 10 kPa on
    0.3 m². A bag that holds a tenth of its 20 litre fills from 750 kPa through
    0.04 dm³/(s bar) at 0.014 mol/s (ISO 6358), so it is limp for some 50 s and at
    10 kPa about 6 s later.
    """

    wakes: ClassVar[tuple[str, ...]] = ("run.pins_not_in", "release.pins_under_pressure")
    harm: ClassVar[str] = "the clamp flies open at whoever stands there"
    touches: ClassVar[frozenset[str]] = frozenset({"pins"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.AIR_UP)

    def deadline_s(self, built: RigSettings) -> float:
        """The least time of filling a limp bag to where it throws the clamp."""
        flow_mol_s = choked_mol_s(built.bag.feed_dm3_s_bar, built.supply.cut_out_kpa)
        limp_kpa = -(1 - LIMP_SHARE) * ATMOSPHERE_KPA  # as much air as this would be, missing
        throws_kpa = THROWS_KN / built.pad.area_m2
        at_20_c_s = filling_s(built.bag.volume_l, flow_mol_s, limp_kpa, throws_kpa)
        return at_20_c_s * (20.0 + ZERO_C_K) / (max(20.0, built.ambient_c) + ZERO_C_K)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """A bag throws a clamp that nothing locks."""
        highest_kpa = max(bag.pressure_kpa for bag in rig.bags.values())
        force_kn = clamp_kn(rig.settings.pad.area_m2, highest_kpa)
        return not rig.controls.pins_in and force_kn > THROWS_KN

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Leave them out."""
        rig.controls.pins_in = False

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Put them in."""
        rig.controls.pins_in = True

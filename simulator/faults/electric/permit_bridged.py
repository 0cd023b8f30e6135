"""Someone has bridged the permit relay, to get on with it."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import BENCH_CHARS_C, rise_s
from simulator.plant import Rig, RigSettings


class PermitBridged(Fault):
    """The pads heat with nobody asked and nobody able to stop it.

    Deadline: bridged before the first heat, the pads lie on the bench. While
    the thermostats work nothing burns; but heat that cannot be taken away is
    there for the first thing that fails. From the air's temperature the pads'
    own power brings them to 120 °C, where wood and cotton char (from memory), in
    18 kJ/K times 100 K over 1600 W less some loss, 21 min or so.
    """

    wakes: ClassVar[tuple[str, ...]] = ("permit.bypassed", "pad.heat_after_cutoff")
    harm: ClassVar[str] = "heat cannot be taken away when it must be"
    touches: ClassVar[frozenset[str]] = frozenset({"electrics.permit"})
    onset: ClassVar[Onset] = Onset(5.0, Stage.WAIT)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' rise from cold to where a bench chars."""
        return rise_s(built, built.ambient_c, BENCH_CHARS_C)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Bridge it."""
        rig.electrics.permit_bridged = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Take the bridge out."""
        rig.electrics.permit_bridged = False

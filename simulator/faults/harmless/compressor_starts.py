"""The compressor starts: the mains sag and the supply swings."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.plant import Rig


class CompressorStarts(Disturbance):
    """Somebody uses air until the compressor has to run.

    No harm: a motor draws six times its current for two seconds (from memory) and
    takes the mains to 90 %, where a contactor holds; the supply swings between
    cut-in and cut-out, 600 and 750 kPa, three times what a bag needs.

    Attributes:
        use_mol_s: what is used.
        lasts_s: how long.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"electrics.mains", "supply.line"})

    use_mol_s: float = Field(default=0.08, ge=0.02, le=0.1)
    lasts_s: float = Field(default=600.0, ge=60.0, le=3600.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Use air; sag for the motor's first two seconds, and be over."""
        rig.supply.other_use_mol_s = self.use_mol_s if since_s < self.lasts_s else 0.0
        rig.electrics.mains_share = 0.9 if since_s < 2.0 else 1.0

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be over."""
        rig.supply.other_use_mol_s = 0.0
        rig.electrics.mains_share = 1.0

"""A module stops answering."""

from typing import ClassVar, Literal

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.plant import Rig


class ModuleSilent(Fault):
    """The supervisor is blind on one module.

    Deadline: blind, it cannot see a runaway, and that needs 318 s from 140 to
    160 °C (see `thermostat_stuck`). Heat must be off before.

    Attributes:
        module: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("link.stale",)
    deadline_s: ClassVar[float] = 318.0

    module: Literal["temperatures", "pressures", "relays"] = "temperatures"

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Answer nothing."""
        rig.wire.silent_modules.add(self.module)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Plug it in again."""
        rig.wire.silent_modules.discard(self.module)

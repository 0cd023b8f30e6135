"""A joint in one pad's lead works loose; its resistance grows and it glows."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import JOINT_CHARS_W, joint_chars_ohm
from simulator.plant import Rig, RigSettings


class JointGrows(Fault):
    """The plug chars, then the joint burns open and the pad is dead.

    Deadline: in series with a heater of 230² / 1600 = 33 ohm a joint of r ohm
    takes 230² r / (33 + r)² W. A plug chars from about 50 W (from memory: some
    ten times what a plug is made to shed), which is at 1.1 ohm: 66 min at
    1 ohm/h. Only the current, down by a thirtieth, would tell before that; then
    the joint burns open and the pad goes cold.

    Attributes:
        pad: which.
        ohm_per_h: how fast it grows.
        burns_open_ohm: then it parts.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.not_heating", "pad.undertemperature")
    harm: ClassVar[str] = "the plug chars and may set fire to what lies by it"
    touches: ClassVar[frozenset[str]] = frozenset({"pad.lead"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.HEAT_UP)

    pad: Side = "outer"
    ohm_per_h: float = Field(default=1.0, ge=0.5, le=10.0)
    burns_open_ohm: float = Field(default=3.0, ge=2.0, le=6.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The joint's growth to where its heat chars a plug."""
        return joint_chars_ohm(built) / self.ohm_per_h * 3600

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The joint sheds enough heat to char the plug."""
        return rig.pads[self.pad].joint_w >= JOINT_CHARS_W

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Grow, and part in the end."""
        grown_ohm = self.ohm_per_h * since_s / 3600
        rig.pads[self.pad].lead_extra_ohm = min(grown_ohm, self.burns_open_ohm)
        rig.pads[self.pad].lead_broken = grown_ohm >= self.burns_open_ohm

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Make a new joint."""
        rig.pads[self.pad].lead_extra_ohm = 0.0
        rig.pads[self.pad].lead_broken = False

"""What can be wrong on the wires, module by module; the fronts carry it out.

A module that is silent, gives exceptions, or hangs up does nothing that it was
asked to do. In every other trouble it has done it, and only its answer suffers.
But on a serial bus a module that babbles is all that is heard: then nobody on it
does anything.
"""

from dataclasses import dataclass, field
from enum import StrEnum

MODULE_NAMES = ("temperatures", "pressures", "relays")


class Trouble(StrEnum):
    """What goes wrong when a module is asked."""

    NONE = "none"
    SILENT = "silent"
    LATE = "late"
    GARBLED = "garbled"
    TRUNCATED = "truncated"
    FOREIGN = "foreign"
    EXCEPTION = "exception"
    DOUBLED = "doubled"
    HANGS_UP = "hangs_up"
    BABBLES = "babbles"


@dataclass(slots=True)
class Wire:
    """Troubles of the wires and the modules of one rig, not of the plant.

    Attributes:
        troubles: by module, `temperatures`, `pressures` or `relays`; a module
            that is not there is well.
        late_s: how late an answer comes, and how long an adapter that hangs up
            stays away, s; of real time, or in lockstep of the plant's.
    """

    troubles: dict[str, Trouble] = field(default_factory=dict)
    late_s: float = 1.0

    def of(self, module: str) -> Trouble:
        """What is wrong with one module."""
        return self.troubles.get(module, Trouble.NONE)

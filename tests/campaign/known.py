"""What is known to be missed or told late, in which cures, and why."""

from collections.abc import Callable
from dataclasses import dataclass

from simulator.faults import Fault
from simulator.faults.heat.joint_grows import JointGrows

# Growing faster, a joint chars its plug within some minutes of being there.
OHM_PER_H_FAST = 4.0


def _always(fault: Fault, mode: str) -> bool:
    return True


def _fast_joint(fault: Fault, mode: str) -> bool:
    return isinstance(fault, JointGrows) and fault.ohm_per_h > OHM_PER_H_FAST


@dataclass(frozen=True, slots=True)
class Known:
    """One fault that is missed or told late.

    Attributes:
        name: of the fault.
        word: of the verdict at the worst.
        why: in words.
        applies: to this size of it, with the air held so; other cures are no exception.
    """

    name: str
    word: str
    why: str
    applies: Callable[[Fault, str], bool] = _always


KNOWN: tuple[Known, ...] = (
    Known(
        "horn_contact_sticks_open",
        "missed",
        "a contact that sticks open shows when the horn is next called; it is tried "
        "whenever heat may come on, not in the middle of a hold",
    ),
    Known(
        "joint_grows",
        "late",
        f"when it grows by more than {OHM_PER_H_FAST:g} ohm/h: the current, evened out over a "
        "minute, tells half a minute after the plug begins to char",
        _fast_joint,
    ),
    Known(
        "thermocouple_drifts",
        "missed",
        "a thermocouple that creeps shows as two pads that creep apart, which a thermostat "
        "does as well; pad.mismatch speaks at 15 C apart, with the slower ones after the "
        "deadline. Not mended yet: the growth of the difference would tell sooner",
    ),
    Known(
        "tap_iced",
        "missed",
        "a gauge that follows in 20 min shows the same as one that follows at once while the "
        "bag stands still, and flickers as before; once the bag loses air, what it shows is "
        "late. Where a regulator vents and refills often enough it is found",
    ),
)


def is_known(name: str, word: str, fault: Fault, mode: str) -> bool:
    """A verdict that is expected.

    Args:
        name: of the fault.
        word: of the verdict.
        fault: as it was struck.
        mode: how the air was held.
    """
    return any(
        item.name == name and word in (item.word, "late") and item.applies(fault, mode)
        for item in KNOWN
    )

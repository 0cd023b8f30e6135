"""What will happen tonight, said before the start; not worked out yet.

Source:
    This project's design.
"""

from rules.frame import Frame
from rules.limits import LimitsBase
from rules.state import State


def outlook(limits: LimitsBase, state: State, frame: Frame) -> tuple[str, ...]:
    """Plain lines about what is to come, for whoever starts a run.

    Args:
        limits: facts and limits of the rig.
        state: the fold with this frame.
        frame: the newest frame.

    Source:
        This project's design.
    """
    return ()

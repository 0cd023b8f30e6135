"""An event loop that waits for no time: when nothing is ready, it is at once the next time due.

A wait for an answer that does not come then costs nothing, and a busy computer
is not taken for a module that keeps silent. Only for wires both of whose ends
are in this loop; what another thread does takes real time.
"""

import asyncio
import selectors

# A kernel that is busy may hand over a little later what was written before.
GRACE_S = 0.001


class _Jumping(selectors.PollSelector):
    """Polls each file anew, which makes the kernel hand over what a terminal still holds.

    Attributes:
        jumped_s: all that would have been waited.
    """

    jumped_s = 0.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        """What is ready; if nothing is, `timeout` is over."""
        if timeout is None or timeout <= 0:
            return super().select(timeout)
        found = super().select(0) or super().select(GRACE_S)
        if not found:
            self.jumped_s += timeout
        return found


class JumpingLoop(asyncio.SelectorEventLoop):
    """For `asyncio.Runner(loop_factory=JumpingLoop)`."""

    def __init__(self) -> None:
        self._jumping = _Jumping()
        super().__init__(self._jumping)

    def time(self) -> float:
        """Now, s, from 0 on."""
        return self._jumping.jumped_s

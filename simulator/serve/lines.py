"""A board per rig that sends what it measures as lines, on a pseudo-terminal.

A board only tells; a rig's outputs come over its relays module, on TCP or RTU
beside it. Both measuring modules are on the one board: the first of them that is
in trouble decides what its lines look like. `exception` makes that module's
values `!failure`; `foreign` changes nothing, as a board has its port for itself.
"""

from pathlib import Path

from simulator.plant import Rig
from simulator.serve import board
from simulator.serve.later import Later, RealLater
from simulator.serve.terminal import Terminal
from simulator.wire import Trouble

LINE_S = 0.25
MEASURING = ("temperatures", "pressures")
_LETTERS = b"x" * 500  # and no end


class LinesFront:
    """One board: four lines a second, or in lockstep one a plant step."""

    def __init__(
        self,
        rig: Rig,
        link: Path | None,
        *,
        form: board.Form = board.Form.KEY_VALUE,
        later: Later | None = None,
    ) -> None:
        """Nothing is plugged in yet.

        Args:
            rig: what it measures.
            link: where a symbolic link to the port is made, or None.
            form: of its lines.
            later: what its next line waits by; real time if there is none.
        """
        self.later = later or RealLater()
        self._rig = rig
        self._form = form
        self._terminal = Terminal(link)
        self._number = 0

    def open(self) -> str:
        """Appear and begin to send; within a running event loop.

        Returns:
            The path of the port.

        Raises:
            ServeError: the link cannot be made.
        """
        self._terminal.plug()
        self._tell()
        return self._terminal.device

    async def close(self) -> None:
        """Pull the plug; twice is no error."""
        self.later.close()
        self._terminal.unplug()

    def _tell(self) -> None:
        self.later.after(LINE_S, self._tell)
        right = board.line(self._form, self._number, board.texts(self._rig))
        self._number = (self._number + 1) % board.NUMBERS
        troubles = (self._rig.wire.of(module) for module in MEASURING)
        trouble = next((found for found in troubles if found is not Trouble.NONE), Trouble.NONE)
        if trouble is Trouble.LATE:
            self.later.after(self._rig.wire.late_s, lambda: self._terminal.write(right))
        elif trouble is Trouble.HANGS_UP:
            self._hang_up()
        else:
            self._terminal.write(_sent(trouble, right))

    def _hang_up(self) -> None:
        """Without a link nobody would find it again: then it is only silent."""
        if self._terminal.lasting and self._terminal.plugged:
            self._terminal.unplug()
            self.later.after(self._rig.wire.late_s, self._terminal.plug)


def _sent(trouble: Trouble, right: bytes) -> bytes:
    """What goes out instead of a line."""
    half = len(right) // 2
    outcomes = {
        Trouble.SILENT: b"",
        Trouble.GARBLED: right[:half] + bytes((right[half] ^ 0x01,)) + right[half + 1 :],
        Trouble.TRUNCATED: right[:half],
        Trouble.DOUBLED: right + right,
        Trouble.BABBLES: _LETTERS,
    }
    return outcomes.get(trouble, right)

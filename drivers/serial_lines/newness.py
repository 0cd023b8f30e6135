"""Whether what came is new: no line that waited somewhere may pass for one just sent.

Two guards. What lay in the kernel's buffer while nobody looked may be of any
age up to the last look, and while it is full the kernel keeps the oldest. And a
line whose number does not follow the last one, or that comes after a silence, may
have waited in the board or the adapter, or the board may have started again: only
time tells.
"""

from dataclasses import dataclass

from drivers.serial_lines.registers import SEQUENCE_NUMBERS
from drivers.timing import NS_PER_S

# Lines in one lump come at one time; so many may be missing between two of them.
AHEAD_MIN = 2


class Looks:
    """Tells from the times at which the port was emptied whether what is in it is new."""

    def __init__(self, lull_ns: int) -> None:
        """Nothing is new before `begin`.

        Args:
            lull_ns: longer than this between two looks and what is found is
                old; so is, for as long again, what adapter and board held
                back meanwhile.
        """
        self._lull_ns = lull_ns
        self._looked_ns = 0
        self._old_until_ns = 0

    def begin(self, now_ns: int) -> None:
        """The port was opened, or its buffer thrown away."""
        self._looked_ns = now_ns
        self._old_until_ns = now_ns + self._lull_ns

    def new(self, now_ns: int) -> bool:
        """Whether all that is found in this look came shortly before it.

        Args:
            now_ns: a time before the port was emptied, so that a pause of this
                program in between makes what is found look older, never newer.
        """
        if now_ns - self._looked_ns > self._lull_ns:
            self._old_until_ns = now_ns + self._lull_ns
        self._looked_ns = now_ns
        return now_ns >= self._old_until_ns


@dataclass(frozen=True, slots=True)
class _Heard:
    number: int
    at_ns: int


class Numbers:
    """Tells by the sequence numbers which lines may be believed.

    A line that soon follows the last believed one is. Any other may be an old one,
    or the first of a board that started again: then more follow it, and none
    that follows the old ones ever comes. So a beginning is believed when lines
    have followed it for long enough and nothing else was heard in between.

    Attributes:
        left_out: numbers that never came between believed lines.
    """

    def __init__(self, lines_per_s_max: int, stand_ns: int, silence_ns: int) -> None:
        """Nothing is believed yet.

        Args:
            lines_per_s_max: how fast numbers may run ahead, lines a second.
            stand_ns: how long lines must follow a beginning.
            silence_ns: after so long without a line the next is a beginning too,
                as adapters hold back a few when the bus stalls.
        """
        self.left_out = 0
        self._ns_per_line = NS_PER_S / lines_per_s_max
        self._stand_ns = stand_ns
        self._silence_ns = silence_ns
        self._last: _Heard | None = None
        self._beginning_ns = 0
        self._newcomer: _Heard | None = None

    def believed(self, number: int, now_ns: int) -> bool:
        """Whether the line with this number is new.

        Args:
            number: 0 to 65535.
            now_ns: when it came.
        """
        heard = _Heard(number, now_ns)
        steps = self._steps(self._last, heard)
        if steps > 0:
            self.left_out += steps - 1
            self._last, self._newcomer = heard, None
            return True
        if self._newcomer is not None and self._newcomer.number == number:
            return False  # sent twice
        if self._steps(self._newcomer, heard) == 0:
            self._beginning_ns = now_ns
        self._newcomer = heard
        if now_ns - self._beginning_ns < self._stand_ns:
            return False
        self._last, self._newcomer = heard, None
        return True

    def _steps(self, last: _Heard | None, heard: _Heard) -> int:
        """How many numbers on, where that many can have been sent since; else 0."""
        if last is None or heard.at_ns - last.at_ns >= self._silence_ns:
            return 0
        steps = (heard.number - last.number) % SEQUENCE_NUMBERS
        ahead = AHEAD_MIN + (heard.at_ns - last.at_ns) / self._ns_per_line
        return steps if steps <= ahead else 0

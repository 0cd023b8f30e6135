"""What is known of the modules on a serial bus: who may still answer, and who is not believed.

An answer on a serial bus does not say which question it answers, so time must
keep them apart. This outlives the port: a module may still answer when the port
was closed and opened again.
"""

from collections import deque
from dataclasses import dataclass

from drivers.base import Clock
from drivers.modbus.codec import WRITES
from drivers.modbus.rtu_frames import EVERYBODY, STRANGER, asks
from drivers.timing import NS_PER_S

OWED_MAX = 16  # questions remembered of one module
_PLACE_BYTES = 3  # function code and number of a write


@dataclass(frozen=True, slots=True)
class _Owed:
    """A question that may still be answered: its function code and data, and until when."""

    question: bytes
    until_ns: int


class Bus:
    """The modules of one bus; made once for a link."""

    def __init__(self, late_s: float, clock: Clock) -> None:
        """Nobody owes an answer, and everybody is believed.

        Args:
            late_s: how late after its question a module may still answer, s; also
                how long one is not believed after it said what nobody asked.
            clock: now.
        """
        self._late_ns = round(late_s * NS_PER_S)
        self._clock = clock
        self._owed: dict[int, deque[_Owed]] = {}
        self._disturbed_ns: dict[int, int] = {}  # until when, by unit
        self._listened_ns = clock.now_ns()

    def asked(self, unit: int, question: bytes) -> None:
        """A question goes out; it is owed an answer until `answered`, or for `late_s`."""
        owed = self._owed.setdefault(unit, deque(maxlen=OWED_MAX))
        owed.append(_Owed(question, self._clock.now_ns() + self._late_ns))

    def answered(self, unit: int) -> None:
        """The question asked last has its answer."""
        if self._owed_by(unit):
            self._owed[unit].pop()

    def owing(self) -> set[int]:
        """Units that may still answer an earlier question, or may have before we listened."""
        return {unit for unit in tuple(self._owed) if self._owed_by(unit)}

    def why_not_ask(self, unit: int, question: bytes) -> str:
        """Why a unit may not be asked now; empty: it may.

        Args:
            unit: of the module.
            question: function code and data. An answer carries the function code,
                so only a late one of the same function can pass for its answer.
        """
        until_ns = [
            owed.until_ns
            for owed in self._owed_by(unit)
            if owed.question[0] == question[0] and owed.until_ns > self._clock.now_ns()
        ]
        if not until_ns:
            return ""
        return (
            f"did not answer, and is not asked again for {self._left_s(until_ns[-1]):.2g} s, as a "
            "late answer would pass for the new one"
        )

    def why_not_believe(self, unit: int) -> str:
        """Why nothing a unit says is believed now; empty: it is."""
        until_ns = max(self._disturbed_ns.get(one, 0) for one in (unit, EVERYBODY))
        if self._clock.now_ns() >= until_ns:
            return ""
        return (
            f"an answer came that nobody asked for: {STRANGER}; it is asked again when nothing "
            f"was heard for {self._left_s(until_ns):.2g} s"
        )

    def is_doubtful(self, unit: int, write: bytes) -> bool:
        """Whether the echo of a write may be that of an earlier one, since taken back.

        Args:
            unit: of the module.
            write: function code and data, about to be asked.
        """
        same = False
        for owed in self._owed_by(unit):
            if owed.question == write:
                same = True
            elif same and owed.question[:_PLACE_BYTES] == write[:_PLACE_BYTES]:
                return write[0] in WRITES
        return False

    def overheard(self, frame: bytes) -> None:
        """A whole frame came that answers nothing asked here.

        A module that owes an answer may say anything. Another master cannot be
        told which module it asks next, so nobody is believed after its question;
        what can be an answer casts doubt on the module it names.
        """
        if asks(frame):
            self._disturb(EVERYBODY)
        elif frame[0] not in self.owing():
            self._disturb(frame[0])

    def listened(self) -> None:
        """All that came until now was looked at."""
        self._listened_ns = self._clock.now_ns()

    def _disturb(self, unit: int) -> None:
        self._disturbed_ns[unit] = self._clock.now_ns() + self._late_ns

    def _owed_by(self, unit: int) -> deque[_Owed]:
        owed = self._owed.get(unit)
        if owed is None:
            return deque()
        while owed and owed[0].until_ns <= self._listened_ns:
            owed.popleft()
        return owed

    def _left_s(self, until_ns: int) -> float:
        return (until_ns - self._clock.now_ns()) / NS_PER_S

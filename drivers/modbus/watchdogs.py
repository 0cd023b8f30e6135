"""Communication time-outs of modules: what each should read, and whether it stands.

A module with such a time-out opens its outputs when it was asked nothing for
so long: the only thing that opens them when this computer dies. A module that
lost its power has often lost the time-out too, and one is delivered without;
so it is read in every poll, and set when it reads anything else. A setting may
be kept in a memory that wears out, so that is tried a few times and then only
when the module was met anew.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from drivers.base import Clock
from drivers.modbus.codec import Request
from drivers.modbus.registers import PollSettings, UnitSettings
from drivers.timing import NS_PER_S

TRIES_MAX = 3
_READS_PER_TRY = 2  # one that found it wrong, one after it was set


@dataclass(slots=True)
class _Watched:
    """One module's time-out.

    Attributes:
        known: its settings.
        stood_ns: when it last read what it should.
        found: counts it read; None: not known now.
        why: it is not known, or could not be set.
        wrong: how often in a row it read wrong, or could not be set.
    """

    known: UnitSettings
    stood_ns: int
    found: int | None = None
    why: str = "was not read yet"
    wrong: int = 0

    @property
    def stands(self) -> bool:
        return self.found is not None and self.found == self.known.watchdog_counts

    def seconds(self, counts: int | None) -> str:
        per_s = self.known.watchdog_counts_per_s or 1.0
        return f"{counts} ({(counts or 0) / per_s:g} s)"


class Watchdogs:
    """The time-outs of all modules of one link.

    Attributes:
        requests: the read that asks for it, by unit; units without one are not here.
    """

    def __init__(self, settings: PollSettings, clock: Clock) -> None:
        """Nothing is known yet; what is on may stay so until its time-out has passed once.

        Args:
            settings: of the link, with what is known of its modules.
            clock: now.
        """
        self._clock = clock
        opened_ns = clock.now_ns()
        self._watched = {
            int(unit): _Watched(known, opened_ns)
            for unit, known in settings.units.items()
            if known.watchdog_counts is not None
        }
        self.requests: Mapping[int, Request] = {
            unit: Request(unit, "holding", watched.known.watchdog_register or 0, 1, ())
            for unit, watched in self._watched.items()
        }

    def read(self, request: Request, found: tuple[int, ...]) -> None:
        """Take note of an answer; one to another request does nothing."""
        watched = self._asked_by(request)
        if watched is None:
            return
        if watched.found is None or found[0] == watched.known.watchdog_counts:
            watched.why = ""
        watched.found = found[0]
        if watched.stands:
            watched.stood_ns, watched.wrong = self._clock.now_ns(), 0
        else:
            watched.wrong += 1

    def not_read(self, request: Request, reason: str) -> None:
        """Take note that a request had no usable answer; the module is met anew after it."""
        watched = self._asked_by(request)
        if watched is not None:
            watched.found, watched.wrong = None, 0
            watched.why = f"could not be read ({reason})"

    def silent(self, unit: int) -> None:
        """Take note that a module kept silent to a write; it is met anew after it."""
        if unit in self.requests:
            self.not_read(self.requests[unit], "no_reply")

    def not_set(self, unit: int, why: str) -> None:
        """Take note that setting it failed."""
        watched = self._watched[unit]
        watched.wrong += 1
        watched.why = why

    def counts_to_set(self, unit: int) -> int | None:
        """What to write to a module's register now; None: nothing."""
        watched = self._watched.get(unit)
        if watched is None or not 0 < watched.wrong < TRIES_MAX * _READS_PER_TRY:
            return None
        return watched.known.watchdog_counts

    def stands(self, unit: int) -> bool:
        """Whether an output of the module may be switched on; true where none is set."""
        watched = self._watched.get(unit)
        return watched is None or watched.stands

    def lost(self, unit: int) -> bool:
        """Whether outputs of the module that are on must be let go.

        They must when it could not be set, and when it was not seen to stand for
        as long as it is itself.
        """
        watched = self._watched.get(unit)
        if watched is None:
            return False
        age_ns = self._clock.now_ns() - watched.stood_ns
        return watched.wrong > 1 or age_ns >= round((watched.known.watchdog_s or 0) * NS_PER_S)

    def remark(self, unit: int) -> str:
        """What is wrong with a module's time-out and what to do; empty when nothing is."""
        if self.stands(unit):
            return ""
        watched = self._watched[unit]
        about = (
            f"unit {unit}: its communication time-out, holding {watched.known.watchdog_register},"
        )
        if watched.found is None:
            return (
                f"{about} {watched.why}, and no output there is switched on before; check its "
                "power and wiring, and watchdog_register against its manual"
            )
        also = f"; {watched.why}" if watched.why else ""
        return (
            f"{about} reads {watched.seconds(watched.found)} and should read "
            f"{watched.seconds(watched.known.watchdog_counts)}; supervising sets it, and where it "
            "does not stay: check watchdog_register and watchdog_counts_per_s against its manual, "
            f"and that nobody else sets it{also}"
        )

    def remarks(self) -> list[str]:
        """All that is wrong, by unit."""
        return [remark for unit in self._watched if (remark := self.remark(unit))]

    def _asked_by(self, request: Request) -> _Watched | None:
        if self.requests.get(request.unit) is request:
            return self._watched[request.unit]
        return None

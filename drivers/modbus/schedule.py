"""Whether all that a serial bus must carry in one cycle fits into it; arithmetic only.

A cycle has every read, one write of every output, the read of every module's
communication time-out, and the wait for one module that keeps silent. What one
exchange takes: the question, the module's own time or 3.5 characters of silence,
whichever is longer, the answer, and 3.5 characters of silence. Where the answer
before would pass for the next one too, the wait for its repetition comes first.

Source:
    Modbus over Serial Line V1.02, section 2.5.1.1 (silent interval).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from drivers.modbus import codec
from drivers.modbus.registers import OutputSettings, PointSettings, PollSettings, RtuSettings
from drivers.modbus.rtu import LUMP_S_MAX, quiet_s
from drivers.modbus.rtu_frames import REQUEST_BYTES, answer_bytes

Points = Mapping[str, PointSettings]
Outputs = Mapping[str, OutputSettings]


@dataclass(frozen=True, slots=True)
class Cycle:
    """What one cycle of a serial bus holds.

    Attributes:
        reads: how many.
        reads_s: what they take, s; so with the others.
        writes: one of every output.
        writes_s: of those.
        time_outs: of modules, read in every cycle.
        time_outs_s: of those.
        silent_s: what one module takes that keeps silent, s.
    """

    reads: int
    reads_s: float
    writes: int
    writes_s: float
    time_outs: int
    time_outs_s: float
    silent_s: float

    @property
    def total_s(self) -> float:
        """All of it, s."""
        return self.reads_s + self.writes_s + self.time_outs_s + self.silent_s

    def __str__(self) -> str:
        """The sum in words."""
        return (
            f"{self.reads} reads {self.reads_s:.2f} s, {self.writes} writes {self.writes_s:.2f} s, "
            f"{self.time_outs} modules' time-outs {self.time_outs_s:.2f} s, "
            f"one silent module {self.silent_s:.2f} s"
        )


def fits(settings: PollSettings, points: Points, outputs: Outputs) -> list[str]:
    """Why what a link must carry does not fit into one period.

    Args:
        settings: of the link.
        points: what is read, by name.
        outputs: what is written and read back, by name.

    Returns:
        Faults in words, with the sum; none for a link over TCP.
    """
    if not isinstance(settings, RtuSettings):
        return []
    cycle = cycle_of(settings, points, outputs)
    if cycle.total_s <= settings.period_s:
        return list(_too_long(settings, _reads(points, outputs)))
    return [
        f"one cycle needs {cycle.total_s:.2f} s and period_s is {settings.period_s:g}: {cycle}, "
        f"at {settings.baud_rate} baud; raise period_s or baud_rate, lower timeout_s, or put some "
        "modules on another bus"
    ]


def cycle_of(settings: RtuSettings, points: Points, outputs: Outputs) -> Cycle:
    """What one cycle of a serial bus holds, and how long each part takes.

    Args:
        settings: of the link.
        points: what is read, by name.
        outputs: what is written and read back, by name.
    """
    reads = _reads(points, outputs)
    time_outs = [
        codec.Request(int(unit), "holding", known.watchdog_register or 0, 1, ())
        for unit, known in settings.units.items()
        if known.watchdog_s is not None
    ]
    in_order = sorted([*time_outs, *reads], key=lambda request: request.unit)
    return Cycle(
        reads=len(reads),
        reads_s=sum(read_s(settings, request) for request in reads)
        + _repeats(in_order) * max(0.0, LUMP_S_MAX - quiet_s(settings)),
        writes=len(outputs),
        writes_s=sum(
            exchange_s(settings, output.unit, REQUEST_BYTES) for output in outputs.values()
        ),
        time_outs=len(time_outs),
        time_outs_s=sum(read_s(settings, request) for request in time_outs),
        silent_s=settings.character_s(REQUEST_BYTES) + settings.timeout_s,
    )


def read_s(settings: RtuSettings, request: codec.Request) -> float:
    """How long one read takes, with the silence around it, s."""
    return exchange_s(settings, request.unit, answer_bytes(codec.question(request)))


def exchange_s(settings: RtuSettings, unit: int, answer: int) -> float:
    """How long one exchange takes, with the silence around it, s.

    Args:
        settings: of the link.
        unit: the module asked.
        answer: the answer's whole frame, bytes.
    """
    quiet = quiet_s(settings)
    before_s = max(settings.unit(unit).answer_s, quiet)
    return settings.character_s(REQUEST_BYTES + answer) + before_s + quiet


def _reads(points: Points, outputs: Outputs) -> list[codec.Request]:
    read_backs = codec.read_backs(outputs)
    return [
        request
        for requests in codec.plan({**points, **read_backs}).values()
        for request in requests
    ]


def _repeats(reads: Iterable[codec.Request]) -> int:
    """How many of them the answer to the one before would answer too."""
    shapes = [
        (request.unit, request.table, answer_bytes(codec.question(request))) for request in reads
    ]
    return sum(one == other for one, other in pairwise(shapes))


def _too_long(settings: RtuSettings, reads: Iterable[codec.Request]) -> Iterable[str]:
    for request in reads:
        answer = answer_bytes(codec.question(request))
        answer_s = settings.unit(request.unit).answer_s + settings.character_s(answer)
        if answer_s > settings.timeout_s:
            yield (
                f"unit {request.unit}, {request.table} {request.register} (+{request.count}): its "
                f"answer of {answer} characters needs {answer_s:.2f} s at {settings.baud_rate} "
                f"baud and timeout_s is {settings.timeout_s:g}; raise timeout_s or baud_rate"
            )

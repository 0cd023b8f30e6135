"""CPU per reading of every wire: our link, the bare library, the bare socket or port.

Each has the wire for itself in its turn, the other side is a process of its
own, and the same bytes travel. The pauses between two polls do not count.
"""

import asyncio
import os
import select
import socket
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import (
    ExitStack,
    asynccontextmanager,
    contextmanager,
)
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import serial

from daemon.clock import RealClock
from drivers.modbus import PointSettings, RtuSettings, TcpSettings, open_link
from drivers.modbus.codec import plan, question
from drivers.modbus.fake import frame as tcp_frame
from drivers.modbus.fake_rtu import frame as rtu_frame
from drivers.modbus.rtu_frames import answer_bytes
from tests.bench import board, bus, lines
from tests.bench.bare import BareModbus
from tests.bench.figures import Row, to_bare
from tests.bench.turns import ANSWER_S_MAX, Opened, Poll, Turn, check_all_read, nothing, turn
from tests.bench.wire import served

POLL_MS = 75  # of every contestant together, about, for the progress bar
BAUD_RATE = 19200  # a pseudo-terminal has none; the silences of a bus come from it
RTU_TO_TCP_BYTES = 4  # seven bytes before instead of one, and no checksum
# A module with eight thermocouples, one with four floats and eight inputs, four relays.
POINTS = {
    **{
        f"pad_{n}": PointSettings(unit=1, table="input", register=n, type="int16", scale=0.1)
        for n in range(8)
    },
    **{
        f"bag_{n}": PointSettings(unit=2, table="input", register=2 * n, type="float32")
        for n in range(4)
    },
    **{f"switch_{n}": PointSettings(unit=2, table="discrete", register=n) for n in range(8)},
    **{f"relay_{n}": PointSettings(unit=3, table="coil", register=n) for n in range(4)},
}
UNITS = (1, 2, 3)
READS = [request for requests in plan(POINTS).values() for request in requests]


@asynccontextmanager
async def linked(settings: TcpSettings | RtuSettings) -> AsyncIterator[Poll]:
    """Our link."""
    link = open_link("wire", settings, POINTS, {}, RealClock())
    try:
        yield link.poll_once
        check_all_read(link, len(READS) * link.statistics().polls)
    finally:
        await link.close()


@asynccontextmanager
async def by_library(make: Callable[[], BareModbus]) -> AsyncIterator[Poll]:
    """pymodbus as its documentation uses it."""
    modbus = make()
    try:
        await modbus.open()
        yield partial(modbus.read, READS)
    finally:
        modbus.close()


@asynccontextmanager
async def by_socket(port: int) -> AsyncIterator[Poll]:
    """A socket and the event loop: the same bytes out, as many bytes back."""
    loop = asyncio.get_running_loop()
    exchanges = [
        (
            tcp_frame(1, request.unit, question(request)),
            answer_bytes(question(request)) + RTU_TO_TCP_BYTES,
        )
        for request in READS
    ]
    with socket.create_connection(("127.0.0.1", port)) as wire:
        wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        wire.setblocking(False)

        async def poll() -> None:
            for asked, answer in exchanges:
                await loop.sock_sendall(wire, asked)
                came = 0
                while came < answer:
                    data = await loop.sock_recv(wire, answer - came)
                    if not data:
                        raise RuntimeError("the server hung up; look for its error above")
                    came += len(data)

        yield poll


@asynccontextmanager
async def by_port(path: str) -> AsyncIterator[Poll]:
    """A port's file descriptor: the same bytes out, as many bytes back, nothing else."""
    exchanges = [
        (rtu_frame(request.unit, question(request)), answer_bytes(question(request)))
        for request in READS
    ]
    with serial.Serial(path, BAUD_RATE) as port:
        fd = port.fileno()

        async def poll() -> None:
            for asked, answer in exchanges:
                os.write(fd, asked)
                came = 0
                while came < answer:
                    if not select.select([fd], [], [], ANSWER_S_MAX)[0]:
                        raise RuntimeError("the bus does not answer; look for its error above")
                    came += len(os.read(fd, answer - came))

        yield poll


@dataclass(frozen=True)
class Wire:
    """One wire and those who take turns on it.

    Attributes:
        name: for the table.
        readings: of each poll.
        ours: our link.
        library: the bare library, and what it is called.
        bare: the bare socket or port, and what it is called.
        before: makes the other side speak; `nothing` where it answers.
        note: how to read it.
    """

    name: str
    readings: int
    ours: Opened
    library: tuple[str, Opened]
    bare: tuple[str, Opened]
    before: Callable[[], None]
    note: str


@contextmanager
def _wires(folder: Path) -> Iterator[tuple[Wire, ...]]:
    with ExitStack() as ends:
        port = int(ends.enter_context(served("tcp", *UNITS)))
        path = ends.enter_context(served("rtu", str(folder / "bus"), *UNITS))
        told = ends.enter_context(board.board(folder / "board"))
        tcp = TcpSettings(host="127.0.0.1", port=port)
        rtu = RtuSettings(device=path, baud_rate=BAUD_RATE, parity="none")
        polled = f"{len(READS)} requests with {len(POINTS)} readings a poll"
        yield (
            Wire(
                "Modbus TCP",
                len(POINTS),
                partial(linked, tcp),
                ("pymodbus", partial(by_library, partial(BareModbus.over_tcp, port))),
                ("socket", partial(by_socket, port)),
                nothing,
                note=f"{polled}; socket: the event loop sends and receives the same bytes",
            ),
            Wire(
                "Modbus RTU",
                len(POINTS),
                partial(linked, rtu),
                ("pymodbus", partial(by_library, partial(BareModbus.over_serial, path))),
                ("port", partial(by_port, path)),
                nothing,
                note=f"{polled}, on a pseudo-terminal, which has no baud rate; port: write, select "
                "and read on the file descriptor",
            ),
            Wire(
                "serial lines",
                len(lines.POINTS),
                partial(lines.linked, told),
                ("pyserial", partial(lines.by_library, told)),
                ("port", partial(lines.split, told)),
                told.say,
                note=f"{len(lines.POINTS)} readings a line, one line after the other; port: read, "
                "split and float, no checksum; pyserial: its readline, then the same",
            ),
        )


async def measured(rounds: int, frames: int, tell: Callable[[int], None]) -> list[Row]:
    """Rows for every wire, and for a bus with dead units.

    Args:
        rounds: how often everything is measured.
        frames: polls of every contestant in each round.
        tell: called with about how long what is now done takes, ms.
    """
    found: dict[str, list[tuple[Turn, ...]]] = {}
    with TemporaryDirectory() as folder:
        with _wires(Path(folder)) as wires:
            for _ in range(rounds):
                for wire in wires:
                    contestants = (wire.ours, wire.library[1], wire.bare[1])
                    turns = [await turn(opened, frames, wire.before) for opened in contestants]
                    found.setdefault(wire.name, []).append(tuple(turns))
                tell(POLL_MS * frames)
        rows = [row for wire in wires for row in _rows(wire, found[wire.name])]
        return rows + await bus.measured(Path(folder), rounds, frames, tell)


def _rows(wire: Wire, turns: list[tuple[Turn, ...]]) -> list[Row]:
    def each(place: int) -> list[float]:
        return [one[place].cpu_us / wire.readings for one in turns]

    rows = [
        to_bare(f"{wire.name}, a reading, to {wire.library[0]}", "us", each(0), each(1)),
        to_bare(f"{wire.name}, a reading, to a {wire.bare[0]}", "us", each(0), each(2), wire.note),
    ]
    if wire.before is nothing:
        ours, library = ([one[place].wall_ms for one in turns] for place in (0, 1))
        note = "from beginning to end, not CPU"
        if wire.name == "Modbus RTU":
            note += (
                "; our link waits 3.5 characters of silence after each answer, pymodbus does not"
            )
        rows.append(
            to_bare(f"{wire.name}, a poll, to {wire.library[0]}", "ms", ours, library, note)
        )
    return rows

"""Modbus servers that others wrote, and a wire between two serial ports.

umodbus and modbus-tk (PyPI) are implementations of their own. pymodbus's server
shares code with our client and stands here for its way of answering, not as an
oracle. What they hold is one map, invented, so that each is asked the same.
"""

import asyncio
import os
import socket
import threading
import tty
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from contextlib import (
    AbstractAsyncContextManager,
    AbstractContextManager,
    asynccontextmanager,
    contextmanager,
)
from dataclasses import dataclass
from functools import partial
from socketserver import TCPServer
from typing import Any

import serial
from modbus_tk import modbus, modbus_rtu, modbus_tcp
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice
from umodbus.server.serial import AbstractSerialServer, rtu
from umodbus.server.serial import get_server as get_serial_server
from umodbus.server.tcp import RequestHandler, get_server

from drivers.modbus import RtuSettings, TcpSettings
from tests.virtual_clock import settle

HOST = "127.0.0.1"
GUARD_S = 10.0
READ_BYTES = 4096
# How long umodbus gathers a request; a pseudo-terminal hands it over whole.
UMODBUS_LISTENS_S = 0.01

# By unit and table: the first number, and what stands there and on.
Memory = Mapping[tuple[int, str], tuple[int, tuple[int, ...]]]

UNIT = 3
WATCHDOG_AT = 12
# Where the float of each order stands, in both tables; its four bytes differ.
FLOATS_AT = {"ABCD": 2, "CDAB": 4, "BADC": 6, "DCBA": 8}
INPUT_FLOAT = 123456.0  # 0x47F12000, IEEE 754 binary32
HOLDING_FLOAT = 140.3000030517578125  # 0x430C4CCD
_INPUTS = "FF9C 0578 47F1 2000 2000 47F1 F147 0020 0020 F147"
_HOLDINGS = "8000 FDE8 430C 4CCD 4CCD 430C 0C43 CD4C CD4C 0C43"
_NAN = "7FC0 0000"  # IEEE 754: a quiet not-a-number


def _words(text: str) -> tuple[int, ...]:
    return tuple(int(word, 16) for word in text.split())


HELD: Memory = {
    (UNIT, "input"): (0, _words(f"{_INPUTS} {_NAN}")),
    (UNIT, "holding"): (0, (*_words(f"{_HOLDINGS} {_NAN}"), 0)),
    (UNIT, "coil"): (0, (1, 0, 1, 0, 0, 0, 0, 0, 1)),
    (UNIT, "discrete"): (0, (0, 1, 1, 0, 0, 0, 0, 0, 0, 1)),
}
READS = {"coil": 1, "discrete": 2, "holding": 3, "input": 4}
TABLES = {function: table for table, function in READS.items()} | {5: "coil", 6: "holding"}


class Cable:
    """Two serial ports joined; all that passes is kept.

    Attributes:
        ends: the paths of the two ports.
        passed: all that came from each end so far.
    """

    def __init__(self) -> None:
        self._pairs = [os.openpty(), os.openpty()]
        self.ends = tuple(os.ttyname(near) for _, near in self._pairs)
        self.passed = (bytearray(), bytearray())
        for end, (far, near) in enumerate(self._pairs):
            tty.setraw(near)
            os.set_blocking(far, False)
            asyncio.get_running_loop().add_reader(far, self._pass_on, end)

    def _pass_on(self, end: int) -> None:
        data = os.read(self._pairs[end][0], READ_BYTES)
        self.passed[end].extend(data)
        os.write(self._pairs[1 - end][0], data)

    def close(self) -> None:
        """Take it away."""
        for far, near in self._pairs:
            asyncio.get_running_loop().remove_reader(far)
            os.close(far)
            os.close(near)


@dataclass(frozen=True)
class Peer:
    """A server at work.

    Attributes:
        reached_by: what a link's settings say to reach it.
        holds: what stands there now, by unit, table and number.
        cable: between the link and it, the link's end first; None over TCP.
    """

    reached_by: Mapping[str, Any]
    holds: Callable[[int, str, int], int]
    cable: Cable | None = None

    def settings(self, **more: object) -> TcpSettings | RtuSettings:
        """Of a link to it, with time enough for a busy computer."""
        model = TcpSettings if self.cable is None else RtuSettings
        return model.model_validate({"timeout_s": 1.0, **self.reached_by, **more})


Serve = Callable[[Memory], AbstractAsyncContextManager[Peer]]


@asynccontextmanager
async def umodbus_tcp(memory: Memory) -> AsyncIterator[Peer]:
    """umodbus over TCP."""
    with get_server(TCPServer, (HOST, 0), RequestHandler) as server:
        holds = _umodbus_routes(server, memory)
        with _umodbus_serves(server):
            yield Peer({"host": HOST, "port": server.server_address[1]}, holds)


@asynccontextmanager
async def umodbus_rtu(memory: Memory) -> AsyncIterator[Peer]:
    """umodbus on a serial bus."""
    with _cable() as cable, serial.Serial(cable.ends[1], 19200) as port:
        server = get_serial_server(rtu.RTUServer, port)
        holds = _umodbus_routes(server, memory)
        with _umodbus_serves(server):
            yield Peer(_on(cable), holds, cable)


@asynccontextmanager
async def modbus_tk_tcp(memory: Memory) -> AsyncIterator[Peer]:
    """modbus-tk over TCP."""
    server = modbus_tcp.TcpServer(0, HOST)
    holds = _modbus_tk_blocks(server, memory)
    with _modbus_tk_serves(server):
        yield Peer(dict(zip(("host", "port"), server._sock.getsockname(), strict=True)), holds)


@asynccontextmanager
async def modbus_tk_rtu(memory: Memory) -> AsyncIterator[Peer]:
    """modbus-tk on a serial bus."""
    with _cable() as cable:
        server = modbus_rtu.RtuServer(serial.Serial(cable.ends[1], 19200))
        holds = _modbus_tk_blocks(server, memory)
        with _modbus_tk_serves(server):
            yield Peer(_on(cable), holds, cable)


@asynccontextmanager
async def pymodbus_tcp(memory: Memory) -> AsyncIterator[Peer]:
    """pymodbus over TCP."""
    units = {unit for unit, _ in memory}
    server = ModbusTcpServer([_sim_device(unit, memory) for unit in units], address=(HOST, 0))
    await server.serve_forever(background=True)
    try:
        port = server.transport.sockets[0].getsockname()[1]

        def holds(unit: int, table: str, number: int) -> int:
            raise NotImplementedError("pymodbus gives out what it holds over the wire only")

        yield Peer({"host": HOST, "port": port}, holds)
    finally:
        await server.shutdown()
        await settle()


def _on(cable: Cable) -> dict[str, Any]:
    return {"device": cable.ends[0], "parity": "none"}  # a pseudo-terminal takes no parity


@contextmanager
def _cable() -> Iterator[Cable]:
    cable = Cable()
    try:
        yield cable
    finally:
        cable.close()


@contextmanager
def _thread(run: Callable[[], None], stop: Callable[[], None]) -> Iterator[None]:
    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield
    finally:
        stop()
        thread.join(GUARD_S)


def _umodbus_serves(server: TCPServer | AbstractSerialServer) -> AbstractContextManager[None]:
    return _thread(partial(server.serve_forever, UMODBUS_LISTENS_S), server.shutdown)


def _umodbus_routes(server: Any, memory: Memory) -> Callable[[int, str, int], int]:
    held = {place: dict(enumerate(values, start)) for place, (start, values) in memory.items()}

    def read(slave_id: int, function_code: int, address: int) -> int:
        return held[slave_id, TABLES[function_code]][address]

    def write(slave_id: int, function_code: int, address: int, value: int) -> None:
        on_or_count = int(bool(value)) if function_code == 5 else value
        held[slave_id, TABLES[function_code]][address] = on_or_count

    for (unit, table), values in held.items():
        server.route([unit], [READS[table]], list(values))(read)
        written_by = [function for function in (5, 6) if TABLES[function] == table]
        if written_by:
            server.route([unit], written_by, list(values))(write)
    return lambda unit, table, number: held[unit, table][number]


def _modbus_tk_blocks(server: modbus.Server, memory: Memory) -> Callable[[int, str, int], int]:
    units = {unit: server.add_slave(unit) for unit in {unit for unit, _ in memory}}
    for (unit, table), (start, values) in memory.items():
        # The numbers by which it names the tables are those of the functions that read them.
        units[unit].add_block(table, READS[table], start, len(values))
        units[unit].set_values(table, start, values)
    return lambda unit, table, number: int(units[unit].get_values(table, number)[0])


@contextmanager
def _modbus_tk_serves(server: modbus.Server) -> Iterator[None]:
    """Its own `start` makes a thread that Python warns of and that may not stop; ours does."""
    server._do_init()
    going = threading.Event()
    going.set()

    def serve() -> None:
        while going.is_set():
            server._do_run()

    def stop() -> None:
        going.clear()
        if isinstance(server, modbus_tcp.TcpServer):  # it waits for its sockets only
            with socket.create_connection(server._sock.getsockname(), GUARD_S):
                pass

    try:
        with _thread(serve, stop):
            yield
    finally:
        server._do_exit()


def _sim_device(unit: int, memory: Memory) -> SimDevice:
    def data(table: str) -> list[SimData]:
        start, values = memory[unit, table]
        if table in ("coil", "discrete"):
            return [
                SimData(number, values=bool(one), datatype=DataType.BITS)
                for number, one in enumerate(values, start)
            ]
        return [
            SimData(number, values=one, datatype=DataType.REGISTERS)
            for number, one in enumerate(values, start)
        ]

    return SimDevice(unit, tuple(data(table) for table in ("coil", "discrete", "holding", "input")))

"""The rigs' modules over Modbus TCP, and over Modbus RTU on a pseudo-terminal.

pymodbus speaks the protocol; the troubles of the wire are done to its bytes.
"""

import asyncio
from collections.abc import Collection
from pathlib import Path

from pymodbus.constants import ExcCodes
from pymodbus.pdu import ExceptionResponse
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.server.base import ModbusBaseServer
from pymodbus.server.requesthandler import ServerRequestHandler
from pymodbus.simulator import SimDevice

from simulator import registers
from simulator.plant import Rig
from simulator.serve import modules
from simulator.serve.answers import NOISE, RTU_UNIT, TCP_UNIT, Sent, over_rtu, over_tcp
from simulator.serve.base import HOST, ServeError
from simulator.serve.later import Later, RealLater
from simulator.serve.terminal import Terminal
from simulator.wire import Trouble

BABBLE_S = 0.02
UNSENT_BYTES_MAX = 65536
# A serial frame has no gap of 3.5 characters in it; no kernel tells us such a gap this well.
GAP_S = 0.05


class _Talk(ServerRequestHandler):
    """One connection, or the bus: answers, in the way each module's trouble has it."""

    def __init__(self, front: "ModbusFront | RtuFront", server: ModbusBaseServer) -> None:
        super().__init__(server, None, None, None)  # type: ignore[no-untyped-call]  # pymodbus leaves it untyped
        self._front = front
        self._babbling = False

    async def handle_request(self) -> None:
        """Take one request, or do not."""
        asked = self.last_pdu
        if asked is None:
            return
        trouble = self._front.trouble(asked.dev_id)
        if trouble is Trouble.BABBLES:
            self._put(NOISE)
            if not self._babbling:
                self._babble(asked.dev_id)
        if trouble is Trouble.HANGS_UP:
            self._front.hang_up(self)
        elif trouble is Trouble.EXCEPTION:
            code = ExcCodes.DEVICE_FAILURE
            refusal = ExceptionResponse(asked.function_code, code, device_id=asked.dev_id)
            refusal.transaction_id = asked.transaction_id
            self.pdu_send(refusal)
        elif trouble is not Trouble.SILENT and not self._front.jammed:
            await super().handle_request()  # type: ignore[no-untyped-call]  # pymodbus leaves it untyped

    def send(self, data: bytes, addr: tuple[str, int] | None = None) -> None:
        """Send an answer, or what becomes of it."""
        unit = data[self._front.unit_at]
        sent = self._front.sent(self._front.trouble(unit), data)
        if sent.now and self.transport:
            super().send(sent.now, addr)
        if sent.late:
            self._front.later.after(self._front.late_s(unit), lambda: self._put(sent.late))

    def _babble(self, unit: int) -> None:
        self._babbling = bool(self.transport) and self._front.trouble(unit) is Trouble.BABBLES
        if self._babbling:
            self._put(NOISE)
            self._front.later.after(BABBLE_S, lambda: self._babble(unit))

    def _put(self, data: bytes) -> None:
        """Send without a question; lost when the connection is, or nobody reads."""
        wire = self.transport
        if isinstance(wire, asyncio.Transport) and wire.get_write_buffer_size() < UNSENT_BYTES_MAX:
            wire.write(data)


class _Modules:
    """What both fronts know of the modules behind them.

    Attributes:
        unit_at: place of the unit's number in an answer.
        later: what late answers wait by.
    """

    unit_at: int

    def __init__(self, rigs: list[Rig], served: Collection[str], later: Later | None) -> None:
        self._units = modules.units(rigs, served)
        self.later = later or RealLater()

    @property
    def jammed(self) -> bool:
        """Nobody on this wire understands anything."""
        return False

    def trouble(self, unit: int) -> Trouble:
        """What is wrong with one unit."""
        if unit not in self._units:
            return Trouble.SILENT
        rig, module = self._units[unit]
        if module == "relays" and not rig.relays.powered:
            return Trouble.SILENT
        return rig.wire.of(module)

    def late_s(self, unit: int) -> float:
        """How late one unit's answers are when they are."""
        rig, _ = self._units[unit]
        return rig.wire.late_s


class _TcpServer(ModbusTcpServer):
    """pymodbus' server, with connections of our own."""

    def __init__(self, front: "ModbusFront", port: int, devices: list[SimDevice]) -> None:
        super().__init__(devices, address=(HOST, port), ignore_missing_devices=True)
        self._front = front

    def callback_new_connection(self) -> _Talk:
        return _Talk(self._front, self)


class ModbusFront(_Modules):
    """A Modbus TCP server for some rigs, on the loopback interface only."""

    unit_at = TCP_UNIT

    def __init__(
        self,
        rigs: list[Rig],
        *,
        served: Collection[str] = registers.MODULES,
        later: Later | None = None,
    ) -> None:
        """Nothing listens yet.

        Args:
            rigs: whose modules.
            served: which modules.
            later: what late answers wait by; real time if there is none.
        """
        super().__init__(rigs, served, later)
        self._server: _TcpServer | None = None

    async def open(self, port: int) -> int:
        """Listen.

        Args:
            port: 0 picks a free one.

        Returns:
            The port.

        Raises:
            ServeError: the port cannot be had.
        """
        server = _TcpServer(self, port, modules.devices(self._units))
        try:
            await server.serve_forever(background=True)
        except RuntimeError as error:
            raise ServeError(
                f"Modbus port {port} on {HOST} cannot be opened; choose another, or 0 for any"
            ) from error
        self._server = server
        # pymodbus keeps the asyncio server it listens with as its transport.
        bound: int = server.transport.sockets[0].getsockname()[1]  # type: ignore[attr-defined]  # typed as a transport there
        return bound

    def sent(self, trouble: Trouble, right: bytes) -> Sent:
        """What goes out instead of an answer."""
        return over_tcp(trouble, right)

    def hang_up(self, talk: _Talk) -> None:
        """End one connection."""
        talk.close()

    async def close(self) -> None:
        """Stop listening and hang up; twice is no error."""
        self.later.close()
        if self._server is not None:
            await self._server.shutdown()  # type: ignore[no-untyped-call]  # pymodbus leaves it untyped
            self._server = None


class _Bus(asyncio.Transport):
    """A terminal as pymodbus wants to write to it."""

    def __init__(self, terminal: Terminal) -> None:
        super().__init__()
        self._terminal = terminal

    def write(self, data: bytes | bytearray | memoryview) -> None:
        self._terminal.write(bytes(data))

    def get_write_buffer_size(self) -> int:
        return 0

    def close(self) -> None:
        self._terminal.unplug()


class RtuFront(_Modules):
    """One serial bus with the modules of all rigs, on a pseudo-terminal.

    A module that hangs up takes the bus's adapter away, and with it all the others,
    for the wire's `late_s`. Without a link nobody would find it again: then it is
    only silent. While one babbles, no other gets a word in, and none hears a question.
    """

    unit_at = RTU_UNIT

    def __init__(self, rigs: list[Rig], link: Path | None, *, later: Later | None = None) -> None:
        """Nothing is plugged in yet.

        Args:
            rigs: whose modules.
            link: where a symbolic link to the port is made, or None.
            later: what late answers wait by; real time if there is none.
        """
        super().__init__(rigs, registers.MODULES, later)
        self._terminal = Terminal(link)
        self._talk: _Talk | None = None
        self._heard_s = 0.0

    def open(self) -> str:
        """Appear; within a running event loop.

        Returns:
            The path of the port.

        Raises:
            ServeError: the link cannot be made.
        """
        # Never listens: it only holds what its one connection needs to know.
        server = ModbusSerialServer(modules.devices(self._units), ignore_missing_devices=True)
        self._talk = _Talk(self, server)
        self._talk.connection_made(_Bus(self._terminal))
        self._terminal.plug(self._came)
        return self._terminal.device

    @property
    def jammed(self) -> bool:
        """A module babbles."""
        return any(_Modules.trouble(self, unit) is Trouble.BABBLES for unit in self._units)

    def trouble(self, unit: int) -> Trouble:
        """What is wrong with one unit, or with the whole bus."""
        return Trouble.BABBLES if self.jammed else super().trouble(unit)

    def sent(self, trouble: Trouble, right: bytes) -> Sent:
        """What goes out instead of an answer."""
        return over_rtu(trouble, right)

    def hang_up(self, talk: _Talk) -> None:
        """Take the adapter away for a while."""
        if self._terminal.lasting and talk.last_pdu is not None:
            self._terminal.unplug()
            self.later.after(self.late_s(talk.last_pdu.dev_id), self._terminal.plug)

    async def close(self) -> None:
        """Pull the adapter out; twice is no error."""
        self.later.close()
        if self._talk is not None:
            self._talk.close()
            self._talk = None

    def _came(self, data: bytes) -> None:
        if self._talk is None:
            return
        now_s = asyncio.get_running_loop().time()
        if now_s - self._heard_s > GAP_S:
            self._talk.recv_buffer = b""  # the rest of what never became a question
        self._heard_s = now_s
        self._talk.data_received(data)

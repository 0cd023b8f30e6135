"""The other end of the simulator's wires: bytes in, bytes out, on sockets and terminals."""

import asyncio
import os
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress

from simulator.plant import Rig, RigSettings
from simulator.serve import HOST, Fronts, open_fronts, read_wanted
from simulator.wire import Wire

GUARD_S = 10.0
LATE_S = 0.2
# What is to be silent is listened to for so long; what is to speak is waited for.
QUIET_S = 0.1
REST_S = 0.02


class Plug:
    """The other end of a wire: sends bytes, and takes what comes."""

    def __init__(self) -> None:
        self.put: Callable[[bytes], object] = len
        self.ended = asyncio.Event()
        self._came = bytearray()
        self._news = asyncio.Event()

    def take_in(self, data: bytes) -> None:
        self._came += data
        self._news.set()
        if not data:
            self.ended.set()

    async def heard(self, count: int) -> bytes:
        """The next `count` bytes."""
        async with asyncio.timeout(GUARD_S):
            while len(self._came) < count:
                self._news.clear()
                await self._news.wait()
        taken = bytes(self._came[:count])
        del self._came[:count]
        return taken

    async def heard_in(self, wait_s: float) -> bytes:
        """All that comes within this time."""
        with suppress(TimeoutError):
            async with asyncio.timeout(wait_s):
                await asyncio.Event().wait()
        return await self.heard(len(self._came))

    async def burst(self, *, silent: bool) -> bytes:
        """All that comes in one go, or nothing."""
        if silent:
            return await self.heard_in(QUIET_S)
        return await self.heard(1) + await self.heard_in(REST_S)

    async def line(self) -> bytes:
        """The next line without its end."""
        found = b""
        while not found.endswith(b"\n"):
            found += await self.heard(1)
        return found[:-1]


@asynccontextmanager
async def socket_plug(port: object) -> AsyncIterator[Plug]:
    """Connected to a port of this computer."""

    class Ends(asyncio.Protocol):
        def data_received(self, data: bytes) -> None:
            plug.take_in(data)

        def connection_lost(self, exc: Exception | None) -> None:
            plug.take_in(b"")

    loop = asyncio.get_running_loop()
    plug = Plug()
    transport, _ = await loop.create_connection(Ends, HOST, int(str(port)))
    plug.put = transport.write
    try:
        yield plug
    finally:
        transport.close()


@asynccontextmanager
async def port_plug(device: object) -> AsyncIterator[Plug]:
    """On a serial port, as it is."""
    port = os.open(str(device), os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    plug = Plug()
    plug.put = lambda data: os.write(port, data)
    loop = asyncio.get_running_loop()

    def readable() -> None:
        with suppress(OSError):  # an adapter that was pulled out
            plug.take_in(os.read(port, 4096))
            return
        loop.remove_reader(port)
        plug.take_in(b"")

    loop.add_reader(port, readable)
    try:
        yield plug
    finally:
        loop.remove_reader(port)
        os.close(port)


def two_rigs() -> list[Rig]:
    """Two rigs, the second one cold, each with air in one bag."""
    built = [Rig(RigSettings(ambient_c=ambient_c), 1) for ambient_c in (20.0, -5.0)]
    for rig in built:
        rig.wire = Wire(late_s=LATE_S)
        rig.bags["inner"].fill_to(206.84)
        for _ in range(40):
            rig.advance()
    return built


@asynccontextmanager
async def served(rigs: list[Rig], *wires: str, plant: bool = False) -> AsyncIterator[Fronts]:
    """The rigs on these wires, in the plant's time if `plant`; closed twice."""
    wanted = [read_wanted(wire) for wire in wires]
    fronts = await open_fronts(rigs, wanted, (lambda: rigs[0].now_s) if plant else None)
    try:
        yield fronts
    finally:
        await fronts.close()
        await fronts.close()

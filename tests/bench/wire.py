"""A process of its own that serves a few registers and coils, so that a write crosses a real wire.

Prints its port and ends when its standard input does.
"""

import asyncio
import sys

from drivers.modbus.fake import FakeServer

REGISTERS, COILS = 16, 8
UNIT = 1


async def _serve() -> None:
    held = {(UNIT, "holding", number): 0 for number in range(REGISTERS)}
    coils = {(UNIT, "coil", number): 0 for number in range(COILS)}
    server = FakeServer(held | coils)
    await server.start()
    sys.stdout.write(f"{server.port}\n")
    sys.stdout.flush()
    await asyncio.to_thread(sys.stdin.read)
    await server.stop()


if __name__ == "__main__":
    asyncio.run(_serve())

"""A process of its own that serves registers and bits, so that requests cross a real wire.

    python -m tests.bench.wire tcp UNIT...
    python -m tests.bench.wire rtu PATH UNIT...

Prints where it is reached, a port or a path, and ends when its standard input does.
"""

import asyncio
import subprocess
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from drivers.modbus.fake import FakeServer
from drivers.modbus.fake_rtu import FakeBus
from drivers.modbus.fake_units import Place

REGISTERS, BITS = 16, 8
UNIT = 1


@contextmanager
def served(wire: str, *arguments: str | int) -> Iterator[str]:
    """Such a process, running; yields where it is reached."""
    command = [sys.executable, "-m", "tests.bench.wire", wire, *map(str, arguments)]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with subprocess.Popen(command, text=True, **pipes) as server:
        assert server.stdout is not None
        # Leaving the block closes its standard input, and with that it ends.
        yield server.stdout.readline().strip()


def _held(units: Iterable[int]) -> dict[Place, int]:
    held: dict[Place, int] = {}
    for unit in units:
        held |= {(unit, "holding", number): 0 for number in range(REGISTERS)}
        held |= {(unit, "input", number): 1000 + number for number in range(REGISTERS)}
        held |= {(unit, "coil", number): 0 for number in range(BITS)}
        held |= {(unit, "discrete", number): number % 2 for number in range(BITS)}
    return held


async def _serve(wire: str, *arguments: str) -> None:
    if wire == "tcp":
        server = FakeServer(_held(map(int, arguments)))
        await server.start()
        await _until_told(server.port)
        await server.stop()
    else:
        path, *units = arguments
        bus = FakeBus(_held(map(int, units)), Path(path))
        await bus.start()
        await _until_told(bus.device)
        await bus.stop()


async def _until_told(reached_at: int | str) -> None:
    sys.stdout.write(f"{reached_at}\n")
    sys.stdout.flush()
    await asyncio.to_thread(sys.stdin.read)


if __name__ == "__main__":
    asyncio.run(_serve(*sys.argv[1:]))

"""A board's lines, by our link, by pyserial and by a bare port; each is told what to wait for."""

import asyncio
import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

import serial

from daemon.clock import RealClock
from drivers.serial_lines import LinesSettings, PointSettings, open_link
from tests.bench import board
from tests.bench.board import Board
from tests.bench.meter import pause
from tests.bench.turns import ANSWER_S_MAX, Poll, check_all_read

READ_BYTES = 4096
POINTS = {key: PointSettings(key=key) for key in board.VALUES}


class HearingClock(RealClock):
    """Real time, and word of each time it was asked for: a link asks when it hears a line."""

    def __init__(self) -> None:
        super().__init__()
        self.asked = asyncio.Event()

    def now_ns(self) -> int:
        """As ever."""
        self.asked.set()
        return super().now_ns()


@asynccontextmanager
async def linked(told: Board) -> AsyncIterator[Poll]:
    """Our link to a board, once it believes the board."""
    settings = LinesSettings(device=told.path, form="key_value", lines_per_s_max=200)
    clock = HearingClock()
    link = open_link("board", settings, POINTS, {}, clock)
    running = asyncio.create_task(link.run())
    try:
        async with asyncio.timeout(ANSWER_S_MAX):
            while any(sample.quality != "good" for sample in link.snapshot().values()):
                told.say()
                await pause()
        await pause()
        failed = link.statistics().failures
        unheard = told.said - link.statistics().requests

        async def poll() -> None:
            while link.statistics().requests + unheard < told.said:
                clock.asked.clear()
                await clock.asked.wait()

        yield poll
        check_all_read(link, told.said - unheard, failed)
    finally:
        running.cancel()
        with suppress(asyncio.CancelledError):
            await running
        await link.close()


@asynccontextmanager
async def split(told: Board) -> AsyncIterator[Poll]:
    """A port's file descriptor watched by the event loop; split and float, nothing checked."""
    loop = asyncio.get_running_loop()
    said, lines, rest, heard = told.said, 0, b"", asyncio.Event()
    with serial.Serial(told.path) as port:
        fd = port.fileno()

        def readable() -> None:
            nonlocal lines, rest
            *whole, rest = (rest + os.read(fd, READ_BYTES)).split(b"\n")
            for line in whole:
                floats(line)
                lines += 1
            heard.set()

        async def poll() -> None:
            while lines < told.said - said:
                heard.clear()
                await heard.wait()

        loop.add_reader(fd, readable)
        try:
            yield poll
        finally:
            loop.remove_reader(fd)


@asynccontextmanager
async def by_library(told: Board) -> AsyncIterator[Poll]:
    """pyserial's readline, as its documentation uses it; split and float, nothing checked."""
    with serial.Serial(told.path, timeout=ANSWER_S_MAX) as port:

        async def poll() -> None:
            if len(floats(port.readline())) != len(board.VALUES):
                raise RuntimeError("the board does not send its lines; look for its error above")

        yield poll


def floats(line: bytes) -> dict[bytes, float]:
    """The values of a line, its number and its checksum left out."""
    pairs = (field.split(b"=") for field in line.split()[1:-1])
    return {key: float(text) for key, text in pairs}

"""The real clock, and the lockstep clock that goes only as fast as the work is done.

All waiting of rigs and links goes through one of these two. With the real
clock time passes by itself. With the lockstep clock, for pretend rigs only,
time is the plant's: it moves on when every poller and every rig has finished
and waits, so no speed can make a reading look stale.
"""

import asyncio
import ctypes
import heapq
import json
import time
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

from drivers.base import Clock

NS_PER_S = 1_000_000_000
BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
GREETING_S_MAX = 10.0
ADVANCE_S_MAX = 600.0  # real time; a plant may be told to go slowly
TIME_ERROR = 5  # adjtimex(2): the clock is not synchronised


class SiteClock(Clock, Protocol):
    """A clock that also knows the computer's start and the pace of things."""

    pretend: bool
    boot_id: str

    def wall_trusted(self) -> bool:
        """The wall clock is synchronised."""

    def utc_offset_s(self) -> int:
        """Local time minus UTC now, s."""

    @contextmanager
    def busy(self) -> Iterator[None]:
        """Work that must be finished before time may move on."""


class RealClock:
    """Time as the computer keeps it; monotonic time goes on through suspend."""

    pretend = False

    def __init__(self) -> None:
        self.boot_id = BOOT_ID.read_text().strip()
        self._adjtimex = ctypes.CDLL(None).adjtimex
        self._query = ctypes.create_string_buffer(512)

    def now_ns(self) -> int:
        """Time since boot, ns."""
        return time.clock_gettime_ns(time.CLOCK_BOOTTIME)

    def wall_ns(self) -> int:
        """Wall time since 1970, ns."""
        return time.time_ns()

    async def sleep_until(self, t_ns: int) -> None:
        """Return when `now_ns()` has reached `t_ns`; always lets others run."""
        await asyncio.sleep(max(0, t_ns - self.now_ns()) / NS_PER_S)

    def wall_trusted(self) -> bool:
        """The kernel says that the wall clock is synchronised."""
        ctypes.memset(self._query, 0, len(self._query))
        return int(self._adjtimex(self._query)) not in (TIME_ERROR, -1)

    def utc_offset_s(self) -> int:
        """Local time minus UTC now, s."""
        return time.localtime().tm_gmtoff

    @contextmanager
    def busy(self) -> Iterator[None]:
        """Nothing to hold back: real time passes by itself."""
        yield


class LockstepClock:
    """The plant's time, moved on only when everybody waits.

    Attributes:
        over: set when the plant's story has ended or it has hung up.
        settled: awaited before time moves on: work that nobody waits for, such
            as a commit, is finished in no time at all.
        parties: how many tasks must be there and wait before time moves on,
            and with them every other task that ever waited; so time stands
            before all have come, and again when the first is stopped.
    """

    pretend = True

    def __init__(self, host: str, port: int) -> None:
        self.boot_id = f"pretend-{port}"
        self.over = asyncio.Event()
        self.parties = 0
        self.settled: Callable[[], Awaitable[None]] = _nothing_to_settle
        self._address = (host, port)
        self._now_ns = 0
        self._wall_ns = 0
        self._working = 0
        self._sleepers: set[asyncio.Task[Any]] = set()
        self._count = 0
        self._waiting: list[tuple[int, int, asyncio.Future[None]]] = []
        self._quiet = asyncio.Event()
        self._streams: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def open(self) -> None:
        """Connect to the plant and learn its time.

        Raises:
            ConnectionError: no plant answers there.
        """
        try:
            async with asyncio.timeout(GREETING_S_MAX):
                self._streams = await asyncio.open_connection(*self._address)
                self._learn(json.loads(await self._streams[0].readline()))
        except (OSError, ValueError, KeyError, TypeError) as error:
            self.close()
            host, port = self._address
            raise ConnectionError(
                f"no pretend plant keeps time at {host}:{port}; "
                "start it first: curehold simulate --pace lockstep"
            ) from error

    def now_ns(self) -> int:
        """The plant's time, ns."""
        return self._now_ns

    def wall_ns(self) -> int:
        """The plant's wall time since 1970, ns."""
        return self._wall_ns

    async def sleep_until(self, t_ns: int) -> None:
        """Return when the plant's time has reached `t_ns`."""
        task = asyncio.current_task()
        if task is not None and task not in self._sleepers:
            self._sleepers.add(task)
            task.add_done_callback(self._gone)
        future = asyncio.get_running_loop().create_future()
        self._count += 1
        heapq.heappush(self._waiting, (t_ns, self._count, future))
        self._quiet.set()
        await future

    def wall_trusted(self) -> bool:
        """The plant's wall time is its own; it is taken as it is."""
        return True

    def utc_offset_s(self) -> int:
        """The plant tells its time as UTC; people see it as it is."""
        return 0

    @contextmanager
    def busy(self) -> Iterator[None]:
        """Work that must be finished before time may move on."""
        self._working += 1
        try:
            yield
        finally:
            self._working -= 1
            self._quiet.set()

    async def run(self) -> None:
        """Move time on whenever everybody waits, until the plant's story is over.

        Raises:
            ConnectionError: the plant refused to move on; says why.
        """
        if self._streams is None:
            await self.open()
        try:
            while not self.over.is_set():
                await self._quiet.wait()
                self._quiet.clear()
                if self._all_wait():
                    await self.settled()
                if self._all_wait():
                    await self._advance()
        finally:
            self.over.set()

    def close(self) -> None:
        """Hang up; the plant ends then. Last of all, so that it can still be switched off."""
        if self._streams is not None:
            self._streams[1].close()

    def _gone(self, task: "asyncio.Task[Any]") -> None:
        self._sleepers.discard(task)
        self._quiet.set()

    def _all_wait(self) -> bool:
        if self._working or len(self._sleepers) < self.parties:
            return False
        self._waiting = [item for item in self._waiting if not item[2].done()]
        heapq.heapify(self._waiting)
        return bool(self._waiting) and len(self._waiting) >= len(self._sleepers)

    async def _advance(self) -> None:
        assert self._streams is not None  # noqa: S101  # run() opened it
        reader, writer = self._streams
        until_ns = self._waiting[0][0]
        if until_ns > self._now_ns:
            writer.write(b'{"until_s": %.9f}\n' % (until_ns / NS_PER_S))
            if not await self._arrived(reader):
                self.over.set()
                return
            # The plant may round its answer; what was asked for has come.
            self._now_ns = max(self._now_ns, until_ns)
        while self._waiting and self._waiting[0][0] <= self._now_ns:
            future = heapq.heappop(self._waiting)[2]
            if not future.done():
                future.set_result(None)

    async def _arrived(self, reader: asyncio.StreamReader) -> bool:
        """Learn the time the plant has moved to; False when its story has ended."""
        try:
            async with asyncio.timeout(ADVANCE_S_MAX):
                line = await reader.readline()
            if not line:
                return False  # it hung up: its story ends here
            answer = json.loads(line)
            if "error" in answer:
                raise ConnectionError(f"the pretend plant refused to move on: {answer['error']}")
            self._learn(answer)
            return not answer["over"]
        except ConnectionResetError:
            return False
        except (ValueError, KeyError, TypeError, TimeoutError) as error:
            raise ConnectionError(
                f"the pretend plant at {self._address[0]}:{self._address[1]} does not answer as "
                "one does; start it again"
            ) from error

    def _learn(self, answer: dict[str, float]) -> None:
        self._now_ns = round(float(answer["now_s"]) * NS_PER_S)
        self._wall_ns = int(answer["wall_ns"])


async def _nothing_to_settle() -> None:
    return

"""The whole path in this process: the daemon's own supervisor on real wires.

Modbus TCP to a simulated rig, the rules, SQLite, Mosquitto: all as
`curehold supervise` does it. Only time is ours: a second passes per frame, as
soon as everybody waits for it.
"""

import asyncio
import json
import socket
import sqlite3
import subprocess
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from time import thread_time_ns
from typing import Any

import daemon.rig
from daemon.clock import NS_PER_S
from daemon.config import Config
from daemon.store import codec
from daemon.store.store import Store
from daemon.store.writer import Writer
from daemon.supervise import Supervisor
from drivers.modbus import PointSettings
from drivers.modbus.codec import Request, plan
from tests.bench.meter import Cpu, calls_timed, pause, process_cpu
from tests.bench.stepped_clock import SteppedClock
from tests.e2e.broker import Broker
from tests.e2e.workshop import Workshop

RIG, LINK = "bay-2", "modules"
FRAME_AT_S = 0.25
SLEEPERS = 3  # the link's poll, its letting go, the rig
WAIT_S_MAX = 20.0
REST_NS = 100_000_000
FRAME_MS = 4  # about, for the progress bar
NEWEST_BYTES = 65_536
FRAMES_STORED = "SELECT * FROM frame WHERE seq BETWEEN ? AND ? ORDER BY seq"
EVENTS_STORED = "SELECT * FROM event WHERE seq BETWEEN ? AND ? ORDER BY seq, n"


class Plant:
    """Moves the simulated plant, from outside the loop so that it is not measured with it."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=WAIT_S_MAX)
        self._lines = self._socket.makefile("rwb")
        self.wall_ns = int(json.loads(self._lines.readline())["wall_ns"])

    def move(self, until_s: float) -> int:
        """Move it; returns the CPU this took here, ns."""
        began_ns = thread_time_ns()
        self._lines.write(b'{"until_s": %.3f}\n' % until_s)
        self._lines.flush()
        answer = json.loads(self._lines.readline())
        if answer["over"]:
            raise RuntimeError("the pretend repair is over; ask for fewer frames or rounds")
        self.wall_ns = int(answer["wall_ns"])
        return thread_time_ns() - began_ns

    def close(self) -> None:
        """Hang up."""
        self._lines.close()
        self._socket.close()


@dataclass(frozen=True)
class Batch:
    """What one commit stored; rows as they are in the tables `frame` and `event`."""

    frames: list[tuple[Any, ...]]
    events: list[tuple[Any, ...]]


@dataclass(frozen=True)
class Work:
    """What the path did in one round, so that bare libraries can do the same.

    Attributes:
        frames: how many.
        reads: of each frame.
        batches: in order.
        messages: topic and payload, in order, as a subscriber heard them.
    """

    frames: int
    reads: list[Request]
    batches: list[Batch]
    messages: list[tuple[str, bytes]]


@dataclass(frozen=True)
class PathCpu:
    """CPU of one round: all of it, and of parts where they were called."""

    whole: Cpu
    step: Cpu
    codec: Cpu
    store: Cpu


class SupervisedPath:
    """One rig, supervised frame by frame."""

    def __init__(self, workshop: Workshop, config: Config, store: Store, heard: Path) -> None:
        self.config = config
        self.plant = Plant(workshop.pace_port)
        self.clock = SteppedClock(self.plant.wall_ns, sleepers=SLEEPERS)
        self.supervisor = Supervisor(config, store, self.clock)
        self.reads = reads_of(config)
        self._store = store
        self._heard = heard
        self._frame = 0
        self._commits: list[int] = []
        tell = store.on_durable
        assert tell is not None

        def durable(rig: str, seq: int) -> None:
            self._commits.append(seq)
            tell(rig, seq)

        store.on_durable = durable

    async def go_on(self, frames: int, tell: Callable[[int], None]) -> None:
        """So many frames, unmeasured and as fast as they come; then at rest."""
        for _ in range(frames):
            await self._one_second()
            await self._store.settled()
            tell(FRAME_MS)
        await self._at_rest()

    async def measured(self, frames: int) -> tuple[PathCpu, Work]:
        """So many frames; what they cost, and what they did."""
        first_seq = self.supervisor.rigs[RIG]._seq + 1
        heard_bytes, commits = self._heard.stat().st_size, len(self._commits)
        asked = self.supervisor.links[LINK].statistics().requests
        with (
            calls_timed(daemon.rig, "step") as step,
            calls_timed(codec, "encode") as encode,
            calls_timed(codec, "layout_of") as layout,
            calls_timed(Store, "append") as append,
            calls_timed(Writer, "commit") as commit,
            process_cpu() as whole,
        ):
            for _ in range(frames):
                whole.ns -= await self._one_second()
                await pause()
            await self._store.flush()
            await pause(REST_NS)
        await self._at_rest()
        cpu = PathCpu(whole, step, Cpu(encode.ns + layout.ns), Cpu(append.ns + commit.ns))
        batches = self._stored(first_seq, self._commits[commits:])
        asked = self.supervisor.links[LINK].statistics().requests - asked
        stored = sum(len(batch.frames) for batch in batches)
        if (asked, stored) != (frames * len(self.reads), frames):
            raise RuntimeError(
                f"{asked} reads and {stored} rows are not those of {frames} frames, so the bare "
                "libraries would not do the same work; look at what the path does now"
            )
        return cpu, Work(frames, self.reads, batches, self._messages(heard_bytes))

    async def _one_second(self) -> int:
        """One poll and one frame; returns the CPU of moving the plant, ns."""
        self._frame += 1
        moving_ns = self.plant.move(float(self._frame))
        await self.clock.advance_to(self._frame * NS_PER_S)
        await self.clock.advance_to(round((self._frame + FRAME_AT_S) * NS_PER_S))
        return moving_ns

    async def _at_rest(self) -> None:
        """Everything stored, delivered and heard by the subscriber."""
        await self._store.flush()
        latest = self.supervisor.rigs[RIG].latest
        assert latest is not None
        last_words = f'"seq":{latest.seq},"pretend"'.encode()
        async with asyncio.timeout(WAIT_S_MAX):
            while await self._store.outbox_depth("mqtt") or last_words not in self._newest_heard():
                await pause()

    def _newest_heard(self) -> bytes:
        with self._heard.open("rb") as file:
            file.seek(max(0, self._heard.stat().st_size - NEWEST_BYTES))
            return file.read()

    def _stored(self, first_seq: int, commits: list[int]) -> list[Batch]:
        uri = f"{self.config.store.path.as_uri()}?mode=ro"
        batches = []
        with closing(sqlite3.connect(uri, uri=True)) as found:
            for last_seq in commits:
                span = (first_seq, last_seq)
                batches.append(
                    Batch(
                        found.execute(FRAMES_STORED, span).fetchall(),
                        found.execute(EVENTS_STORED, span).fetchall(),
                    )
                )
                first_seq = last_seq + 1
        return batches

    def _messages(self, from_byte: int) -> list[tuple[str, bytes]]:
        with self._heard.open("rb") as file:
            file.seek(from_byte)
            pairs = (line.rstrip(b"\n").partition(b" ") for line in file)
            return [(topic.decode(), payload) for topic, _, payload in pairs]


def reads_of(config: Config) -> list[Request]:
    """What the link asks in each poll: every channel, and every coil read back."""
    coils = {
        name: PointSettings(unit=output.unit, table="coil", register=output.number)
        for name, output in config.outputs(LINK).items()
    }
    planned = plan({**config.points(LINK), **coils})
    return [request for requests in planned.values() for request in requests]


@contextmanager
def listening(broker: Broker, heard: Path) -> Iterator[None]:
    """`mosquitto_sub`, an independent program, writes down all that is published."""
    before = broker.log().count("Sending SUBACK")
    with heard.open("wb") as out:
        listener = subprocess.Popen(
            [
                "mosquitto_sub",
                *("-h", "127.0.0.1", "-p", str(broker.port), "-V", "mqttv5", "-q", "1"),
                *("-u", "board", "-P", broker.password_of("board")),
                *("-F", "%t %p", "-t", "curehold/1/workshop/#"),
            ],
            stdout=out,
        )
        try:
            broker.wait_for_log("Sending SUBACK", after=before)
            yield
        finally:
            listener.terminate()
            listener.wait(10)


@asynccontextmanager
async def supervised(workshop: Workshop) -> AsyncIterator[SupervisedPath]:
    """The path, running; all of it ended after."""
    config = workshop.configure()
    heard = workshop.home / "heard"
    with listening(workshop.broker, heard):
        store = await Store.open(config.store.path)
        try:
            path = SupervisedPath(workshop, config, store, heard)
            stop = asyncio.Event()
            running = asyncio.create_task(path.supervisor.run(stop))
            try:
                await path.clock.all_asleep()
                await path.clock.advance_to(round(FRAME_AT_S * NS_PER_S))
                yield path
            finally:
                stop.set()
                await running
                path.plant.close()
        finally:
            await store.close()

"""The floor: the same work by the bare libraries, with nothing checked, kept or told apart.

pymodbus reads the same registers from the same server, sqlite3 inserts the same
rows into the same tables at the same commits, aiomqtt publishes the same
messages to the same broker with QoS 1. What a supervisor needs beside that
(quality, rules, an outbox that survives, outputs) is the difference.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Self

import aiomqtt
from pymodbus.client import AsyncModbusSerialClient, AsyncModbusTcpClient

from daemon.store.migrations import migrate
from drivers.modbus.codec import Request
from tests.bench.meter import Cpu, calls_timed, pause, process_cpu
from tests.bench.path import REST_NS, Batch, Work

Pairs = list[tuple[str, bytes]]


class BareModbus:
    """pymodbus as its documentation uses it."""

    def __init__(self, client: AsyncModbusTcpClient | AsyncModbusSerialClient) -> None:
        self._client = client
        self._ask = {
            "input": self._client.read_input_registers,
            "holding": self._client.read_holding_registers,
            "coil": self._client.read_coils,
            "discrete": self._client.read_discrete_inputs,
        }

    @classmethod
    def over_tcp(cls, port: int) -> Self:
        return cls(AsyncModbusTcpClient("127.0.0.1", port=port))

    @classmethod
    def over_serial(cls, path: str) -> Self:
        return cls(AsyncModbusSerialClient(path, baudrate=19200, parity="N"))

    async def open(self) -> None:
        if not await self._client.connect():
            raise RuntimeError("the other side does not answer; look for its error above")

    async def read(self, reads: list[Request]) -> None:
        for request in reads:
            ask = self._ask[request.table]
            await ask(request.register, count=request.count, device_id=request.unit)

    async def write(self, coil: int, *, unit: int, on: bool) -> None:
        await self._client.write_coil(coil, on, device_id=unit)

    async def write_register(self, register: int, value: int, *, unit: int) -> None:
        await self._client.write_register(register, value, device_id=unit)

    def close(self) -> None:
        self._client.close()


class BareStore:
    """sqlite3 with the daemon's own tables and pragmas."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def commit(self, batch: Batch) -> None:
        run = self._connection
        run.execute("BEGIN IMMEDIATE")
        run.executemany("INSERT INTO frame VALUES (?, ?, ?, ?, ?, ?)", batch.frames)
        run.executemany("INSERT INTO event VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", batch.events)
        run.execute("COMMIT")


@contextmanager
def bare_store(path: Path) -> Iterator[BareStore]:
    """An empty store, closed at the end."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        migrate(connection)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        yield BareStore(connection)


async def bare_path(
    work: Work, modbus: BareModbus, store: BareStore, mqtt: aiomqtt.Client
) -> tuple[Cpu, Cpu]:
    """Do the same work; the CPU of all of it, and of the inserts in it."""
    batches = {batch.frames[-1][1]: batch for batch in work.batches}
    first_seq = work.batches[0].frames[0][1]
    with calls_timed(BareStore, "commit") as inserts, process_cpu() as whole:
        for place in range(work.frames):
            await modbus.read(work.reads)
            if (first_seq + place) in batches:
                store.commit(batches[first_seq + place])
            await _publish(mqtt, _share(work.messages, place, work.frames))
            await pause()
        await pause(REST_NS)
    return whole, inserts


def _share(messages: Pairs, place: int, frames: int) -> Pairs:
    """The messages of one frame, when all are spread evenly."""
    count = len(messages)
    return messages[place * count // frames : (place + 1) * count // frames]


async def _publish(mqtt: aiomqtt.Client, messages: Pairs) -> None:
    for topic, payload in messages:
        await mqtt.publish(topic, payload, qos=1, retain="/state" in topic or "/alarm/" in topic)


async def bare_reads(work: Work, modbus: BareModbus) -> Cpu:
    """The reads alone."""
    with process_cpu() as cpu:
        for _ in range(work.frames):
            await modbus.read(work.reads)
            await pause()
    return cpu


async def bare_publishes(messages: Pairs, mqtt: aiomqtt.Client) -> Cpu:
    """Messages alone, one at a time."""
    with process_cpu() as cpu:
        for message in messages:
            await _publish(mqtt, [message])
            await pause()
    return cpu


async def pauses_alone(count: int) -> Cpu:
    """What so many pauses cost; every part measured alone holds them."""
    with process_cpu() as cpu:
        for _ in range(count):
            await pause()
    return cpu

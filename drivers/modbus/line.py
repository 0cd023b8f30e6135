"""Whose turn it is on the socket, and when to connect again.

One question is on the wire at a time and waiters are served in order; the link
has one poll under way at most, so a write waits behind one read and no more. A
read that probes a silent unit gives way at once, as its wait would be long.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from drivers.base import Clock, DeviceClosed
from drivers.modbus.connection import Connection, GivenUp, NotConnected
from drivers.modbus.registers import PollSettings
from drivers.timing import NS_PER_S


class Line:
    """The connection of one link, made anew when needed.

    Attributes:
        connects: how often a connection was made.
        closed: `close` was called.
    """

    def __init__(
        self,
        name: str,
        settings: PollSettings,
        clock: Clock,
        connection: Callable[[], Connection],
    ) -> None:
        """Nothing is opened yet.

        Args:
            name: for messages.
            settings: how long to wait before another attempt.
            clock: now.
            connection: makes a new connection, not yet open.
        """
        self.connects = 0
        self.closed = False
        self._name = name
        self._settings = settings
        self._clock = clock
        self._new_connection = connection
        self._wire = asyncio.Lock()
        self._connection: Connection | None = None
        self._probe: Connection | None = None
        self._urgent_waiting = 0
        self._wait_s = 0.0
        self._not_before_ns = clock.now_ns()

    @property
    def usable(self) -> bool:
        """Connected, and in step with the other side."""
        return self._connection is not None and self._connection.usable

    @asynccontextmanager
    async def in_turn(self, *, probing: bool) -> AsyncIterator[Connection]:
        """The connection, for one read; one that probes gives way to writes.

        Raises:
            NotConnected: nobody there, or it is too soon to try again.
            GivenUp: a write goes first.
            DeviceClosed: the link was closed.
        """
        async with self._wire:
            if probing and self._urgent_waiting:
                raise GivenUp(f"link {self._name}: a write goes before a probe")
            if not self.usable and self._clock.now_ns() < self._not_before_ns:
                raise NotConnected(f"link {self._name}: not connected, waiting to try again")
            connection = await self._connected()
            self._probe = connection if probing else None
            try:
                yield connection
            finally:
                self._probe = None

    @asynccontextmanager
    async def urgent(self) -> AsyncIterator[Connection]:
        """The connection, for one write; tries to connect whenever it was lost.

        Raises:
            NotConnected: nobody there.
            DeviceClosed: the link was closed.
        """
        self._urgent_waiting += 1
        try:
            if self._probe is not None:
                self._probe.give_up()
            await self._wire.acquire()
        finally:
            self._urgent_waiting -= 1
        try:
            yield await self._connected()
        finally:
            self._wire.release()

    async def drop(self) -> None:
        """Let the connection go, after the question under way; the next one makes another."""
        async with self._wire:
            self._let_go()

    async def close(self) -> None:
        """Close for good; a question under way ends at once with `GivenUp`."""
        self.closed = True
        if self._connection is not None:
            self._connection.give_up()
        await self.drop()

    def check_open(self) -> None:
        """Refuse use after `close`.

        Raises:
            DeviceClosed: the link was closed.
        """
        if self.closed:
            raise DeviceClosed(f"link {self._name} was closed; open a new one")

    async def _connected(self) -> Connection:
        self.check_open()
        if self._connection is not None and self._connection.usable:
            return self._connection
        self._let_go()
        # Never re-used: the end of an old socket, told late, must not close a new one.
        self._connection = self._new_connection()
        try:
            await self._connection.open()
        except NotConnected:
            self._wait_longer()
            raise
        self.check_open()
        self.connects += 1
        self._wait_s = 0.0
        return self._connection

    def _wait_longer(self) -> None:
        settings = self._settings
        self._not_before_ns = self._clock.now_ns() + round(self._wait_s * NS_PER_S)
        self._wait_s = min(max(2 * self._wait_s, settings.period_s), settings.reconnect_s_max)

    def _let_go(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None

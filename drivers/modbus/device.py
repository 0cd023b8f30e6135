"""The link: polls on a fixed grid, writes at once, and lets go of what nobody renews.

Of the units that keep silent at most one is waited for per poll, in turn, until
it answers; one that has just fallen silent comes before those asked again in
vain, so that a single lost answer costs the same however many others are dead.
A connection on which a whole poll heard nothing is dropped and made
anew, as a server that lost its power does not say so. An output stays on only
while its token is renewed, the communication time-out of its module stands, and
it moves, each where that is asked for; see `watchdogs` and `toggling`.
"""

import asyncio
from collections import Counter
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, Mapping
from contextlib import asynccontextmanager, suppress

from drivers.base import BadReply, Clock, DeviceClosed, Link, LinkStatistics, Sample
from drivers.holding import Holding
from drivers.modbus import codec
from drivers.modbus.connection import (
    Connection,
    ExchangeError,
    GivenUp,
    NoReply,
    NotAsked,
    NotConnected,
)
from drivers.modbus.line import Line
from drivers.modbus.registers import (
    OutputSettings,
    PointSettings,
    PollSettings,
    RtuSettings,
    TcpSettings,
)
from drivers.modbus.rtu import RtuConnection
from drivers.modbus.rtu_bus import Bus
from drivers.modbus.tcp import TcpConnection
from drivers.modbus.toggling import Toggle
from drivers.modbus.watchdogs import Watchdogs
from drivers.timing import NS_PER_S, next_due_ns


def open_link(
    name: str,
    settings: PollSettings,
    points: Mapping[str, PointSettings],
    outputs: Mapping[str, OutputSettings],
    clock: Clock,
) -> Link:
    """A link to one Modbus TCP server or one serial bus; connects when it is first used.

    Args:
        name: for messages and statistics.
        settings: how it is reached: `TcpSettings` or `RtuSettings`.
        points: what to read, by name.
        outputs: what may be written, by name; each is also read back as a
            point of that name.
        clock: now, and how to wait.

    Returns:
        The link; close it when done.

    Raises:
        ValueError: a name is both a point and an output.
    """
    return ModbusLink(name, settings, points, outputs, clock)


class ModbusLink:
    """Implements `drivers.base.Link`; made by `open_link`."""

    def __init__(
        self,
        name: str,
        settings: PollSettings,
        points: Mapping[str, PointSettings],
        outputs: Mapping[str, OutputSettings],
        clock: Clock,
    ) -> None:
        doubled = sorted(points.keys() & outputs.keys())
        if doubled:
            raise ValueError(
                f"link {name}: {', '.join(doubled)} named as a point and as an output; remove the "
                "point, an output is read back anyway"
            )
        self.name = name
        self._settings = settings
        self._outputs = dict(outputs)
        self._clock = clock
        self._points = dict(points) | codec.read_backs(outputs)
        self._watchdogs = Watchdogs(settings, clock)
        self._plan = _with_watchdogs(codec.plan(self._points), self._watchdogs.requests)
        opened_ns = clock.now_ns()
        self._samples = {key: Sample(None, "bad", "never_read", opened_ns) for key in self._points}
        tokens = {key: output.token for key, output in outputs.items()}
        self._holding = Holding(tokens, settings.hold_s, clock)
        self._toggles = {
            key: Toggle(settings.period_s) for key, output in outputs.items() if output.toggled
        }
        self._silent: dict[int, str] = {}  # unit: reason, the next to be asked first
        self._line = Line(name, settings, clock, connections_to(settings, clock))
        self._polling = asyncio.Lock()  # so that a write waits behind one read at most
        self._heard = False
        self._unconnected = ""  # why, in the words of the first attempt
        self._counts: Counter[str] = Counter()

    async def run(self) -> None:
        """Poll for ever, connecting and reconnecting; leaves when cancelled.

        Raises:
            DeviceClosed: the link was closed before.
        """
        self._line.check_open()
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._every_period(self._poll), name=f"{self.name} poll")
            # Apart, so that slow polling never keeps an output on.
            tasks.create_task(self._every_period(self._let_go), name=f"{self.name} let go")

    async def poll_once(self) -> None:
        """Read every point once, silent units too; writes nothing.

        Raises:
            DeviceClosed: the link was closed.
        """
        async with self._cycle():
            for unit in self._plan:
                await self._read_unit(unit)

    def snapshot(self) -> Mapping[str, Sample]:
        """The newest sample by point name; after `close` all are bad."""
        return dict(self._samples)

    async def write(self, point: str, *, on: bool) -> None:
        """Write one output now, before any queued read, and check the echo; once.

        A toggled output begins to move; one that moves already is left to it.

        Raises:
            LinkDown: no connection, or no answer; the output may be either way.
            BadReply: the module refused or answered something else; or an output
                was to be switched on whose module's time-out does not stand.
            DeviceClosed: the link was closed.
            KeyError: no such output.
        """
        output = self._outputs[point]
        toggle = self._toggles.get(point)
        if toggle is not None:
            toggle.check(self._clock.now_ns())
            if on and toggle.active:
                return
        self._counts["writes"] += 1
        try:
            await (self._switch_on(point) if on else self._switch_off(point))
        except ExchangeError as trouble:
            self._write_failed(output.unit, trouble)
            raise
        self._heard = True
        self._silent.pop(output.unit, None)

    def renew(self, token: str) -> None:
        """Say that the owner of `token` is alive; one unknown here does nothing."""
        self._holding.renew(token)

    def remarks(self) -> list[str]:
        """What samples cannot say: why there is no connection, time-outs that do not stand."""
        return [f"link {self.name}: {self._unconnected}"] * bool(
            self._unconnected
        ) + self._watchdogs.remarks()

    def statistics(self) -> LinkStatistics:
        """Counts since opening."""
        return LinkStatistics(reconnects=max(0, self._line.connects - 1), **self._counts)

    async def close(self) -> None:
        """Close the socket, write nothing; twice is no error."""
        await self._line.close()
        self._fail(self._all_requests(), "link_down")

    async def _every_period(self, do: Callable[[], Awaitable[None]]) -> None:
        period_ns = round(self._settings.period_s * NS_PER_S)
        due_ns = self._clock.now_ns()
        with suppress(DeviceClosed):  # closing ends `run`; it is not the poll's failure
            while not self._line.closed:
                await self._clock.sleep_until(due_ns)
                await do()
                due_ns = next_due_ns(due_ns, period_ns, self._clock.now_ns())

    async def _poll(self) -> None:
        async with self._cycle():
            for unit in self._plan:
                if unit not in self._silent and await self._read_unit(unit) is None:
                    await self._set_watchdog(unit)
            await self._move_toggled()
            await self._probe_silent()

    async def _let_go(self) -> None:
        stale = [point for point in self._holding.held() if not self._may_stay_on(point)]
        # What fails is counted and tried again next period; the read-back tells the rig.
        for point in sorted(stale, key=self._is_silent):
            try:
                await self.write(point, on=False)
            except NoReply:
                # One time-out a period at most; another goes first next time.
                self._holding.last(point)
                return
            except ExchangeError:
                continue

    def _may_stay_on(self, point: str) -> bool:
        toggle = self._toggles.get(point)
        if toggle is not None:
            toggle.check(self._clock.now_ns())
        moves = toggle is None or toggle.active
        output = self._outputs[point]
        safe = not output.guarded or not self._watchdogs.lost(output.unit)
        return moves and safe and self._holding.alive(point)

    def _is_silent(self, point: str) -> bool:
        return self._outputs[point].unit in self._silent

    @asynccontextmanager
    async def _cycle(self) -> AsyncIterator[None]:
        async with self._polling:
            self._line.check_open()
            self._counts["polls"] += 1
            self._heard = False
            try:
                yield
            except NotConnected as trouble:
                self._counts["failures"] += 1
                self._unconnected = self._unconnected or str(trouble)
                self._fail(self._all_requests(), trouble.reason)
                return
            self._unconnected = ""
            if not self._heard:
                await self._line.drop()

    async def _probe_silent(self) -> None:
        for unit, reason in self._silent.items():
            self._fail(self._plan[unit], reason)
        for unit in tuple(self._silent):
            trouble = await self._read_unit(unit, probing=True)
            if trouble is None:
                await self._set_watchdog(unit)
            elif not isinstance(trouble, NotAsked):  # which took no time
                return

    async def _read_unit(self, unit: int, *, probing: bool = False) -> ExchangeError | None:
        """Read all of one unit; why it is, or stays, among the silent, or None."""
        requests = self._plan[unit]
        for place, request in enumerate(requests):
            try:
                found = await self._ask(request, probing=probing)
            except NotConnected:
                raise
            except GivenUp as trouble:
                self._silent[unit] = self._silent.pop(unit, NoReply.reason)
                return trouble
            except ExchangeError as trouble:
                if self._costly(trouble):
                    self._fail(requests[place:], trouble.reason)
                    self._set_aside(unit, trouble)
                    return trouble
                self._fail((request,), trouble.reason)
            else:
                self._keep(request, found)
        self._silent.pop(unit, None)
        return None

    def _set_aside(self, unit: int, trouble: ExchangeError) -> None:
        """Put a unit among the silent: a new one first, one asked again in vain last."""
        if unit not in self._silent:
            self._silent = {unit: trouble.reason} | self._silent
            return
        if not isinstance(trouble, NotAsked):
            del self._silent[unit]
        self._silent[unit] = trouble.reason

    def _costly(self, trouble: ExchangeError) -> bool:
        """Whether asking such a unit again costs a time-out or the connection."""
        return isinstance(trouble, NoReply) or not self._line.usable

    async def _switch_on(self, point: str) -> None:
        output, toggle = self._outputs[point], self._toggles.get(point)
        async with self._line.urgent() as connection:
            if output.guarded and not self._watchdogs.stands(output.unit):
                self._counts["write_failures"] += 1
                remark = self._watchdogs.remark(output.unit)
                raise BadReply(f"link {self.name}: {point} was not switched on: {remark}")
            # Before the echo: it may get lost when the coil has closed.
            self._holding.on(point)
            if toggle is not None:  # so that the next is an edge, however the coil was left
                await connection.write(output, on=False)
            await connection.write(output, on=True)
            if toggle is not None:
                toggle.start(self._clock.now_ns())

    async def _switch_off(self, point: str) -> None:
        output, toggle = self._outputs[point], self._toggles.get(point)
        if toggle is not None:
            toggle.stop()
        async with self._line.urgent() as connection:
            if toggle is not None:  # again: one that was being switched on meanwhile
                toggle.stop()
            await connection.write(output, on=False)
        self._holding.off(point)

    async def _move_toggled(self) -> None:
        """Write the next edge of every output that moves and was read since the last."""
        for point, toggle in self._toggles.items():
            if not self._may_stay_on(point):
                toggle.stop()
            if not (toggle.active and toggle.due):
                continue
            output = self._outputs[point]
            try:
                async with self._line.in_turn(probing=False) as connection:
                    if toggle.active:  # still, after the wait for its turn
                        self._counts["writes"] += 1
                        await connection.write(output, on=toggle.next_edge())
            except NotConnected:
                raise
            except ExchangeError as trouble:
                self._write_failed(output.unit, trouble)

    async def _set_watchdog(self, unit: int) -> None:
        """Set a module's time-out if it reads wrong, and read the module back."""
        counts = self._watchdogs.counts_to_set(unit)
        if counts is None:
            return
        register = self._watchdogs.requests[unit].register
        try:
            async with self._line.in_turn(probing=False) as connection:
                self._counts["writes"] += 1
                await connection.write_register(unit, register, counts)
        except NotConnected:
            raise
        except ExchangeError as trouble:
            self._write_failed(unit, trouble)
            self._watchdogs.not_set(unit, str(trouble))
        else:
            await self._read_unit(unit)

    def _write_failed(self, unit: int, trouble: ExchangeError) -> None:
        self._counts["write_failures"] += 1
        self._heard |= isinstance(trouble, BadReply)
        if isinstance(trouble, NoReply):
            if unit not in self._silent:
                self._set_aside(unit, trouble)
            self._watchdogs.silent(unit)

    async def _ask(self, request: codec.Request, *, probing: bool) -> tuple[int, ...]:
        async with self._line.in_turn(probing=probing) as connection:
            self._counts["requests"] += 1
            try:
                found = await connection.read(request)
            except ExchangeError as trouble:
                self._counts["failures"] += 1
                self._heard |= isinstance(trouble, BadReply)
                raise
            self._heard = True
            return found

    def _keep(self, request: codec.Request, found: tuple[int, ...]) -> None:
        now_ns = self._clock.now_ns()
        self._watchdogs.read(request, found)
        for member in request.members:
            raw = found[member.start : member.start + member.width]
            decoded = codec.decode(self._points[member.name], raw)
            quality = "bad" if decoded.reason else "good"
            if member.name in self._outputs and decoded.value:
                # Whoever closed it, even before a restart: its owner must be alive.
                self._holding.on(member.name)
            value = decoded.value
            if member.name in self._toggles:
                value = float(self._toggles[member.name].read(now_ns, on=bool(value)))
            self._samples[member.name] = Sample(value, quality, decoded.reason, now_ns, raw)

    def _fail(self, requests: Iterable[codec.Request], reason: str) -> None:
        for request in requests:
            self._watchdogs.not_read(request, reason)
            for member in request.members:
                at_ns = self._samples[member.name].at_ns
                self._samples[member.name] = Sample(None, "bad", reason, at_ns)

    def _all_requests(self) -> Iterable[codec.Request]:
        return (request for requests in self._plan.values() for request in requests)


def _with_watchdogs(
    plan: Mapping[int, tuple[codec.Request, ...]], watchdogs: Mapping[int, codec.Request]
) -> dict[int, tuple[codec.Request, ...]]:
    """The plan with each time-out before the rest of its module."""
    own = {unit: (request,) for unit, request in watchdogs.items()}
    units = sorted(plan.keys() | own.keys())
    return {unit: (*own.get(unit, ()), *plan.get(unit, ())) for unit in units}


def connections_to(settings: PollSettings, clock: Clock) -> Callable[[], Connection]:
    """What makes a new connection of the kind the settings name, not yet open.

    Raises:
        TypeError: they name none.
    """
    match settings:
        case TcpSettings():
            return lambda: TcpConnection(settings)
        case RtuSettings():
            # One for all of them: who may still answer does not end with the port.
            bus = Bus(settings.late_s, clock)
            return lambda: RtuConnection(settings, bus)
    raise TypeError(f"{type(settings).__name__}: no wire; give TcpSettings or RtuSettings")

"""The daemon: links, rigs, store, broker and socket, started and stopped together."""

import asyncio
import signal
from collections.abc import Awaitable, Callable, Mapping
from contextlib import suppress

import structlog

from daemon import service
from daemon.clock import NS_PER_S, LockstepClock, RealClock, SiteClock
from daemon.config import Config
from daemon.control import ControlServer
from daemon.health import HealthWatch
from daemon.notify.compose import DEST
from daemon.notify.messages import StateMessage
from daemon.notify.mqtt import MqttLink
from daemon.rig import RigTask
from daemon.store.store import Store
from drivers.base import Link
from rules.events import CommandAnswered
from rules.frame import Command, Health

log = structlog.get_logger()

GOODBYE_S = 3.0
RESTART_S = 2.0
READY_S_MAX = 15.0
CANCELS_MAX = 3
CANCEL_S = 2.0


class Supervisor:
    """Everything of one daemon.

    Attributes:
        rigs: by name.
        links: by name.
    """

    def __init__(self, config: Config, store: Store, clock: SiteClock) -> None:
        """Build every part; nothing runs yet.

        Args:
            config: the configuration.
            store: open, ours alone.
            clock: the rigs' time.
        """
        self._config = config
        self._store = store
        self._clock = clock
        self._machine_clock = RealClock()
        self.links: Mapping[str, Link] = config.open_links(clock)
        self.rigs = {
            rig.name: RigTask(
                config.site,
                rig,
                self.links,
                store,
                clock,
                self._tell,
                health=self._health,
            )
            for rig in config.rigs
        }
        self._mqtt = self._make_mqtt()
        self._watch = HealthWatch(
            store,
            None if self._mqtt is None else self._broker_ok,
            {} if config.mqtt is None else {DEST: config.mqtt.late_after_s},
            clock,
            self._machine_clock,
        )
        self._control = ControlServer(
            config.control.socket, self._states, self._submit, self._machine_clock
        )
        store.on_durable = self._durable
        store.on_unstored = self._mqtt.offer_unstored if self._mqtt else None

    async def run(self, stop: asyncio.Event) -> None:
        """Supervise until `stop`, then take heat away, flush, and say goodbye."""
        async with asyncio.TaskGroup() as group:
            lower = [
                group.create_task(self._guarded(f"link {name}", link.run), name=f"link {name}")
                for name, link in self.links.items()
            ]
            lower += [
                group.create_task(
                    self._guarded(f"outputs {name}", rig.outputs.run), name=f"outputs {name}"
                )
                for name, rig in self.rigs.items()
            ]
            rigs = [
                group.create_task(rig.run(), name=f"rig {name}") for name, rig in self.rigs.items()
            ]
            talk = [group.create_task(self._guarded("control", self._control.run), name="control")]
            if self._mqtt is not None:
                talk.append(group.create_task(self._guarded("mqtt", self._mqtt.run), name="mqtt"))
            talk.append(group.create_task(self._guarded("health", self._watch.run), name="health"))
            talk.append(group.create_task(self._feed_watchdog()))
            await self._say_ready(stop)
            await stop.wait()
            service.stopping()
            log.info("daemon.stopping")
            await _cancelled(rigs)
            await self._goodbye()
            await _cancelled([*talk, *lower])
        for link in self.links.values():
            await link.close()

    async def _goodbye(self) -> None:
        """Heat away, records flushed, the last state shown."""
        off = await asyncio.gather(*(rig.outputs.all_off(GOODBYE_S) for rig in self.rigs.values()))
        for name, done in zip(self.rigs, off, strict=True):
            if not done:
                log.error("daemon.outputs_left", rig=name)
        with suppress(Exception):  # the store logs its own failures and keeps trying in close()
            await self._store.flush()
        if self._mqtt is not None:
            await self._mqtt.finish(GOODBYE_S)

    async def _guarded(self, part: str, run: Callable[[], Awaitable[None]]) -> None:
        """Run one part for ever; its fault is logged and it starts again."""
        while True:
            try:
                await run()
            except Exception as error:  # the boundary of a part that must not take others along
                log.exception("daemon.part_failed", part=part, error=repr(error))
            wait_ns = int(RESTART_S * NS_PER_S)
            await self._machine_clock.sleep_until(self._machine_clock.now_ns() + wait_ns)

    async def _say_ready(self, stop: asyncio.Event) -> None:
        judged = [rig.judged.wait() for rig in self.rigs.values()]
        first = asyncio.gather(*judged)
        stopped = asyncio.ensure_future(stop.wait())
        await asyncio.wait(
            (first, stopped), timeout=READY_S_MAX, return_when=asyncio.FIRST_COMPLETED
        )
        for waiting in (first, stopped):
            waiting.cancel()
            with suppress(asyncio.CancelledError):
                await waiting
        service.ready()
        log.info("daemon.ready", rigs=len(self.rigs), links=len(self.links))

    async def _feed_watchdog(self) -> None:
        period_s = service.watchdog_period_s()
        clock = self._machine_clock
        while period_s is not None:
            service.alive()
            await clock.sleep_until(clock.now_ns() + int(period_s * NS_PER_S))

    def _make_mqtt(self) -> MqttLink | None:
        if self._config.mqtt is None:
            return None
        return MqttLink(
            self._config.mqtt,
            self._config.site,
            list(self.rigs),
            self._store,
            self._machine_clock,
            self._submit,
        )

    def _broker_ok(self) -> bool:
        return self._mqtt is not None and self._mqtt.broker_ok

    def _health(self) -> Health:
        return self._watch.now()

    def _states(self) -> list[StateMessage]:
        return [rig.latest for rig in self.rigs.values() if rig.latest is not None]

    async def _submit(self, rig: str, command: Command) -> CommandAnswered:
        return await self.rigs[rig].submit(command)

    def _durable(self, rig: str, seq: int) -> None:
        self.rigs[rig].durable(seq)

    def _tell(self, state: StateMessage, events: tuple[dict[str, object], ...]) -> None:
        if self._mqtt is not None:
            self._mqtt.publish_state(state)
        for event in events:
            self._control.broadcast({"rig": state.rig, "at": state.at, **event})
        self._control.broadcast({"state": state.model_dump(mode="json")})


async def supervise(config: Config) -> None:
    """Run the daemon until SIGTERM, SIGINT or the end of a pretend plant's story.

    Args:
        config: checked.

    Raises:
        StoreError: the store cannot be opened, or another daemon holds it.
        ConnectionError: a pretend plant was configured and does not answer.
    """
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for name in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(name, stop.set)
    config.store.path.parent.mkdir(parents=True, exist_ok=True)
    store = await Store.open(
        config.store.path,
        outbox_rows_max=config.store.outbox_rows_max,
        waiting_frames_max=config.store.waiting_frames_max,
    )
    try:
        if config.pretend is None:
            await Supervisor(config, store, RealClock()).run(stop)
        else:
            await _pretend(config, store, stop)
    finally:
        await store.close()
        for name in (signal.SIGTERM, signal.SIGINT):
            loop.remove_signal_handler(name)
            # All is off and stored: a second signal must not make this end look like a crash.
            signal.signal(name, signal.SIG_IGN)
        log.info("daemon.stopped")


async def _pretend(config: Config, store: Store, stop: asyncio.Event) -> None:
    """Supervise at the pace of a pretend plant, until its story is over."""
    assert config.pretend is not None  # noqa: S101  # the caller looked
    clock = LockstepClock(config.pretend.host, config.pretend.port)
    await clock.open()
    clock.settled = store.settled
    clock.parties = len(config.links) + len(config.rigs)
    log.warning("daemon.pretend", host=config.pretend.host, port=config.pretend.port)
    pace = asyncio.create_task(clock.run())
    over = asyncio.create_task(_when_over(clock, stop))
    try:
        await Supervisor(config, store, clock).run(stop)
    finally:
        await _cancelled([pace, over])
        clock.close()


async def _when_over(clock: LockstepClock, stop: asyncio.Event) -> None:
    await clock.over.wait()
    stop.set()


async def _cancelled(tasks: list["asyncio.Task[None]"]) -> None:
    """Cancel and wait; again where a library lost the first cancellation."""
    left = set(tasks)
    for _ in range(CANCELS_MAX):
        for task in left:
            task.cancel()
        if left:
            _, left = await asyncio.wait(left, timeout=CANCEL_S)
    if left:
        log.error("daemon.parts_left", parts=sorted(task.get_name() for task in left))

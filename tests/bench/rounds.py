"""CPU per frame: the whole path and its parts, in turn with the bare libraries."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass, field
from time import perf_counter

import aiomqtt

from daemon.clock import RealClock
from daemon.notify.messages import StateMessage
from daemon.notify.mqtt import MqttLink
from daemon.replay import fold_run
from daemon.store.reader import StoreReader
from drivers.base import Link
from rules.step import step
from tests.bench import bare, channels
from tests.bench.figures import Row, share_of_path, to_bare
from tests.bench.meter import Cpu, pause, process_cpu
from tests.bench.path import LINK, RIG, SupervisedPath, supervised
from tests.e2e.mqtt_link import MemoryOutbox, Rig, until
from tests.e2e.workshop import Workshop

STEP_US_AIM = 120
ROUND_MS = 45  # for each frame, about, for the progress bar


@dataclass
class Series:
    """Values of all rounds by name; us for a frame or a message."""

    values: dict[str, list[float]] = field(default_factory=dict)

    def add(self, **round_values: float) -> None:
        for name, value in round_values.items():
            self.values.setdefault(name, []).append(value)

    def __getitem__(self, name: str) -> list[float]:
        return self.values[name]


@dataclass(frozen=True)
class Stand:
    """All that takes turns: the path, its parts alone, the bare libraries."""

    path: SupervisedPath
    link: Link
    mqtt: MqttLink
    bare_modbus: bare.BareModbus
    bare_store: bare.BareStore
    bare_mqtt: aiomqtt.Client


@asynccontextmanager
async def standing(workshop: Workshop) -> AsyncIterator[Stand]:
    """Everything running; ended after."""
    async with AsyncExitStack() as ends:
        path = await ends.enter_async_context(supervised(workshop))
        config, clock = path.config, RealClock()
        link = config.open_links(clock)[LINK]
        ends.push_async_callback(link.close)
        modbus = bare.BareModbus.over_tcp(workshop.modbus_port)
        ends.callback(modbus.close)
        await modbus.open()
        assert config.mqtt is not None
        settings = config.mqtt.model_copy(update={"client_id": "alone"})
        mqtt = MqttLink(settings, config.site, (RIG,), MemoryOutbox(), clock, Rig().submit)
        await ends.enter_async_context(_running(mqtt))
        yield Stand(
            path,
            link,
            mqtt,
            modbus,
            ends.enter_context(bare.bare_store(workshop.home / "bare.db")),
            await ends.enter_async_context(workshop.broker.client("curehold")),
        )


@asynccontextmanager
async def _running(mqtt: MqttLink) -> AsyncIterator[None]:
    task = asyncio.create_task(mqtt.run())
    try:
        await until(lambda: mqtt.broker_ok)
        yield
    finally:
        task.cancel()
        await asyncio.wait([task])


async def one_round(stand: Stand, frames: int, series: Series) -> None:
    """Every figure once."""
    cpu, work = await stand.path.measured(frames)
    floor, inserts = await bare.bare_path(
        work, stand.bare_modbus, stand.bare_store, stand.bare_mqtt
    )
    idle_us = (await bare.pauses_alone(frames)).us_each(frames)
    polls = await _polls_alone(stand.link, frames)
    reads = await bare.bare_reads(work, stand.bare_modbus)
    states = [pair for pair in work.messages if pair[0].endswith("/state")]
    shows = await _shows_alone(stand.mqtt, [payload for _, payload in states])
    publishes = await bare.bare_publishes(states, stand.bare_mqtt)
    series.add(
        path=cpu.whole.us_each(frames),
        bare_path=floor.us_each(frames),
        link=polls.us_each(frames) - idle_us,
        bare_link=reads.us_each(frames) - idle_us,
        store=cpu.store.us_each(frames),
        bare_store=inserts.us_each(frames),
        state=shows.us_each(len(states)) - idle_us,
        bare_state=publishes.us_each(len(states)) - idle_us,
        step=cpu.step.us_each(frames),
        codec=cpu.codec.us_each(frames),
    )


async def _polls_alone(link: Link, frames: int) -> Cpu:
    with process_cpu() as cpu:
        for _ in range(frames):
            await link.poll_once()
            await pause()
    return cpu


async def _shows_alone(mqtt: MqttLink, payloads: list[bytes]) -> Cpu:
    messages = [StateMessage.model_validate_json(payload) for payload in payloads]
    with process_cpu() as cpu:
        for message in messages:
            mqtt.publish_state(message)
            await pause()
            # A busy broker may take longer; the next state would replace this one.
            while mqtt._unsent or (mqtt._client and mqtt._client._answers):
                await pause()
    return cpu


@dataclass(frozen=True)
class Replayed:
    """The stored run, judged again.

    Attributes:
        frames_per_s: reading and judging together.
        times_real_time: how much faster than the repair itself.
        step_us: of the newest frames, judging alone, back to back; each.
    """

    frames_per_s: float
    times_real_time: float
    step_us: float


def replayed(path: SupervisedPath, newest: int) -> Replayed:
    """Judge the stored run again, all of it, then its `newest` frames once more."""
    reader = StoreReader(path.config.store.path)
    began_s = perf_counter()
    folded = list(fold_run(reader, 1))
    took_s = perf_counter() - began_s
    frames = [item.frame for item in folded[-newest:]]
    state, limits = folded[-newest - 1].state, path.config.rigs[0].limits
    with process_cpu() as cpu:
        for frame in frames:
            state, _ = step(limits, state, frame)
    return Replayed(len(folded) / took_s, folded[-1].t_s / took_s, cpu.us_each(newest))


async def measured(
    workshop: Workshop, rounds: int, frames: int, before: int, tell: Callable[[int], None]
) -> list[Row]:
    """CPU and replay rows.

    Args:
        workshop: with its plant at the start of a repair.
        rounds: how often everything is measured.
        frames: in each round.
        before: frames that go by unmeasured first.
        tell: called with about how long what is now done takes, ms.
    """
    series = Series()
    async with standing(workshop) as stand:
        await stand.path.go_on(before, tell)
        for _ in range(rounds):
            await one_round(stand, frames, series)
            again = replayed(stand.path, frames)
            series.add(
                frames_per_s=again.frames_per_s,
                times_real_time=again.times_real_time,
                step_warm=again.step_us,
                plain=channels.plain_us(frames),
                thermocouple=channels.thermocouple_us(frames),
                its90=channels.library_us(frames),
            )
            tell(ROUND_MS * frames)
    return _rows(series)


def _rows(series: Series) -> list[Row]:
    return [
        to_bare(
            "CPU per frame, whole path",
            "us",
            series["path"],
            series["bare_path"],
            "one rig, a frame a second: reads, rules, store, messages, outputs, control socket",
        ),
        to_bare("  Modbus reads, alone", "us", series["link"], series["bare_link"]),
        to_bare(
            "  store, within",
            "us",
            series["store"],
            series["bare_store"],
            "encode, append, chain and commit against executemany of the same rows",
        ),
        to_bare("  a state over MQTT, alone", "us", series["state"], series["bare_state"]),
        share_of_path(
            "  rules.step, within",
            series["step"],
            series["path"],
            "where it is really called: after a wait, with cold caches",
        ),
        share_of_path(
            "  rules.step, back to back",
            series["step_warm"],
            series["path"],
            f"the same frames, nothing between them; aim under {STEP_US_AIM} us",
        ),
        share_of_path("  frame codec, within", series["codec"], series["path"]),
        share_of_path(
            "  a plain channel, back to back",
            series["plain"],
            series["path"],
            "no sensor, condition or correction; one channel of the many in a frame",
        ),
        share_of_path(
            "  a thermocouple, back to back",
            series["thermocouple"],
            series["path"],
            "type K with its cold junction, one channel; bare: the library's sum alone",
            bare_us=series["its90"],
        ),
        Row(
            "replay of a stored run",
            "fr/s",
            series["frames_per_s"],
            None,
            series["times_real_time"],
            "real time",
            "frames a second; the ratio is how much faster than the repair itself",
        ),
    ]

"""A rig in the middle of a cure, part of whose channels come over a real wire.

The other channels, and the relay, are well and on other wires.
"""

import asyncio
import math
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from itertools import takewhile
from pathlib import Path

from daemon.frames import reading_of
from drivers.base import Sample
from rules.events import AlarmChanged, PermitChanged
from rules.frame import Frame
from tests.contract.jumping import JumpingLoop
from tests.contract.stands import Stand
from tests.unit.story import Story, story_in
from tests.virtual_clock import NS_PER_S, VirtualClock

WATCHED_S = 25
SETTLED_S = 5  # by then no link still shows what came before the trouble
HEALED_S_MAX = 20
STAYS_S = 4  # good for so long is good again
TIMEOUT_S = 0.3  # a busy computer must not be taken for a module that keeps silent
MOMENT_S = 0.02
UNPLUGGED = "unplugged, then plugged in again"


@dataclass
class WiredStory(Story):
    """A story whose frames hold what a link reads.

    Attributes:
        stand: the link and its other side.
        noted: what it read, frame by frame.
    """

    stand: Stand | None = None
    noted: list[dict[str, Sample]] = field(default_factory=list)

    def frame(self) -> Frame:
        """The next frame, with the link's newest samples."""
        assert self.stand is not None
        found = self.stand.link.snapshot()
        samples = {name: found[name] for name in self.stand.truth}
        self.noted.append(samples)
        frame = super().frame()
        readings = {name: reading_of(sample) for name, sample in samples.items()}
        return replace(frame, values={**frame.values, **readings})


@dataclass(frozen=True, slots=True)
class Seen:
    """What a trouble on a wire did to a cure; times in s, None: not at all.

    Attributes:
        kind: of link.
        done: to the wire.
        reasons: of the readings from `SETTLED_S` on, the good ones' last; empty: good.
        wrong: values read that were not true.
        warned: tag of the first alarm.
        warned_s: from the trouble to it.
        cut: tag of the trip that took the heat away, or the permit's own reason.
        cut_s: from the trouble to it.
        good_s: from its end to readings that are good and stay so; infinite: they never were.
    """

    kind: str
    done: str
    reasons: tuple[str, ...]
    wrong: tuple[float, ...]
    warned: str
    warned_s: int | None
    cut: str
    cut_s: int | None
    good_s: float


def seen(kind: type[Stand], done: str) -> Seen:
    """Make one trouble happen to a cure, and heal it again."""
    with asyncio.Runner(loop_factory=None if kind.threads else JumpingLoop) as runner:
        return runner.run(_seen(kind, done))


async def _seen(kind: type[Stand], done: str) -> Seen:
    told = story_in("cure", 1.0)
    with tempfile.TemporaryDirectory() as folder:
        clock = VirtualClock(round((told.t_s - kind.heals_s) * NS_PER_S))
        stand = kind(Path(folder), clock)
        stand.timeout_s, stand.moment_s = TIMEOUT_S, MOMENT_S
        await stand.start()
        known = {item.name: getattr(told, item.name) for item in fields(Story)}
        rig = WiredStory(**known, stand=stand)
        async with stand.running():
            for _ in range(kind.heals_s):
                await clock.advance(1.0)
                await stand.rest()
            found = await _told(rig, stand, done)
        await stand.stop()
    return found


async def _told(rig: WiredStory, stand: Stand, done: str) -> Seen:
    rig.tick()
    assert not rig.told, f"{stand.kind}: not well at the beginning: {rig.told}"
    assert (rig.phase, rig.permit) == ("cure", "granted")
    began_s = rig.t_s - rig.period_s
    rig.noted.clear()
    await _go_wrong(stand, done)
    while rig.permit == "granted" and len(rig.noted) < WATCHED_S:
        await _second(rig, stand)
    troubled = list(rig.noted)
    rig.noted.clear()
    await _heal(stand, done)
    while _good_for(rig.noted) < STAYS_S and len(rig.noted) < HEALED_S_MAX:
        await _second(rig, stand)
    good_for = _good_for(rig.noted)
    alarms = [(t_s, event) for t_s, event in rig.told if isinstance(event, AlarmChanged)]
    cuts = [(t_s, event) for t_s, event in rig.told if isinstance(event, PermitChanged)]
    warned_s, warned = alarms[0] if alarms else (None, None)
    cut_s, cut = cuts[0] if cuts else (None, None)
    return Seen(
        kind=stand.kind,
        done=done,
        reasons=tuple(sorted(set(_reasons(troubled[SETTLED_S:])), reverse=True)),
        wrong=tuple(_wrong(stand, (*troubled, *rig.noted))),
        warned=warned.tag if warned else "",
        warned_s=None if warned_s is None else round(warned_s - began_s),
        cut=(cut.tag or cut.why) if cut else "",
        cut_s=None if cut_s is None else round(cut_s - began_s),
        good_s=1 + len(rig.noted) - good_for if good_for == STAYS_S else math.inf,
    )


async def _go_wrong(stand: Stand, done: str) -> None:
    if done == UNPLUGGED:
        await stand.unplug()
    else:
        stand.misbehave(done)


async def _heal(stand: Stand, done: str) -> None:
    if done == UNPLUGGED:
        await stand.replug()
    else:
        stand.well()
        await stand.rest()


async def _second(rig: WiredStory, stand: Stand) -> None:
    """One frame, a second after the last."""
    await stand.clock.advance(rig.period_s / 2)
    stand.tell(stand.truth)  # measured again, and the same
    await stand.clock.advance(rig.period_s / 2)
    await stand.rest()
    rig.tick()


def _reasons(noted: Iterable[Mapping[str, Sample]]) -> Iterator[str]:
    return (sample.reason for samples in noted for sample in samples.values())


def _wrong(stand: Stand, noted: Iterable[Mapping[str, Sample]]) -> Iterator[float]:
    for samples in noted:
        for name, sample in samples.items():
            if sample.value is not None and round(sample.value, 6) != stand.truth[name]:
                yield sample.value


def _good_for(noted: Sequence[Mapping[str, Sample]]) -> int:
    """For how many frames, up to the last, all has been good."""
    return len(list(takewhile(lambda samples: not any(_reasons([samples])), reversed(noted))))

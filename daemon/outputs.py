"""One rig's outputs: energy is taken away at once, and given only after the commit.

The link writes; this decides what to write when. Nothing here closes a relay
again that opened by itself: that is switching heat on, and the rules' business.
"""

import asyncio
from collections.abc import Mapping

import structlog

from daemon.clock import SiteClock
from drivers.base import DriverError, Link
from rules.events import Horn, Outputs

log = structlog.get_logger()

PERMIT = "heat_permit"
# Frames on and off; a sounder that makes its own tone is simply gated.
PATTERNS = {
    Horn.SILENT: (0, 1),
    Horn.COME_WHEN_YOU_CAN: (1, 9),
    Horn.COME_NOW: (3, 2),
    Horn.STAND_CLEAR: (1, 0),
}


def sounding(pattern: Horn, frame: int) -> bool:
    """Whether a horn pattern sounds in the frame of that number."""
    on, off = PATTERNS[pattern]
    return frame % (on + off) < on


class RigOutputs:
    """What one rig's outputs should be, and the task that makes them so.

    Attributes:
        writes_failed: count since the start.
    """

    def __init__(
        self, rig: str, links: Mapping[str, Link], fitted: Mapping[str, str], clock: SiteClock
    ) -> None:
        """Build it; nothing is written yet.

        Args:
            rig: name of the rig.
            links: links by name.
            fitted: link name by output name.
            clock: holds a pretend plant back while a write is under way.
        """
        self.writes_failed = 0
        self._rig = rig
        self._links = links
        self._fitted = dict(fitted)
        self._clock = clock
        self._wanted = dict.fromkeys(fitted, False)
        # Not known to be off until written: the first act is to open everything.
        self._written: dict[str, bool | None] = dict.fromkeys(fitted)
        # Failing outputs, with the kinds of error logged. Texts name what was written,
        # so for a horn that calls they would be other ones every few seconds.
        self._told: dict[str, set[type[DriverError]]] = {}
        self._grant_at_seq: int | None = None
        self._heat_change = asyncio.Event()
        self._signal_change = asyncio.Event()
        self._stir()

    def apply(self, seq: int, outputs: Outputs) -> None:
        """Take note of a frame's decision; a permit waits for `committed`."""
        if not outputs.heat_permit:
            self._grant_at_seq = None
            self._want(PERMIT, on=False)
        elif not self._wanted.get(PERMIT) and self._grant_at_seq is None:
            self._grant_at_seq = seq
        self._want("horn", on=sounding(outputs.horn, seq))
        self._want("beacon_red", on=outputs.beacon_red)
        self._want("beacon_amber", on=outputs.beacon_amber)
        self._want("release_permit", on=outputs.release_permit)
        if self._written != self._wanted:
            self._stir()

    def committed(self, seq: int) -> None:
        """Frames up to `seq` are stored: a permit decided by then may close."""
        if self._grant_at_seq is not None and seq >= self._grant_at_seq:
            self._grant_at_seq = None
            self._want(PERMIT, on=True)

    def take_heat_away(self) -> None:
        """Open the permit whatever the rules said last; for faults of our own."""
        self._grant_at_seq = None
        if PERMIT in self._fitted:
            self._wanted[PERMIT] = False
            self._written[PERMIT] = None
        self._stir()

    def check(self, readback: Mapping[str, bool | None]) -> None:
        """Write again what reads back on though it should be off.

        The other way round is left alone: see the module's first lines.
        """
        for name, on in readback.items():
            if on and self._wanted.get(name) is False and self._written.get(name) is False:
                self._written[name] = None
                self._stir()

    async def run(self) -> None:
        """Write every change until cancelled; heat never waits for horn or lamps."""
        self._stir()  # begun again after a fault, something may have been left unwritten
        signals = [name for name in self._fitted if name != PERMIT]
        heat = [name for name in self._fitted if name == PERMIT]
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._write_for_ever(heat, self._heat_change))
            tasks.create_task(self._write_for_ever(signals, self._signal_change))

    async def _write_for_ever(self, names: list[str], change: asyncio.Event) -> None:
        # Before Python 3.12 a wait in a library may swallow a cancellation that
        # comes together with the answer; then the end is seen here.
        while not _being_cancelled():
            await change.wait()
            change.clear()
            with self._clock.busy():
                await self._write_changes(names)

    async def all_off(self, timeout_s: float) -> bool:
        """Open every output; True if every write was answered in time."""
        for name in self._fitted:
            self._written[name] = None
            self._wanted[name] = False
        self._grant_at_seq = None
        try:
            async with asyncio.timeout(timeout_s):
                await self._write_changes(sorted(self._fitted, key=lambda name: name != PERMIT))
        except TimeoutError:
            return False
        return all(state is False for state in self._written.values())

    def _want(self, name: str, *, on: bool) -> None:
        if name in self._fitted and self._wanted[name] != on:
            self._wanted[name] = on
            self._stir()

    def _stir(self) -> None:
        self._heat_change.set()
        self._signal_change.set()

    async def _write_changes(self, names: list[str]) -> None:
        for name in names:
            link = self._fitted[name]
            wanted = self._wanted[name]
            if self._written[name] == wanted:
                continue
            try:
                await self._links[link].write(f"{self._rig}/{name}", on=wanted)
            except DriverError as error:
                # Tried again with the next frame, but for heat on: that was
                # granted for then, not for whenever the module comes back.
                self.writes_failed += 1
                self._written[name] = True if wanted and name == PERMIT else None
                self._tell_failed(name, error, on=wanted)
                continue
            self._written[name] = wanted
            if self._told.pop(name, None) is not None:
                log.info("output.write_mended", output=name, on=wanted)

    def _tell_failed(self, name: str, error: DriverError, *, on: bool) -> None:
        told = self._told.setdefault(name, set())
        if type(error) not in told:
            told.add(type(error))
            log.warning("output.write_failed", output=name, on=on, error=str(error))


def _being_cancelled() -> bool:
    task = asyncio.current_task()
    return task is not None and task.cancelling() > 0

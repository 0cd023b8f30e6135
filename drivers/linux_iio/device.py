"""The link: reads every device in a thread of its own, and leaves alone the one that hangs.

A read that the kernel does not end cannot be ended here either. It costs one
thread; its device is not asked again until it came back, and what it then
brings is thrown away as too old. The other devices go on.
"""

import asyncio
import threading
from collections import Counter, defaultdict
from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from drivers.base import Clock, DeviceClosed, Link, LinkStatistics, Sample
from drivers.linux_iio.codec import Decoded
from drivers.linux_iio.registers import DeviceName, PointSettings, SysfsSettings
from drivers.linux_iio.tree import NotFoundError, read_device
from drivers.reads_only import ReadsOnly
from drivers.timing import NS_PER_S, next_due_ns

Found = Mapping[str, Decoded] | NotFoundError


def open_link(
    name: str,
    settings: SysfsSettings,
    points: Mapping[str, PointSettings],
    outputs: Mapping[str, Any],
    clock: Clock,
) -> Link:
    """A link to the sensors this computer's kernel drives.

    Args:
        name: for messages and statistics.
        settings: where and how often they are read.
        points: what to read, by name.
        outputs: must be empty; this kind only reads.
        clock: now, and how to wait.

    Returns:
        The link; close it when done.

    Raises:
        ValueError: there are outputs.
    """
    if outputs:
        raise ValueError(
            f"link {name}: {', '.join(outputs)} named as outputs, and the kernel's sensors are "
            "only read; put them on another kind of link"
        )
    return SysfsLink(name, settings, points, clock)


class SysfsLink(ReadsOnly):
    """Implements `drivers.base.Link`; made by `open_link`."""

    def __init__(
        self,
        name: str,
        settings: SysfsSettings,
        points: Mapping[str, PointSettings],
        clock: Clock,
    ) -> None:
        super().__init__(name, points, clock.now_ns())
        self._settings = settings
        self._clock = clock
        self._devices: defaultdict[DeviceName, dict[str, PointSettings]] = defaultdict(dict)
        for key, point in points.items():
            self._devices[point.found_by][key] = point
        self._under_way: set[DeviceName] = set()
        self._remarks: dict[DeviceName, str] = {}
        self._polling = asyncio.Lock()
        self._counts: Counter[str] = Counter()

    async def run(self) -> None:
        """Poll for ever, finding devices anew that went away; leaves when cancelled.

        Raises:
            DeviceClosed: the link was closed before.
        """
        self._check_open()
        period_ns = round(self._settings.period_s * NS_PER_S)
        due_ns = self._clock.now_ns()
        with suppress(DeviceClosed):  # closing ends `run`; it is not the poll's failure
            while not self._closed:
                await self._clock.sleep_until(due_ns)
                await self.poll_once()
                due_ns = next_due_ns(due_ns, period_ns, self._clock.now_ns())

    async def poll_once(self) -> None:
        """Read every point once, all devices at the same time.

        Raises:
            DeviceClosed: the link was closed.
        """
        async with self._polling:
            self._check_open()
            self._counts["polls"] += 1
            async with asyncio.TaskGroup() as tasks:
                for device in self._devices:
                    tasks.create_task(self._poll(device), name=f"{self.name} {device}")

    def remarks(self) -> list[str]:
        """What samples cannot say: devices not found or that hang, and what to do."""
        return list(self._remarks.values())

    def statistics(self) -> LinkStatistics:
        """Counts since opening; `requests` are devices asked."""
        return LinkStatistics(**self._counts)

    async def close(self) -> None:
        """Read no more; twice is no error. A read that hangs is left to the kernel."""
        self._closed = True
        for device in self._devices:
            self._fail(device, "link_down")

    async def _poll(self, device: DeviceName) -> None:
        # Before it is asked, so that a value can only look older than it is.
        asked_ns = self._clock.now_ns()
        found = await self._ask(device)
        if self._closed:
            return
        if found is None or isinstance(found, NotFoundError):
            self._counts["failures"] += 1
            self._remarks[device] = f"link {self.name}: " + (
                f"{device} did not answer within timeout_s = {self._settings.timeout_s:g}, it is "
                "slow or its read hangs in the kernel; check its wiring and bus, or raise timeout_s"
                if found is None
                else str(found)
            )
            self._fail(device, "no_reply" if found is None else "link_down")
            return
        self._remarks.pop(device, None)
        for key, decoded in found.items():
            self._keep(key, decoded, asked_ns)
        self._remark_on(device, found)

    async def _ask(self, device: DeviceName) -> Found | None:
        """What the device says; None when it has not said it in time."""
        if device in self._under_way:
            return None
        self._counts["requests"] += 1
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[Found] = loop.create_future()
        # No executor: at the end of the program that one waits for reads that hang.
        reading = threading.Thread(
            target=self._read,
            args=(device, loop, answer),
            name=f"{self.name} {device}",
            daemon=True,
        )
        try:
            reading.start()
        except RuntimeError:  # the system gives no more threads now
            return None
        self._under_way.add(device)
        try:
            async with asyncio.timeout(self._settings.timeout_s):
                return await answer
        except TimeoutError:
            return None

    def _read(
        self,
        device: DeviceName,
        loop: asyncio.AbstractEventLoop,
        answer: asyncio.Future[Found],
    ) -> None:
        """In the device's thread."""
        found: Found
        try:
            found = read_device(self._settings.sysfs, device, self._devices[device])
        except NotFoundError as trouble:
            found = trouble
        with suppress(RuntimeError):  # the loop ended meanwhile, nobody waits
            loop.call_soon_threadsafe(self._came_back, device, answer, found)

    def _came_back(self, device: DeviceName, answer: asyncio.Future[Found], found: Found) -> None:
        self._under_way.discard(device)
        if not answer.done():  # else it is too late, and thrown away
            answer.set_result(found)

    def _keep(self, key: str, decoded: Decoded, asked_ns: int) -> None:
        answered = decoded.reason not in ("link_down", "no_reply", "bad_reply", "refused")
        self._counts["failures"] += not answered
        at_ns = asked_ns if answered else self._samples[key].at_ns
        quality = "bad" if decoded.reason else "good"
        self._samples[key] = Sample(decoded.value, quality, decoded.reason, at_ns, decoded.raw)

    def _remark_on(self, device: DeviceName, found: Mapping[str, Decoded]) -> None:
        words = {
            "link_down": "has no such attribute; correct attribute",
            "missing": "gives counts without a scale; it cannot be used",
            "refused": "may not be read; give this program's user the right to",
        }
        for key, decoded in found.items():
            if decoded.reason in words:
                self._remarks[device] = (
                    f"link {self.name}: {device}, {self._devices[device][key].attribute}: "
                    f"{words[decoded.reason]}"
                )

    def _fail(self, device: DeviceName, reason: str) -> None:
        for key in self._devices[device]:
            self._samples[key] = Sample(None, "bad", reason, self._samples[key].at_ns)

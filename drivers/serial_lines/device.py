"""The link: takes lines as they come, looks at the port on a fixed grid, judges silence.

The looks are what makes a line's age known, see `newness`. A flood ends the
listening until the next look, so that no board can keep the event loop busy,
and what was not read then is thrown away. Nothing is ever sent to the board.
"""

import asyncio
import math
from collections import Counter
from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from drivers.base import Clock, Link, LinkDown, LinkStatistics, Sample
from drivers.reads_only import ReadsOnly
from drivers.sensors import conditioned
from drivers.serial_lines import codec
from drivers.serial_lines.newness import Looks, Numbers
from drivers.serial_lines.registers import LINE_BYTES_MAX, LinesSettings, PointSettings
from drivers.serial_port import SerialPort
from drivers.timing import NS_PER_S, next_due_ns

LULL_PERIODS = 2
# Opening, its lull and a beginning that must stand, before a line is believed.
BEGINNING_PERIODS = 2 * LULL_PERIODS


def open_link(
    name: str,
    settings: LinesSettings,
    points: Mapping[str, PointSettings],
    outputs: Mapping[str, Any],
    clock: Clock,
) -> Link:
    """A link to one board; opens the port when it is first used.

    Args:
        name: for messages and statistics.
        settings: how it is reached and what its lines look like.
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
            f"link {name}: {', '.join(outputs)} named as outputs, and a board that sends lines "
            "only reads; put them on another kind of link"
        )
    return LinesLink(name, settings, points, clock)


class LinesLink(ReadsOnly):
    """Implements `drivers.base.Link`; made by `open_link`."""

    def __init__(
        self,
        name: str,
        settings: LinesSettings,
        points: Mapping[str, PointSettings],
        clock: Clock,
    ) -> None:
        now_ns = clock.now_ns()
        super().__init__(name, points, now_ns)
        self._settings = settings
        self._points = dict(points)
        self._clock = clock
        self._period_ns = round(settings.period_s * NS_PER_S)
        self._timeout_ns = round(settings.timeout_s * NS_PER_S)
        self._lull_ns = LULL_PERIODS * self._period_ns
        self._looks = Looks(self._lull_ns)
        self._numbers = Numbers(settings.lines_per_s_max, self._lull_ns, self._timeout_ns)
        self._splitter = codec.Splitter()
        self._lines_a_look = 1 + math.ceil(
            settings.lines_per_s_max * LULL_PERIODS * settings.period_s
        )
        self._lines_left = self._lines_a_look
        self._bytes_left = self._lines_a_look * LINE_BYTES_MAX
        self._port: SerialPort | None = None
        self._listening = asyncio.Event()  # there is a port, and it does not flood us
        self._told = asyncio.Event()  # for `poll_once`: read, or known to be impossible
        self._opens = 0
        self._wait_s = 0.0
        self._retry_ns = now_ns
        self._waiting_ns = now_ns  # since when no good line came
        self._line_began_ns = now_ns
        self._noise_ns: int | None = None  # when something came that was none
        self._remark = ""  # why nothing can be read, or was not last
        self._counts: Counter[str] = Counter()

    async def run(self) -> None:
        """Take lines for ever, opening the port and opening it again; leaves when cancelled.

        Raises:
            DeviceClosed: the link was closed before.
        """
        self._check_open()
        await self._listen()

    async def poll_once(self) -> None:
        """Wait for one line that may be believed, at most `timeout_s` and four periods.

        Returns at once when the port cannot be opened.

        Raises:
            DeviceClosed: the link was closed.
        """
        self._check_open()
        self._told.clear()
        self._retry_ns = self._clock.now_ns()
        wait_s = self._settings.timeout_s + BEGINNING_PERIODS * self._settings.period_s
        with suppress(TimeoutError):  # the looks have judged it
            async with asyncio.timeout(wait_s), asyncio.TaskGroup() as tasks:
                listening = tasks.create_task(self._listen())
                await self._told.wait()
                listening.cancel()

    def remarks(self) -> list[str]:
        """What samples cannot say: why the port is not open, or the last line was refused."""
        return [f"link {self.name}: {self._remark}"] * bool(self._remark)

    def statistics(self) -> LinkStatistics:
        """Counts since opening.

        `polls` are looks at the port, `requests` lines that came or, by their
        numbers, should have; `failures` those of them that were lost, refused
        or not believed, and floods.
        """
        left_out = self._numbers.left_out
        return LinkStatistics(
            polls=self._counts["looks"],
            requests=self._counts["lines"] + left_out,
            failures=self._counts["failures"] + left_out,
            reconnects=max(0, self._opens - 1),
        )

    async def close(self) -> None:
        """Close the port; twice is no error."""
        self._closed = True
        self._let_go()
        self._fail("link_down")
        self._listening.set()
        self._told.set()

    async def _listen(self) -> None:
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._every_period(), name=f"{self.name} look")
            tasks.create_task(self._as_it_comes(), name=f"{self.name} listen")

    async def _every_period(self) -> None:
        due_ns = self._clock.now_ns()
        while True:
            await self._clock.sleep_until(due_ns)
            if self._closed:
                return
            self._look()
            due_ns = next_due_ns(due_ns, self._period_ns, self._clock.now_ns())

    async def _as_it_comes(self) -> None:
        while True:
            await self._listening.wait()
            if self._closed:
                return
            if self._port is not None:  # not lost since
                await self._port.came()
                self._hear()

    def _look(self) -> None:
        self._counts["looks"] += 1
        if self._port is None:
            self._open_when_due()
            return
        self._lines_left = self._lines_a_look
        self._bytes_left = self._lines_a_look * LINE_BYTES_MAX
        if self._listening.is_set():
            self._hear()
        else:
            self._begin(self._port)
        silent_ns = self._clock.now_ns() - self._waiting_ns
        if self._port is not None and silent_ns >= self._timeout_ns:
            self._fail(self._why_nothing())

    def _open_when_due(self) -> None:
        now_ns = self._clock.now_ns()
        if now_ns < self._retry_ns:
            return
        try:
            port = SerialPort(self._settings)
        except LinkDown as error:
            self._remark = str(error)
            self._counts["failures"] += 1
            self._retry_ns = now_ns + round(self._wait_s * NS_PER_S)
            self._wait_s = min(
                max(2 * self._wait_s, self._settings.period_s), self._settings.reconnect_s_max
            )
            self._fail("link_down")
            self._told.set()
            return
        self._port = port
        self._remark = ""
        self._opens += 1
        self._wait_s = 0.0
        self._begin(port)

    def _begin(self, port: SerialPort) -> None:
        """Throw away what is there, and listen."""
        now_ns = self._clock.now_ns()
        port.take()
        self._looks.begin(now_ns)
        self._splitter.restart()
        self._listening.set()

    def _hear(self) -> None:
        """Take all that has come; before it the time, so that it can only look older."""
        if self._port is None:
            return
        now_ns = self._clock.now_ns()
        data = self._port.take()
        if not self._port.usable:
            self._let_go()
            self._fail("link_down")
            return
        self._bytes_left -= len(data)
        if self._bytes_left < 0:
            self._flooded(now_ns)
        elif not self._looks.new(now_ns):
            self._splitter.restart()
        elif data:
            self._noise_ns = now_ns  # unless a good line is in it
            for line in self._lines_in(data, now_ns):
                self._read(line, now_ns)

    def _lines_in(self, data: bytes, now_ns: int) -> list[bytes]:
        if not self._splitter.under_way:
            self._line_began_ns = now_ns
        elif now_ns - self._line_began_ns > self._lull_ns:
            self._splitter.restart()  # the board stood still within it, its values are old
        lines = self._splitter.feed(data)
        if b"\n" in data:
            self._line_began_ns = now_ns
        return lines

    def _read(self, text: bytes, now_ns: int) -> None:
        if not text:
            return
        self._counts["lines"] += 1
        self._lines_left -= 1
        if self._lines_left < 0:
            self._flooded(now_ns)
            return
        try:
            line = codec.read_line(text, self._settings)
        except codec.RefusedLine as refusal:
            self._remark = f"line refused: {refusal}"
            line = None
        if line is None or not self._numbers.believed(line.number, now_ns):
            self._counts["failures"] += 1
            self._noise_ns = now_ns
            return
        self._waiting_ns, self._noise_ns, self._remark = now_ns, None, ""
        for name, point in self._points.items():
            self._samples[name] = _sample(point, line.fields.get(point.key), now_ns)
        self._told.set()

    def _flooded(self, now_ns: int) -> None:
        self._counts["failures"] += 1
        self._noise_ns = now_ns
        self._listening.clear()

    def _why_nothing(self) -> str:
        if self._port is None:
            return "link_down"
        recent_ns = self._clock.now_ns() - self._timeout_ns
        noisy = self._noise_ns is not None and self._noise_ns >= recent_ns
        return "bad_reply" if noisy else "no_reply"

    def _fail(self, reason: str) -> None:
        for name, sample in self._samples.items():
            self._samples[name] = Sample(None, "bad", reason, sample.at_ns)

    def _let_go(self) -> None:
        self._listening.clear()
        if self._port is not None:
            self._port.close()
            self._port = None
        self._retry_ns = self._clock.now_ns()


def _sample(point: PointSettings, text: str | None, at_ns: int) -> Sample:
    found = codec.decode(point, text)
    quality = "bad" if found.reason else "good"
    sample = Sample(found.value, quality, found.reason, at_ns, tuple((text or "").encode()))
    return conditioned(sample, found.state)

"""The link: takes edges as they come, reads the levels on a fixed grid, holds outputs.

Nothing here waits for the chip. What the level says at a poll wins over what
the edges said. Whenever lines are asked for anew, outputs begin as off.
"""

import asyncio
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress

from drivers.base import BadReply, Clock, DeviceClosed, Link, LinkDown, LinkStatistics, Sample
from drivers.gpio import lines as kernel
from drivers.gpio.codec import Moving, Switch
from drivers.gpio.lines import Lines, Request
from drivers.gpio.registers import GpioSettings, OutputSettings, PointSettings, Wanted
from drivers.holding import Holding
from drivers.timing import NS_PER_S, next_due_ns


def open_link(
    name: str,
    settings: GpioSettings,
    points: Mapping[str, PointSettings],
    outputs: Mapping[str, OutputSettings],
    clock: Clock,
    *,
    request: Request = kernel.request,
) -> Link:
    """A link to lines of one chip; asks for them when it is first used.

    Args:
        name: for messages and statistics.
        settings: which chip, and how its lines are watched.
        points: switches to read, by name.
        outputs: what may be switched, by name; each is also read back as a
            point of that name.
        clock: now, and how to wait.
        request: how lines are asked for.

    Returns:
        The link; close it when done.

    Raises:
        ValueError: a name is both a point and an output.
    """
    doubled = sorted(points.keys() & outputs.keys())
    if doubled:
        raise ValueError(
            f"link {name}: {', '.join(doubled)} named as a point and as an output; remove the "
            "point, an output is read back anyway"
        )
    wanted = Wanted(settings.chip, settings.debounce_ms, dict(points), dict(outputs))
    return GpioLink(name, settings, wanted, clock, request)


class GpioLink:
    """Implements `drivers.base.Link`; made by `open_link`."""

    def __init__(
        self,
        name: str,
        settings: GpioSettings,
        wanted: Wanted,
        clock: Clock,
        request: Request,
    ) -> None:
        self.name = name
        self._settings = settings
        self._wanted = wanted
        self._clock = clock
        self._request = request
        self._period_ns = round(settings.period_s * NS_PER_S)
        now_ns = clock.now_ns()
        names = (*wanted.inputs, *wanted.outputs)
        self._heard_ns = dict.fromkeys(names, now_ns)
        self._levels: dict[str, bool] = {}
        self._why = "never_read"
        self._remark = ""
        self._lines: Lines | None = None
        self._watched: int | None = None
        self._switches: dict[str, Switch] = {}
        tokens = {key: output.token for key, output in wanted.outputs.items()}
        self._holding = Holding(tokens, settings.hold_s, clock)
        self._moving = {
            key: Moving(self._period_ns) for key, one in wanted.outputs.items() if one.toggled
        }
        self._closed = False
        self._opens = 0
        self._counts: Counter[str] = Counter()

    async def run(self) -> None:
        """Poll for ever, asking for the lines again when they are lost; leaves when cancelled.

        Raises:
            DeviceClosed: the link was closed before.
        """
        self._check_open()
        due_ns = self._clock.now_ns()
        try:
            while not self._closed:
                await self._clock.sleep_until(due_ns)
                if not self._closed:
                    self._poll()
                    self._move()
                due_ns = next_due_ns(due_ns, self._period_ns, self._clock.now_ns())
        finally:
            for moving in self._moving.values():
                moving.stop()

    async def poll_once(self) -> None:
        """Read every line once; switches nothing on.

        Raises:
            DeviceClosed: the link was closed.
        """
        self._check_open()
        self._poll()

    def snapshot(self) -> Mapping[str, Sample]:
        """The newest sample by point name; after `close` all are bad."""
        now_ns = self._clock.now_ns()
        return {name: self._sample(name, now_ns) for name in self._heard_ns}

    async def write(self, point: str, *, on: bool) -> None:
        """Switch one output now, and see its level follow.

        A toggled output begins to move; one that moves already is left to it.

        Raises:
            LinkDown: the lines are not ours now.
            BadReply: the level did not follow; or it was to be switched on while
                its owner is not alive.
            DeviceClosed: the link was closed.
            KeyError: no such output.
        """
        self._check_open()
        moving = self._moving.get(point)
        if point not in self._wanted.outputs:
            raise KeyError(f"{point}: link {self.name} has no such output")
        if moving is not None:
            moving.check(self._clock.now_ns())
            if on and moving.active:
                return
        self._counts["writes"] += 1
        try:
            self._switch(point, on=on)
        except (LinkDown, BadReply):
            self._counts["write_failures"] += 1
            raise

    def renew(self, token: str) -> None:
        """Say that the owner of `token` is alive; one unknown here does nothing."""
        self._holding.renew(token)

    def remarks(self) -> list[str]:
        """What samples cannot say: why the lines cannot be had, lines that chatter."""
        now_ns = self._clock.now_ns()
        chatter = [name for name, switch in self._switches.items() if switch.chatters(now_ns)]
        return [f"link {self.name}: {self._remark}"] * bool(self._remark) + [
            f"link {self.name}: {name} changes faster than a hand does; check its contact and "
            "wiring, or raise debounce_ms"
            for name in chatter
        ]

    def statistics(self) -> LinkStatistics:
        """Counts since opening; edges known to be lost are failures."""
        return LinkStatistics(reconnects=max(0, self._opens - 1), **self._counts)

    async def close(self) -> None:
        """Switch all outputs off and give the lines back; twice is no error."""
        if not self._closed and self._lines is not None:
            for point in self._wanted.outputs:
                with suppress(OSError):  # the chip may be gone
                    self._lines.set(point, on=False)
        self._closed = True
        self._lose("")

    def _check_open(self) -> None:
        if self._closed:
            raise DeviceClosed(f"link {self.name} was closed; open a new one")

    def _poll(self) -> None:
        self._counts["polls"] += 1
        if self._lines is None:
            self._open()
        with suppress(LinkDown), self._chip() as lines:  # told by the samples
            self._let_go(lines)
            self._counts["requests"] += 1
            # Before the levels, so that an older edge never follows a newer level.
            self._hear(lines)
            self._listen(lines)
            now_ns = self._clock.now_ns()
            self._levels = lines.levels()
            for name, on in self._levels.items():
                self._heard_ns[name] = now_ns
                self._take_level(name, now_ns, on=on)

    def _take_level(self, name: str, now_ns: int, *, on: bool) -> None:
        if name in self._switches:
            self._switches[name].level(now_ns, on=on)
        elif name in self._moving:
            self._moving[name].read(now_ns, on=on)

    def _let_go(self, lines: Lines) -> None:
        now_ns = self._clock.now_ns()
        for moving in self._moving.values():
            moving.check(now_ns)
        for point in self._holding.held():
            if not self._may_stay_on(point):
                if point in self._moving:
                    self._moving[point].stop()
                lines.set(point, on=False)
                self._holding.off(point)

    def _may_stay_on(self, point: str) -> bool:
        moves = point not in self._moving or self._moving[point].active
        return moves and self._holding.alive(point)

    def _move(self) -> None:
        """Write the next edge of every output that moves."""
        for point, moving in self._moving.items():
            if moving.active:  # its owner lives, see `_let_go` just before
                with suppress(LinkDown), self._chip() as lines:
                    lines.set(point, on=moving.next_edge())

    def _switch(self, point: str, *, on: bool) -> None:
        moving = self._moving.get(point)
        if moving is not None:
            moving.stop()
        if on and not self._holding.alive(point):
            raise BadReply(
                f"link {self.name}: {point} was not switched on, its owner was not alive for "
                f"{self._settings.hold_s:g} s"
            )
        if self._lines is None:
            self._open()
        with self._chip() as lines:
            if on:
                self._holding.on(point)
            if moving is not None:  # so that the next is an edge
                lines.set(point, on=False)
            lines.set(point, on=on)
            followed = lines.levels()[point] is on
        if not followed:
            raise BadReply(
                f"link {self.name}: {point} was written {'on' if on else 'off'} and its level did "
                "not follow; check what else is tied to the line"
            )
        if on and moving is not None:
            moving.start(self._clock.now_ns())
        if not on:
            self._holding.off(point)

    def _open(self) -> None:
        try:
            lines = self._request(self._wanted)
        except LinkDown as trouble:
            self._counts["failures"] += 1
            self._lose(str(trouble))
            return
        self._lines, self._remark = lines, ""
        self._opens += 1
        self._switches = {
            name: Switch(round(self._stretch_s(point) * NS_PER_S))
            for name, point in self._wanted.inputs.items()
        }
        self._listen(lines)

    def _listen(self, lines: Lines) -> None:
        if self._watched is None:
            self._watched = lines.fd
            asyncio.get_running_loop().add_reader(self._watched, self._edges_came)

    def _listen_no_more(self) -> None:
        if self._watched is not None:
            asyncio.get_running_loop().remove_reader(self._watched)
            self._watched = None

    def _stretch_s(self, point: PointSettings) -> float:
        return self._settings.stretch_s if point.stretch_s is None else point.stretch_s

    def _edges_came(self) -> None:
        with suppress(LinkDown), self._chip() as lines:
            self._hear(lines)
            now_ns = self._clock.now_ns()
            if any(switch.chatters(now_ns) for switch in self._switches.values()):
                self._listen_no_more()  # until the next poll; no contact keeps the loop busy

    def _hear(self, lines: Lines) -> None:
        edges = lines.edges()
        now_ns = self._clock.now_ns()
        for edge in edges:
            switch = self._switches[edge.name]
            lost_before = switch.lost
            switch.edge(edge, now_ns)
            self._counts["failures"] += switch.lost - lost_before
            self._heard_ns[edge.name] = now_ns

    @contextmanager
    def _chip(self) -> Iterator[Lines]:
        """The lines; an error of theirs loses them, and outputs with them."""
        if self._lines is None:
            raise LinkDown(f"link {self.name}: {self._remark or 'the lines are not ours'}")
        try:
            yield self._lines
        except OSError as error:
            self._counts["failures"] += 1
            self._lose(
                f"{self._settings.chip}: lost: {error.strerror or error}; check its plug and power"
            )
            raise LinkDown(f"link {self.name}: {self._remark}") from error

    def _lose(self, remark: str) -> None:
        self._why, self._remark = "link_down", remark
        self._levels = {}
        self._switches = {}
        for moving in self._moving.values():
            moving.stop()
        self._listen_no_more()
        if self._lines is not None:
            with suppress(OSError):
                self._lines.release()
            self._lines = None

    def _sample(self, name: str, now_ns: int) -> Sample:
        at_ns = self._heard_ns[name]
        if name not in self._levels:
            return Sample(None, "bad", self._why, at_ns)
        switch, moving = self._switches.get(name), self._moving.get(name)
        if switch is not None:
            if switch.chatters(now_ns):
                return Sample(None, "bad", "failure", at_ns, (int(switch.on),))
            return Sample(float(switch.shows(now_ns)), "good", "", at_ns, (int(switch.on),))
        level = self._levels[name]
        on = level if moving is None else moving.moves(now_ns)
        return Sample(float(on), "good", "", at_ns, (int(level),))

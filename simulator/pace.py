"""Who moves the plant: real time at some speed, or a client step by step.

Lockstep speaks JSON lines on a TCP port of its own. On connecting the client
is sent `{"now_s": 0.0, "wall_ns": ..., "period_s": 1.0, "pretend": true}`; it
sends `{"until_s": 12.25}`; the plant is moved in its own fixed steps to the last
one not after that, and the answer `{"now_s": 12.25, "wall_ns": ..., "over": false}`
goes out when it has arrived: until its next step the plant is what it was. While
something is wrong with the first rig's supervisor itself the answer also holds
`"host"`, all that `simulator.host.Host` knows: whoever runs the supervisor carries
that out.

Once `over` is true the plant stands still; the client hangs up and the
simulator ends. A client that hangs up earlier may come back, or another:
meanwhile the plant stands still. What is not such a line is answered by
`{"error": ...}` and moves nothing.
"""

import asyncio
import json
import math
from collections.abc import Callable
from dataclasses import asdict, dataclass

from pydantic import BaseModel, ConfigDict, ValidationError

from simulator.host import Host
from simulator.plant import STEP_S
from simulator.serve import HOST, ServeError, WallPace
from simulator.yard import Yard

PERIOD_S = 1.0
LINE_BYTES_MAX = 4096
AHEAD_S_MAX = 7 * 24 * 3600.0
BREATH_S = 30.0
CLOSE_S_MAX = 5.0
SLACK_S = 1e-6


class NobodyCameError(Exception):
    """No lockstep client connected in time."""


class Step(BaseModel):
    """What a lockstep client sends.

    Attributes:
        until_s: plant time to move to, s; not before now.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, strict=True)

    until_s: float


@dataclass(frozen=True, slots=True)
class Mover:
    """Moves the yard, notes what happened and keeps the pace.

    Attributes:
        yard: to move.
        pace: against real time.
        note: called after every step.
    """

    yard: Yard
    pace: WallPace
    note: Callable[[], None]

    async def advance_to(self, until_s: float) -> None:
        """Move to the last step not after `until_s`, or to the end."""
        yard = self.yard
        held_s = yard.now_s
        while not yard.over and yard.now_s + STEP_S <= until_s + SLACK_S:
            yard.advance()
            self.note()
            if yard.now_s - held_s >= BREATH_S:
                await self.pace.hold(yard.now_s - held_s)
                held_s = yard.now_s
        await self.pace.hold(yard.now_s - held_s)


async def run_free(mover: Mover, speed: float) -> None:
    """Move the yard at `speed` plant seconds per real second until it is over."""
    stride_s = max(STEP_S, min(BREATH_S, speed / 50))
    while not mover.yard.over:
        await mover.advance_to(mover.yard.now_s + stride_s)


class Lockstep:
    """The lockstep port: one client at a time moves the plant."""

    def __init__(self, mover: Mover, wait_s_max: float) -> None:
        self._mover = mover
        self._wait_s_max = wait_s_max
        self._asked_s = 0.0
        self._server: asyncio.Server | None = None
        self._writer: asyncio.StreamWriter | None = None
        self._talks: set[asyncio.Task[None]] = set()
        self._arrived = asyncio.Event()
        self._left = asyncio.Event()

    async def open(self, port: int) -> int:
        """Listen on `port`, 0 for any; returns the port.

        Raises:
            ServeError: the port cannot be had.
        """
        try:
            self._server = await asyncio.start_server(self._meet, HOST, port, limit=LINE_BYTES_MAX)
        except OSError as error:
            raise ServeError(
                f"pace port {port} on {HOST} cannot be opened ({error.strerror}); "
                "choose another, or 0 for any"
            ) from error
        bound: int = self._server.sockets[0].getsockname()[1]
        return bound

    async def run(self) -> None:
        """Serve until the scenario is over and the client has hung up.

        Raises:
            NobodyCameError: no client for `wait_s_max`.
        """
        while True:
            try:
                async with asyncio.timeout(self._wait_s_max):
                    await self._arrived.wait()
            except TimeoutError as error:
                raise NobodyCameError(
                    f"no one connected to the pace port for {self._wait_s_max:g} s"
                ) from error
            await self._left.wait()
            if self._mover.yard.over:
                return

    async def close(self) -> None:
        """Stop listening and hang up; twice is no error."""
        if self._server is None:
            return
        self._server.close()
        if self._writer is not None:
            self._writer.close()
        if self._talks:
            await asyncio.wait(self._talks, timeout=CLOSE_S_MAX)
        await self._server.wait_closed()
        self._server = None

    async def _meet(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        if task is not None:
            self._talks.add(task)
            task.add_done_callback(self._talks.discard)
        try:
            if self._writer is not None:
                _send(writer, {"error": "another client moves this plant; hang it up first"})
                return
            self._writer = writer
            self._left.clear()
            self._arrived.set()
            await self._talk(reader, writer)
        except ConnectionError:
            return
        finally:
            if self._writer is writer:
                self._writer = None
                self._arrived.clear()
                self._left.set()
            writer.close()

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        yard = self._mover.yard
        _send(writer, {**self._now(), "period_s": PERIOD_S, "pretend": True})
        while True:
            try:
                line = await reader.readline()
            except ValueError:
                _send(writer, {"error": f"a line is longer than {LINE_BYTES_MAX} bytes"})
                return
            if not line:
                return
            wrong = self._wrong_with(line)
            if isinstance(wrong, str):
                _send(writer, {"error": wrong})
            else:
                await self._mover.advance_to(wrong.until_s)
                self._asked_s = wrong.until_s
                _send(writer, {**self._now(), "over": yard.over, **self._host()})
            await writer.drain()

    def _wrong_with(self, line: bytes) -> Step | str:
        """The step asked for, or what is wrong with it."""
        try:
            step = Step.model_validate_json(line)
        except ValidationError as error:
            return f'send {{"until_s": SECONDS}}: {error.errors()[0]["msg"]}'
        now_s = self._now_s()
        if not now_s <= step.until_s <= now_s + AHEAD_S_MAX:
            return (
                f"until_s = {step.until_s:g} is before now_s = {now_s:g} "
                f"or more than {AHEAD_S_MAX:g} s ahead"
            )
        return step

    def _host(self) -> dict[str, object]:
        host = self._mover.yard.rigs[0].host
        return {} if host == Host() else {"host": asdict(host)}

    def _now_s(self) -> float:
        """The time last asked for; between two of its steps the plant stands still."""
        yard = self._mover.yard
        return yard.now_s if yard.over else max(yard.now_s, self._asked_s)

    def _now(self) -> dict[str, float | int]:
        yard, now_s = self._mover.yard, self._now_s()
        return {"now_s": now_s, "wall_ns": yard.wall_ns + round((now_s - yard.now_s) * 1e9)}


def _send(writer: asyncio.StreamWriter, body: dict[str, object]) -> None:
    writer.write(json.dumps(body).encode() + b"\n")


def read_pace(text: str) -> tuple[bool, float | None]:
    """A pace as typed: `real`, `speed=180`, `lockstep` or `lockstep=180`.

    Returns:
        Whether it is lockstep, and plant seconds per real second (None: no limit).

    Raises:
        ValueError: it is none of these.
    """
    if text == "real":
        return False, 1.0
    if text == "lockstep":
        return True, None
    kind, _, number = text.partition("=")
    try:
        speed = float(number)
    except ValueError:
        speed = math.nan
    if kind not in {"speed", "lockstep"} or not 0 < speed <= 1e5:
        raise ValueError(
            f"pace {text!r} is not real, speed=N, lockstep or lockstep=N with N in plant "
            "seconds per real second, above 0"
        )
    return kind == "lockstep", speed

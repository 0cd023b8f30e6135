"""The daemon's local socket: one JSON object per line each way; see `docs/control.md`.

Start, reset and presence do not exist here: those come only from the buttons
at the rig.
"""

import asyncio
import json
import socket
import stat
from collections.abc import Awaitable, Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, get_args

import structlog
from pydantic_core import from_json

from daemon.notify.commands import LATE, WIRED_ONLY, Refusal, is_wired, read_command
from daemon.notify.commands import VERBS as SAID_VERBS
from daemon.notify.messages import StateMessage, Verb
from drivers.base import Clock
from rules.events import CommandAnswered
from rules.frame import Command

log = structlog.get_logger()

LINE_BYTES_MAX = 65536
ANSWER_BYTES_MAX = 4 * 1024 * 1024
CLIENTS_MAX = 16
FOLLOW_LINES_MAX = 256
IDLE_S_MAX = 60.0
WRITE_S_MAX = 5.0
SOCKET_MODE = 0o660

COMMANDS = get_args(Verb)
VERBS = f"use status, follow, {SAID_VERBS}"
TOO_MANY = f"{CLIENTS_MAX} programs are connected already; close one and try again"
TOO_LONG = f"the line is longer than {LINE_BYTES_MAX} bytes"
TOO_SLOW = "dropped: this reader is too slow; connect again and read faster"

Line = dict[str, Any]


class ControlError(Exception):
    """The local socket cannot be used: whoever started the program reads why."""


class ControlServer:
    """Answers programs on this computer that may open the socket.

    Args:
        path: of the socket; a stale one there is replaced.
        status: the newest state of each rig.
        submit: hands a command to a rig and returns when the frame that
            carried it is judged and committed; may raise `TimeoutError`.
        clock: for the time of arrival of commands.
    """

    def __init__(
        self,
        path: Path,
        status: Callable[[], list[StateMessage]],
        submit: Callable[[str, Command], Awaitable[CommandAnswered]],
        clock: Clock,
    ) -> None:
        self._path = path
        self._status = status
        self._submit = submit
        self._clock = clock
        self._clients: set[asyncio.Task[None]] = set()
        self._followers: set[_Follower] = set()

    async def run(self) -> None:
        """Serve until cancelled; the socket is gone afterwards.

        Raises:
            ControlError: the socket cannot be made; says what to do.
        """
        listening = _listen(self._path)
        made = self._path.stat().st_ino
        server = await asyncio.start_unix_server(
            self._welcome, sock=listening, limit=LINE_BYTES_MAX
        )
        log.info("control.listening", path=str(self._path))
        try:
            await server.serve_forever()
        finally:
            server.close()
            for client in self._clients:
                client.cancel()
            await asyncio.gather(*self._clients, return_exceptions=True)
            # Another daemon may have put its own there meanwhile.
            with suppress(FileNotFoundError):
                if self._path.stat().st_ino == made:
                    self._path.unlink()

    def broadcast(self, line: Line) -> None:
        """Give a line to everyone who follows; never waits."""
        if not self._followers:
            return
        encoded = _encode(line)
        for follower in self._followers:
            follower.put(encoded)

    def _welcome(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        client = asyncio.ensure_future(self._serve(reader, writer))
        self._clients.add(client)
        client.add_done_callback(self._clients.discard)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            if len(self._clients) > CLIENTS_MAX:
                await _write(writer, _encode({"ok": False, "answer": TOO_MANY}))
                return
            while (request := await self._next_request(reader, writer)) is not None:
                if request.get("verb") == "follow":
                    await self._follow(reader, writer)
                    return
                await _write(writer, _encode(await self._answer(request)))
        except (OSError, TimeoutError):
            return  # the client is gone, or takes nothing; there is no one to tell
        finally:
            await _close(writer)

    async def _next_request(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> Line | None:
        """The next readable request; None when the client has left or must."""
        while True:
            try:
                async with asyncio.timeout(IDLE_S_MAX):
                    line = await reader.readuntil()
            except asyncio.IncompleteReadError:
                return None  # what came without its end of line is not acted on
            except asyncio.LimitOverrunError:
                await _write(writer, _encode({"ok": False, "answer": TOO_LONG}))
                return None
            try:
                request = from_json(line, allow_inf_nan=False)
            except ValueError as error:
                refusal = f"the line is not JSON ({error}); send one JSON object per line"
                await _write(writer, _encode({"ok": False, "answer": refusal}))
                continue
            if isinstance(request, dict):
                return request
            refusal = "the line is not a JSON object; for instance: " + '{"verb": "status"}'
            await _write(writer, _encode({"ok": False, "answer": refusal}))

    async def _answer(self, request: Line) -> Line:
        verb = request.get("verb")
        if is_wired(verb):
            return {"ok": False, "answer": WIRED_ONLY}
        if verb == "status":
            return {"ok": True, "rigs": [_plain(state) for state in self._status()]}
        if verb not in COMMANDS:
            return {"ok": False, "answer": f"no such verb: {str(verb)[:40]!r}; {VERBS}"}
        return await self._command(request)

    async def _command(self, request: Line) -> Line:
        rig = request.pop("rig", None)
        known = sorted(state.rig for state in self._status())
        if rig not in known:
            refusal = f"no such rig: {str(rig)[:40]!r}; there are: {', '.join(known)}"
            return {"ok": False, "answer": refusal}
        command = read_command(request, via="socket", issued_ns=self._clock.wall_ns())
        if isinstance(command, Refusal):
            return {"ok": False, "id": command.id, "answer": command.answer}
        try:
            answered = await self._submit(rig, command)
        except TimeoutError:
            return {"ok": False, "id": command.id, "answer": LATE}
        return {"ok": answered.accepted, "id": answered.id, "answer": answered.answer}

    async def _follow(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Pass lines on until the client hangs up or is too slow."""
        follower = _Follower()
        for state in self._status():
            follower.put(_encode({"state": _plain(state)}))
        self._followers.add(follower)
        hung_up = asyncio.ensure_future(reader.read(1))
        passing = asyncio.ensure_future(follower.pass_on(writer))
        try:
            done, _ = await asyncio.wait((hung_up, passing), return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                task.result()
        finally:
            self._followers.discard(follower)
            for task in (hung_up, passing):
                task.cancel()
            await asyncio.gather(hung_up, passing, return_exceptions=True)


class _Follower:
    """The lines one follower has yet to take."""

    def __init__(self) -> None:
        self._lines: asyncio.Queue[bytes | None] = asyncio.Queue(FOLLOW_LINES_MAX)
        self._dropped = False

    def put(self, line: bytes) -> None:
        """Add a line; when they are too many, drop them all and the follower."""
        if self._dropped:
            return
        if self._lines.full():
            self._dropped = True
            log.warning("control.follower_dropped", lines=FOLLOW_LINES_MAX)
            while not self._lines.empty():
                self._lines.get_nowait()
            self._lines.put_nowait(_encode({"ok": False, "answer": TOO_SLOW}))
            self._lines.put_nowait(None)
            return
        self._lines.put_nowait(line)

    async def pass_on(self, writer: asyncio.StreamWriter) -> None:
        while (line := await self._lines.get()) is not None:
            await _write(writer, line)


def ask(path: Path, request: Line, timeout_s: float) -> Line:
    """Ask the daemon one thing and return its answer; for the command line.

    Args:
        path: of the daemon's socket.
        request: what to ask, for instance `{"verb": "status"}`.
        timeout_s: for connecting and for the answer, s.

    Raises:
        ControlError: no daemon, no right to ask it, or no answer in time;
            says what to do.
    """
    with socket.socket(socket.AF_UNIX) as connection:
        connection.settimeout(timeout_s)
        try:
            connection.connect(str(path))
            with suppress(BrokenPipeError):  # turned away at once; it has said why
                connection.sendall(_encode(request))
            with connection.makefile("rb") as answers:
                line = answers.readline(ANSWER_BYTES_MAX)
        except (FileNotFoundError, ConnectionRefusedError) as error:
            raise ControlError(
                f"{path}: no daemon answers there; start it: curehold supervise CONFIGURATION"
            ) from error
        except PermissionError as error:
            raise ControlError(
                f"{path}: you may not open it; ask to be put into the group that owns it"
            ) from error
        except TimeoutError as error:
            raise ControlError(
                f"{path}: no answer in {timeout_s:g} s; see whether the daemon is well: "
                "systemctl status curehold"
            ) from error
        except OSError as error:
            raise ControlError(f"{path}: {error.strerror or error}") from error
    if not line.endswith(b"\n"):
        raise ControlError(f"{path}: the daemon hung up before it had answered; ask again")
    answer = from_json(line)
    if not isinstance(answer, dict):
        raise ControlError(f"{path}: what answers there is not curehold; check the path")
    return answer


def _listen(path: Path) -> socket.socket:
    """A listening socket at `path` that its owner and group may open."""
    _clear_stale(path)
    listening = socket.socket(socket.AF_UNIX)
    try:
        listening.bind(str(path))
        # Nobody can connect before listen(), so the rights are right from the first.
        path.chmod(SOCKET_MODE)
        listening.listen(CLIENTS_MAX)
    except OSError as error:
        listening.close()
        raise ControlError(
            f"{path}: cannot make the socket ({error.strerror or error}); "
            "see that its directory is there and is the daemon's"
        ) from error
    return listening


def _clear_stale(path: Path) -> None:
    """Remove a socket nobody answers on.

    Raises:
        ControlError: someone does, or it is something else.
    """
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return
    if not stat.S_ISSOCK(mode):
        raise ControlError(f"{path}: is there and is not a socket; move it away, then start again")
    with socket.socket(socket.AF_UNIX) as probe:
        probe.settimeout(WRITE_S_MAX)
        try:
            probe.connect(str(path))
        except ConnectionRefusedError:
            path.unlink()
            return
        except OSError as error:
            raise ControlError(f"{path}: cannot be asked whether it is in use: {error}") from error
    raise ControlError(f"{path}: another daemon answers there; stop it before you start this one")


async def _write(writer: asyncio.StreamWriter, line: bytes) -> None:
    writer.write(line)
    async with asyncio.timeout(WRITE_S_MAX):
        await writer.drain()


async def _close(writer: asyncio.StreamWriter) -> None:
    """Let the last line out, but not for ever."""
    writer.close()
    try:
        async with asyncio.timeout(WRITE_S_MAX):
            await writer.wait_closed()
    except (OSError, TimeoutError):
        writer.transport.abort()


def _encode(line: Line) -> bytes:
    return json.dumps(line, ensure_ascii=False, allow_nan=False).encode() + b"\n"


def _plain(state: StateMessage) -> Line:
    return state.model_dump(mode="json")

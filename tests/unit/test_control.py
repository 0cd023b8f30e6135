"""The local socket: real Unix sockets, both ends."""

import asyncio
import json
import socket
import stat
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from structlog.testing import capture_logs

from daemon import control
from daemon.clock import RealClock
from daemon.control import ControlError, ControlServer, ask
from daemon.notify.commands import LATE, WIRED_ONLY
from rules.events import CommandAnswered
from rules.frame import Command
from tests.e2e.mqtt_link import Rig, state
from tests.virtual_clock import VirtualClock

Submit = Callable[[str, Command], Awaitable[CommandAnswered]]
Line = dict[str, Any]


@asynccontextmanager
async def serving(path: Path, submit: Submit | None = None) -> AsyncIterator[ControlServer]:
    server = ControlServer(
        path, lambda: [state("bay-1"), state("bay-2")], submit or Rig().submit, VirtualClock()
    )
    task = asyncio.create_task(server.run())
    try:
        async with asyncio.timeout(5):
            while not _answers(path) and not task.done():
                await asyncio.wait((task,), timeout=0.005)
        if task.done():
            await task
        yield server
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


def _answers(path: Path) -> bool:
    with socket.socket(socket.AF_UNIX) as probe:
        try:
            probe.connect(str(path))
        except OSError:
            return False
        return True


def _mode(path: Path) -> int | None:
    return stat.S_IMODE(path.stat().st_mode) if path.exists() else None


@asynccontextmanager
async def connection(
    path: Path,
) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
    reader, writer = await asyncio.open_unix_connection(str(path))
    try:
        yield reader, writer
    finally:
        writer.close()
        with suppress(OSError):
            await writer.wait_closed()


async def talk(path: Path, *lines: bytes) -> list[Line]:
    """Send lines, then read one answer to each."""
    async with asyncio.timeout(5), connection(path) as (reader, writer):
        writer.write(b"".join(lines))
        return [json.loads(await reader.readline()) for _ in lines]


def line(**fields: object) -> bytes:
    return json.dumps(fields).encode() + b"\n"


def seen(**fields: object) -> bytes:
    return line(**{"verb": "seen", "rig": "bay-2", "id": "c-1", "who": "Ada", **fields})


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "control.sock"


async def test_status_gives_every_rig(path: Path) -> None:
    async with serving(path):
        (answer,) = await talk(path, line(verb="status"))
    assert answer["ok"]
    assert [rig["rig"] for rig in answer["rigs"]] == ["bay-1", "bay-2"]
    assert answer["rigs"][0] == state("bay-1").model_dump(mode="json")


async def test_a_command_reaches_its_rig_and_is_answered(path: Path) -> None:
    rig = Rig()
    async with serving(path, rig.submit):
        answers = await talk(
            path, seen(), seen(verb="quiet", id="c-2", minutes=5, text="on it"), seen(verb="going")
        )
    assert answers[0] == {"ok": True, "id": "c-1", "answer": "seen written down"}
    assert [(name, one.verb, one.via) for name, one in rig.taken] == [
        ("bay-2", "seen", "socket"),
        ("bay-2", "quiet", "socket"),
        ("bay-2", "going", "socket"),
    ]
    assert rig.taken[1][1].minutes == 5
    assert rig.taken[0][1].issued_ns == VirtualClock().wall_ns()


@pytest.mark.proves("bad command: a clear error, nothing acted on")
@pytest.mark.parametrize(
    ("sent", "says"),
    [
        (line(verb="start", rig="bay-2", id="x", who="Ada"), WIRED_ONLY),
        (line(verb="reset"), WIRED_ONLY),
        (line(verb="presence"), WIRED_ONLY),
        (line(verb="here_button"), WIRED_ONLY),
        (line(verb="heat"), "no such verb: 'heat'; use status, follow"),
        (line(verb=["seen"]), "no such verb"),
        (line(), "no such verb: 'None'"),
        (seen(rig="bay-9"), "no such rig: 'bay-9'; there are: bay-1, bay-2"),
        (seen(rig=None), "no such rig"),
        (seen(who=""), "who"),
        (seen(verb="quiet"), "quiet needs minutes"),
        (b"[1]\n", "not a JSON object"),
        (b"{]\n", "not JSON"),
        (b"\xff\xfe\n", "not JSON"),
        (b"\n", "not JSON"),
        (b"[" * 60000 + b"\n", "not JSON"),
    ],
)
async def test_a_bad_request_is_answered_and_the_next_one_served(
    path: Path, sent: bytes, says: str
) -> None:
    rig = Rig()
    async with serving(path, rig.submit):
        bad, good = await talk(path, sent, line(verb="status"))
    assert not bad["ok"]
    assert says in bad["answer"]
    assert good["ok"]
    assert rig.taken == []


async def test_a_line_without_an_end_is_not_acted_on(path: Path) -> None:
    rig = Rig()
    async with (
        serving(path, rig.submit),
        asyncio.timeout(5),
        connection(path) as (reader, writer),
    ):
        writer.write(seen().rstrip(b"\n"))
        writer.write_eof()
        assert await reader.read() == b""
    assert rig.taken == []


async def test_a_line_that_is_too_long_ends_the_connection(path: Path) -> None:
    async with serving(path):
        async with asyncio.timeout(5), connection(path) as (reader, writer):
            writer.write(b"x" * (control.LINE_BYTES_MAX + 1))
            answer = json.loads(await reader.readline())
            assert await reader.read() == b""
        assert (await talk(path, line(verb="status")))[0]["ok"]
    assert answer["answer"] == control.TOO_LONG


async def test_a_rig_that_does_not_answer_is_answered_for(path: Path) -> None:
    async def submit(rig: str, command: Command) -> CommandAnswered:
        raise TimeoutError

    async with serving(path, submit):
        (answer,) = await talk(path, seen())
    assert answer == {"ok": False, "id": "c-1", "answer": LATE}


async def test_followers_get_states_then_what_comes(path: Path) -> None:
    async with serving(path) as server:
        server.broadcast({"event": "before anyone listens"})
        async with asyncio.timeout(5), connection(path) as (reader, writer):
            writer.write(line(verb="follow"))
            rigs = [json.loads(await reader.readline())["state"]["rig"] for _ in range(2)]
            for n in range(100):
                server.broadcast({"event": n})
            told = [json.loads(await reader.readline()) for _ in range(100)]
    assert rigs == ["bay-1", "bay-2"]
    assert told == [{"event": n} for n in range(100)]


async def test_a_slow_follower_is_dropped_with_a_last_line(path: Path) -> None:
    async with (
        serving(path) as server,
        asyncio.timeout(5),
        connection(path) as (reader, writer),
    ):
        writer.write(line(verb="follow"))
        await reader.readline()
        await reader.readline()
        with capture_logs() as logs:
            for n in range(control.FOLLOW_LINES_MAX + 1):
                server.broadcast({"event": n})
        rest = (await reader.read()).splitlines()
        server.broadcast({"event": "to no one"})
    assert json.loads(rest[-1]) == {"ok": False, "answer": control.TOO_SLOW}
    assert [entry["event"] for entry in logs] == ["control.follower_dropped"]


async def test_a_follower_that_takes_nothing_stops_nobody(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(control, "WRITE_S_MAX", 0.05)
    async with (
        serving(path) as server,
        asyncio.timeout(5),
        connection(path) as (reader, writer),
    ):
        writer.write(line(verb="follow"))
        await reader.readline()
        for _ in range(200):
            server.broadcast({"event": "x" * 60000})
        reader._transport.pause_reading()  # type: ignore[attr-defined]  # a reader that hangs
        assert (await talk(path, line(verb="status")))[0]["ok"]


async def test_a_follower_who_leaves_is_forgotten(path: Path) -> None:
    async with serving(path) as server:
        async with connection(path) as (reader, writer):
            writer.write(line(verb="follow"))
            await reader.readline()
            assert len(server._followers) == 1
        async with asyncio.timeout(5):
            while server._followers:
                await talk(path, line(verb="status"))


async def test_one_program_too_many_is_turned_away_and_told(path: Path) -> None:
    async with serving(path):
        held = []
        for _ in range(control.CLIENTS_MAX):
            held.append(await asyncio.open_unix_connection(str(path)))
        turned_away = await asyncio.to_thread(ask, path, {"verb": "status"}, 5.0)
        for _, writer in held:
            writer.close()
            await writer.wait_closed()
        async with asyncio.timeout(5):
            while not (await talk(path, line(verb="status")))[0]["ok"]:
                pass
    assert turned_away == {"ok": False, "answer": control.TOO_MANY}


async def test_only_owner_and_group_may_open_it_and_it_goes_with_the_daemon(path: Path) -> None:
    async with serving(path):
        assert _mode(path) == 0o660
    assert _mode(path) is None


async def test_a_stale_socket_is_replaced_and_a_live_one_is_not(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as killed:
        killed.bind(str(path))  # its daemon was killed: the file stays, nobody listens
    async with serving(path):
        second = ControlServer(path, list, Rig().submit, VirtualClock())
        with pytest.raises(ControlError, match="another daemon answers there"):
            await second.run()
        assert (await talk(path, line(verb="status")))[0]["ok"]


def test_a_file_of_that_name_is_left_alone(path: Path) -> None:
    path.write_text("notes")
    server = ControlServer(path, list, Rig().submit, VirtualClock())
    with pytest.raises(ControlError, match="is not a socket; move it away"):
        asyncio.run(server.run())
    assert path.read_text() == "notes"


async def test_ask_gets_the_answer(path: Path) -> None:
    async with serving(path):
        answer = await asyncio.to_thread(ask, path, {"verb": "status"}, 5.0)
    assert answer["ok"]


async def test_ask_says_that_nobody_is_there(path: Path) -> None:
    with pytest.raises(ControlError, match="no daemon answers there; start it"):
        ask(path, {"verb": "status"}, 1.0)


async def test_ask_does_not_wait_for_ever(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as silent:
        silent.bind(str(path))
        silent.listen()
        clock = RealClock()
        began_ns = clock.now_ns()
        with pytest.raises(ControlError, match=r"no answer in 0\.05 s"):
            ask(path, {"verb": "status"}, 0.05)
        assert clock.now_ns() - began_ns < 3_000_000_000


async def test_ask_hears_why_it_was_turned_away_in_mid_sentence(path: Path) -> None:
    async def turn_away(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b'{"ok": false, "answer": "full"}\n')
        writer.close()
        await writer.wait_closed()

    long = {"verb": "note", "text": "x" * 4_000_000}  # more than a socket takes at once
    async with await asyncio.start_unix_server(turn_away, path):
        assert await asyncio.to_thread(ask, path, long, 5.0) == {"ok": False, "answer": "full"}


async def test_ask_does_not_take_half_an_answer(path: Path) -> None:
    async def hang_up(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readline()
        writer.write(b'{"ok": tr')
        writer.close()
        await writer.wait_closed()

    async with await asyncio.start_unix_server(hang_up, path):
        with pytest.raises(ControlError, match="hung up before it had answered"):
            await asyncio.to_thread(ask, path, {"verb": "status"}, 1.0)

"""Lockstep over a real socket, the free pace, and the simulator as a process."""

import asyncio
import json
import os
import signal
import sys
from contextlib import asynccontextmanager, suppress
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from pymodbus.client import AsyncModbusTcpClient

from simulator.__main__ import main
from simulator.crew import RepairPlan
from simulator.faults import catalogue
from simulator.faults.base import Onset
from simulator.host import Host
from simulator.pace import Lockstep, Mover, NobodyCameError, read_pace, run_free
from simulator.planned import PlannedFault, Scenario
from simulator.scenarios import find_scenario
from simulator.serve import HOST, ServeError, WallPace
from simulator.yard import Yard

GUARD_S = 20
SEVEN_WALL_NS = 1_773_385_200_000_000_000  # 07:00 UTC on an invented day
ROOT = Path(__file__).parents[2]


def short_yard(*, ends_s=30.0):
    """A yard whose scenario is over at `ends_s`."""
    planned = PlannedFault("pins_pulled", catalogue()["pins_pulled"](), Onset(0.0))
    scenario = Scenario("test", "invented", (RepairPlan(),), (planned,), tail_s=ends_s - 1.0)
    return Yard(scenario, rigs=1, seed=1)


def mover_of(yard, speed=None, notes=None):
    return Mover(yard, WallPace(speed), (lambda: None) if notes is None else notes)


class Client:
    def __init__(self, reader, writer):
        self.reader, self.writer = reader, writer

    async def hear(self):
        async with asyncio.timeout(GUARD_S):
            return json.loads(await self.reader.readline())

    async def ask(self, line):
        self.writer.write(line if isinstance(line, bytes) else json.dumps(line).encode() + b"\n")
        return await self.hear()

    async def hang_up(self):
        self.writer.close()
        await self.writer.wait_closed()


async def plug_in(port):
    return Client(*await asyncio.open_connection(HOST, port))


@asynccontextmanager
async def lockstep(yard, wait_s_max=GUARD_S):
    server = Lockstep(mover_of(yard), wait_s_max)
    port = await server.open(0)
    running = asyncio.create_task(server.run())
    try:
        yield port, running
    finally:
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)
        await server.close()
        await server.close()


async def test_the_plant_moves_only_when_asked_and_just_so_far():
    yard = short_yard()
    async with lockstep(yard) as (port, _):
        client = await plug_in(port)
        hello = await client.hear()
        assert hello == {
            "now_s": 0.0,
            "wall_ns": SEVEN_WALL_NS,
            "period_s": 1.0,
            "pretend": True,
        }
        answer = await client.ask({"until_s": 12.0})
        assert answer == {"now_s": 12.0, "wall_ns": SEVEN_WALL_NS + 12 * 10**9, "over": False}
        assert yard.now_s == yard.rigs[0].now_s == 12.0
        assert (await client.ask({"until_s": 12.0}))["now_s"] == 12.0
        answer = await client.ask({"until_s": 12.75})
        assert answer == {
            "now_s": 12.75,
            "wall_ns": SEVEN_WALL_NS + 12_750_000_000,
            "over": False,
        }
        assert yard.now_s == 12.0, "it moves in whole steps"
        assert "error" in await client.ask({"until_s": 12.5})
        assert (await client.ask({"until_s": 13.0}))["now_s"] == yard.now_s == 13.0
        await client.hang_up()


@pytest.mark.parametrize("broken", [{}, {"disk_full": True}, {"clock_step_s": -3600.0}])
async def test_troubles_of_the_supervisor_s_computer_are_told_while_they_last(broken):
    yard = short_yard()
    async with lockstep(yard) as (port, _):
        client = await plug_in(port)
        assert "host" not in await client.hear()
        yard.rigs[0].host = Host(**broken)
        answer = await client.ask({"until_s": 1.0})
        assert answer.get("host") == (asdict(Host(**broken)) if broken else None)
        yard.rigs[0].host = Host()
        assert "host" not in await client.ask({"until_s": 2.0})
        await client.hang_up()


async def test_over_then_hang_up_ends_it():
    yard = short_yard(ends_s=30.0)
    async with lockstep(yard) as (port, running):
        client = await plug_in(port)
        await client.hear()
        assert (await client.ask({"until_s": 29.0}))["over"] is False
        answer = await client.ask({"until_s": 100.0})
        assert (answer["over"], answer["now_s"]) == (True, 30.0)
        assert (await client.ask({"until_s": 200.0}))["now_s"] == 30.0
        assert not running.done()
        await client.hang_up()
        async with asyncio.timeout(GUARD_S):
            await running


async def test_hanging_up_early_waits_for_the_next_client_with_the_plant_still():
    yard = short_yard()
    async with lockstep(yard) as (port, running):
        client = await plug_in(port)
        await client.hear()
        await client.ask({"until_s": 5.0})
        await client.hang_up()
        again = await plug_in(port)
        assert (await again.hear())["now_s"] == 5.0
        assert not running.done()
        assert (await again.ask({"until_s": 25.0}))["now_s"] == 25.0  # a gap may be skipped
        await again.hang_up()


@pytest.mark.parametrize("came_before", [False, True])
async def test_nobody_comes(came_before):
    yard = short_yard()
    async with lockstep(yard, wait_s_max=0.2) as (port, running):
        if came_before:
            client = await plug_in(port)
            await client.hear()
            await client.hang_up()
        async with asyncio.timeout(GUARD_S):
            with pytest.raises(NobodyCameError, match=r"for 0\.2 s"):
                await running


@pytest.mark.parametrize(
    "line",
    [
        b"\n",
        b"until 12\n",
        b'{"until_s": "12"}\n',
        b'{"until_s": NaN}\n',
        b'{"until_s": 1e400}\n',
        b'{"until_s": 1e9}\n',
        b'{"until_s": 3.0}\n',
        b'{"until_s": 12.0, "more": 1}\n',
        b"[12.0]\n",
        b"\xff\xfe\n",
    ],
)
async def test_a_wrong_line_is_answered_and_moves_nothing(line):
    yard = short_yard()
    async with lockstep(yard) as (port, _):
        client = await plug_in(port)
        await client.hear()
        await client.ask({"until_s": 4.0})
        assert list(await client.ask(line)) == ["error"]
        assert yard.now_s == 4.0
        assert (await client.ask({"until_s": 5.0}))["now_s"] == 5.0
        await client.hang_up()


async def test_an_endless_line_is_cut_off():
    async with lockstep(short_yard()) as (port, _):
        client = await plug_in(port)
        await client.hear()
        assert "4096" in (await client.ask(b"x" * 20_000))["error"]
        # we still had bytes on the way, so the end may come as a reset
        with suppress(ConnectionError):
            assert await client.reader.read() == b""
        client.writer.close()


async def test_a_second_client_is_turned_away():
    yard = short_yard()
    async with lockstep(yard) as (port, _):
        first = await plug_in(port)
        await first.hear()
        second = await plug_in(port)
        assert "another client" in (await second.hear())["error"]
        assert await second.reader.read() == b""
        assert (await first.ask({"until_s": 2.0}))["now_s"] == 2.0
        await second.hang_up()
        await first.hang_up()


async def test_a_taken_port_is_a_clear_error():
    async with lockstep(short_yard()) as (port, _):
        with pytest.raises(ServeError, match=f"pace port {port}"):
            await Lockstep(mover_of(short_yard()), 1.0).open(port)


@pytest.mark.parametrize(("speed", "least_s", "most_s"), [(150.0, 0.18, 5.0), (None, 0.0, 1.0)])
async def test_a_speed_holds_the_plant_back(speed, least_s, most_s):
    loop = asyncio.get_running_loop()
    mover = mover_of(short_yard(ends_s=1000.0), speed)
    begin_s = loop.time()
    for until_s in range(1, 31):
        await mover.advance_to(float(until_s))
    assert least_s <= loop.time() - begin_s <= most_s


async def test_free_run_goes_to_the_end_and_notes_every_step():
    yard = short_yard(ends_s=30.0)
    noted = []
    await run_free(mover_of(yard, notes=lambda: noted.append(yard.now_s)), 180.0)
    assert yard.over
    assert noted == [float(step) for step in range(1, 31)]


@pytest.mark.parametrize(
    ("text", "pace"),
    [
        ("real", (False, 1.0)),
        ("speed=180", (False, 180.0)),
        ("lockstep", (True, None)),
        ("lockstep=180", (True, 180.0)),
    ],
)
def test_pace_as_typed(text, pace):
    assert read_pace(text) == pace


@pytest.mark.parametrize(
    "text", ["", "fast", "speed", "speed=0", "speed=x", "lockstep=-1", "real=2"]
)
def test_wrong_pace_says_what_is_right(text):
    with pytest.raises(ValueError, match="is not real, speed=N"):
        read_pace(text)


async def start(*arguments):
    return await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "simulator",
        *arguments,
        cwd=ROOT,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )


async def ended(process):
    async with asyncio.timeout(GUARD_S):
        out, err = await process.communicate()
    return process.returncode, out.decode(), err.decode()


async def ready_of(process):
    async with asyncio.timeout(GUARD_S):
        return json.loads(await process.stdout.readline())


async def test_process_in_lockstep_from_ready_to_over(tmp_path):
    process = await start(
        "--scenario=whole_cure",
        "--rigs=2",
        "--pace=lockstep",
        "--fault=pins_pulled@5",
        f"--truth={tmp_path / 'truth.csv'}",
    )
    ready = await ready_of(process)
    assert ready["ready"] is True
    assert ready["scenario"] == "whole_cure"
    assert ready["over_at_s"] == find_scenario("whole_cure").over_at_s
    wire = AsyncModbusTcpClient(HOST, port=ready["modbus_port"], timeout=5, retries=0)
    assert await wire.connect()
    client = await plug_in(ready["pace_port"])
    await client.hear()
    await client.ask({"until_s": 21.0})
    # 20 s after 07:00 the crews hold down start at both rigs
    for unit in (3, 13):
        assert (await wire.read_discrete_inputs(0, count=1, device_id=unit)).bits[0]
    assert (await client.ask({"until_s": 20_000.0}))["over"] is True
    wire.close()
    await client.hang_up()
    status, _, err = await ended(process)
    assert (status, err) == (0, "PRETEND RIG, nothing is heated.\n")
    assert len((tmp_path / "truth.csv").read_text(encoding="utf-8").splitlines()) > 100


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
@pytest.mark.parametrize("pace", ["real", "lockstep=180"])
async def test_process_ends_cleanly_on_a_signal(number, pace):
    process = await start(f"--pace={pace}")
    ready = await ready_of(process)
    assert (ready["pace_port"] is None) is (pace == "real")
    client = None
    if ready["pace_port"]:
        client = await plug_in(ready["pace_port"])
        await client.hear()
    process.send_signal(number)
    status, _, err = await ended(process)
    assert (status, err) == (0, "PRETEND RIG, nothing is heated.\n")
    if client:
        await client.hang_up()


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (["--scenario=nowhere"], 2, "no scenario is called 'nowhere'; choose one of"),
        (["--fault=gremlins"], 2, "no fault is called 'gremlins'; choose one of: "),
        (["--fault=hose_burst:bag=left"], 2, "bag: Input should be 'inner' or 'outer'"),
        (["--pace=warp"], 2, "is not real, speed=N"),
        (["--rigs=26"], 2, "choose 1 to 25"),
        (["--pace=lockstep", "--wait-s=0.1"], 1, "no one connected to the pace port for 0.1 s"),
        (["--truth=/nowhere/at/all.csv"], 2, "No such file or directory"),
    ],
)
def test_main_says_what_is_wrong(arguments, status, said, capsys):
    assert main(arguments) == status
    assert said in capsys.readouterr().err


async def test_process_hands_on_its_exit_status():
    status, out, err = await ended(await start("--scenario=nowhere"))
    assert (status, out) == (2, "")
    assert err.startswith("simulator: no scenario is called 'nowhere'")


def test_list_names_all_there_is(capsys):
    assert main(["--list"]) == 0
    out = capsys.readouterr().out
    assert "PRETEND RIG, nothing is heated" in out
    assert all(name in out for name in [*catalogue(), "whole_cure", "demo", "hose_fails"])


def test_help_says_that_nothing_is_heated(capsys):
    with pytest.raises(SystemExit) as caught:
        main(["--help"])
    assert caught.value.code == 0
    assert "PRETEND RIG, nothing is heated" in capsys.readouterr().out


def test_a_mending_crew_does_not_end_at_the_fault():
    yard = short_yard(ends_s=30.0)
    mending = replace(yard.scenario, plans=(RepairPlan(mends_after_s=60.0),))
    yard = Yard(mending, rigs=1, seed=1)
    for _ in range(60):
        yard.advance()
    assert (yard.now_s, yard.over) == (60.0, False)

"""Old lines: kept by the kernel, the board or the wire, none is ever taken for new."""

import asyncio
import random
import signal
import subprocess
import sys
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio

from daemon.clock import RealClock
from drivers.serial_lines.fake import Fault
from drivers.serial_port import SerialPort
from tests.unit.lines_bench import (
    EVERY_S,
    GUARD_S,
    LULL_S,
    TRUTH,
    Bench,
    TimedBoard,
    made_bench,
    running,
)
from tests.virtual_clock import NS_PER_S, settle

SEED = 20261125


@pytest_asyncio.fixture(params=["key_value", "csv"])
async def bench(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Bench]:
    async with made_bench(tmp_path, request.param) as made:
        yield made


@pytest.mark.parametrize("hang_s", [1.0, 2.0, 30.0, 600.0])
async def test_what_waited_while_we_hung_is_never_taken_for_new(
    bench: Bench, hang_s: float
) -> None:
    """In 600 s the kernel's buffer runs full, and it keeps the oldest."""
    async with running(bench):
        await bench.advance(3.0)
        last_ns = bench.read().at_ns
        bench.hang(hang_s)
        assert (bench.board.lost_bytes > 0) == (hang_s == 600.0)
        await settle()
        assert bench.read().at_ns in {0, last_ns} or bench.read().value is None
        bench.check()
        await bench.advance(LULL_S - 0.125)
        assert bench.read().at_ns == last_ns
        await bench.advance(3.0)
        assert bench.reasons() == {""}
        assert bench.read("sent_s").at_ns > last_ns + hang_s * NS_PER_S


async def test_a_short_hang_loses_nothing(bench: Bench) -> None:
    async with running(bench):
        await bench.advance(3.0)
        before = bench.link.statistics()
        bench.hang(EVERY_S)
        await settle()
        assert bench.read().at_ns == bench.clock.now_ns()
        assert bench.link.statistics().failures == before.failures


@pytest.mark.parametrize(("pause_s", "believed"), [(0.5, True), (0.75, False), (30.0, False)])
@pytest.mark.parametrize("hung", [False, True])
async def test_a_line_that_was_long_on_its_way_is_old(
    bench: Bench, pause_s: float, believed: bool, hung: bool
) -> None:
    """The board stood still within a line, or we did: its first values are from before."""
    async with running(bench):
        await bench.advance(3.0)
    async with running(bench, talking=False):
        await bench.advance(0.25)
        line = bench.board.line()
        bench.board.send(line[:-3])
        await bench.advance(0.125)
        if hung:
            bench.clock._now_ns += round(pause_s * NS_PER_S)
            bench.wake_late()
            await bench.advance(LULL_S + 0.25)
        else:
            await bench.advance(pause_s - 0.125)
        bench.board.send(line[-3:])
        await settle()
        assert (bench.read().at_ns == bench.clock.now_ns()) == (believed and not hung)
        for _ in range(4):  # and those that follow are read
            await bench.advance(0.25)
            bench.board.say()
        await bench.advance(0.125)
        assert bench.read("sent_s").at_ns > bench.clock.now_ns() - NS_PER_S // 4


async def test_a_line_that_began_while_all_was_old_is_thrown_away_whole(bench: Bench) -> None:
    async with running(bench):
        await bench.advance(3.0)
    async with running(bench, talking=False):
        await bench.advance(0.25)
        bench.clock._now_ns += NS_PER_S
        bench.wake_late()
        await bench.advance(LULL_S - 0.125)
        line = bench.board.line()
        bench.board.send(line[:9])
        await bench.advance(0.125)
        bench.board.send(line[9:])
        await bench.advance(0.125)
        assert bench.link.statistics().failures == 1  # the first, before it stood
        bench.board.say()
        await settle()
        assert bench.read().at_ns == bench.clock.now_ns()


async def test_a_pause_while_the_port_is_read_makes_a_line_older_not_newer(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with running(bench):
        await bench.advance(3.125)
        take, began_ns = SerialPort.take, bench.clock.now_ns()
        pause_ns = NS_PER_S // 4

        def slow_take(port: SerialPort) -> bytes:
            taken = take(port)
            bench.clock._now_ns = began_ns + pause_ns
            return taken

        bench.board.say()
        monkeypatch.setattr(SerialPort, "take", slow_take)
        await settle()
        monkeypatch.undo()
        bench.wake_late()
        assert bench.read().at_ns == began_ns
        assert bench.clock.now_ns() == began_ns + pause_ns


async def test_what_waited_before_opening_is_never_taken_for_new(bench: Bench) -> None:
    bench.hang(30.0)
    async with running(bench):
        await bench.advance(3.0)
        assert bench.reasons() == {""}
        numbers = bench.link.statistics().requests
    assert numbers < 10


async def test_polled_once_long_ago_the_port_holds_old_lines(bench: Bench) -> None:
    async with running(bench):
        await bench.advance(3.0)
    last_ns = bench.read().at_ns
    bench.hang(30.0)
    async with running(bench, talking=False):
        await settle()
        assert bench.read().at_ns == last_ns


@pytest.mark.parametrize("number", [0, 3, 40000, 65530])
async def test_a_board_that_starts_again_is_believed_when_it_stands(
    bench: Bench, number: int
) -> None:
    bench.board.number = 65530 - 8
    async with running(bench):
        await bench.advance(3.0)
        assert bench.reasons() == {""}
        bench.board.restart(number)
        await bench.advance(4.0)
        assert bench.reasons() == {""}


async def test_lines_held_back_while_the_bus_stalled_are_not_new(bench: Bench) -> None:
    """We go on looking; the adapter keeps the first few, drops the rest, then lets go."""
    async with running(bench):
        await bench.advance(3.0)
        last_ns = bench.read().at_ns
    held_back = b"".join(bench.board.line() for _ in range(4))
    async with running(bench, talking=False):
        await bench.advance(60.0)
        bench.board.number += 100
        bench.board.send(held_back)
        for _ in range(2):
            await bench.advance(0.25)
            assert bench.read().at_ns == last_ns
            bench.board.say()
        await bench.advance(0.25)
        bench.board.say()
        await bench.advance(0.25)
        assert bench.read("sent_s").value is not None


async def test_a_board_that_starts_again_and_again_is_not_believed(bench: Bench) -> None:
    bench.board.number = 20000
    async with running(bench):
        await bench.advance(3.0)
        for _ in range(12):
            bench.board.restart()
            await bench.advance(EVERY_S)
        assert bench.reasons() == {"bad_reply"}


async def test_after_a_flood_what_comes_next_may_be_old(bench: Bench) -> None:
    async with running(bench):
        await bench.advance(3.0)
        last_ns = bench.read().at_ns
        bench.board.fault = Fault.FLOOD
        bench.board.say()
        bench.board.fault = None
        bench.board.number = 7  # where it was, nearly
        await bench.advance(0.5)
        bench.board.say()  # the first is thrown away in any case
        await bench.advance(0.125)
        assert bench.read().at_ns == last_ns
        await bench.advance(2.0)
        assert bench.read().at_ns > last_ns


LISTENER = """
import asyncio, sys
from daemon.clock import RealClock
from drivers.serial_lines import LinesSettings, PointSettings, open_link

async def main():
    clock = RealClock()
    settings = LinesSettings(device=sys.argv[1], form="key_value", period_s=0.05, timeout_s=0.2)
    link = open_link("board", settings, {"sent_s": PointSettings(key="sent_s")}, {}, clock)
    task = asyncio.create_task(link.run())
    told = None
    while True:
        await clock.sleep_until(clock.now_ns() + 1_000_000)
        sample = link.snapshot()["sent_s"]
        if sample.value is not None and sample.at_ns != told:
            told = sample.at_ns
            print(sample.at_ns / 1e9, sample.value, flush=True)

asyncio.run(main())
"""


async def test_a_process_that_was_stopped_takes_no_old_line_for_new(tmp_path: Path) -> None:
    """A real one, stopped for a second by SIGSTOP while the board goes on."""
    clock = RealClock()
    board = TimedBoard(tmp_path / "board", clock, "key_value")
    board.plug()
    listener = await asyncio.create_subprocess_exec(
        sys.executable, "-c", LISTENER, str(board.path), stdout=subprocess.PIPE
    )
    assert listener.stdout is not None
    talking = asyncio.create_task(board.talk(clock, 0.06))
    ages_s: list[float] = []

    async def listen(lines: int) -> None:
        assert listener.stdout is not None
        for _ in range(lines):
            at_s, sent_s = map(float, (await listener.stdout.readline()).split())
            ages_s.append(at_s - sent_s)

    async with asyncio.timeout(GUARD_S):
        await listen(5)
        listener.send_signal(signal.SIGSTOP)
        await clock.sleep_until(clock.now_ns() + NS_PER_S)
        listener.send_signal(signal.SIGCONT)
        await listen(8)
        listener.kill()
        await listener.wait()
    talking.cancel()
    await asyncio.gather(talking, return_exceptions=True)
    board.unplug()
    assert max(ages_s) < 0.2  # two periods, and a busy computer


@pytest.mark.proves("bad bytes: nothing acted on")
async def test_whatever_happens_no_value_is_wrong_or_older_than_it_says(tmp_path: Path) -> None:
    """Six hundred turns of one seed; a failure names the turn."""
    dice = random.Random(SEED)  # noqa: S311 - seeded so that it can be replayed
    bench = Bench(tmp_path)
    good = 0
    faults = [*(set(Fault) - {Fault.STALE, Fault.REPLAY}), *[None] * 12]
    faults.sort(key=str)
    async with running(bench):
        for turn in range(600):
            match dice.randrange(12):
                case 0:
                    bench.hang(dice.choice((0.5, 1.0, 5.0, 60.0)))
                case 1:
                    bench.board.restart(dice.randrange(65536))
                case 2:
                    bench.board.unplug()
                case 3 | 4:
                    bench.board.unplug()
                    bench.board.plug()
                case 5:
                    bench.board.send(dice.randbytes(dice.randrange(3000)))
                case _:
                    bench.board.fault = dice.choice(faults)
            await bench.advance(dice.choice((0.125, 0.5, 2.0)))
            sample = bench.read()
            assert sample.value in {None, TRUTH["pad_inner_c"]}, f"seed {SEED}, turn {turn}"
            good += sample.value is not None
    assert 100 < good < 500
    await bench.link.close()
    bench.board.unplug()


@pytest.mark.proves("bad bytes: nothing acted on")
async def test_thousands_of_bruised_lines_give_no_wrong_value(bench: Bench) -> None:
    dice = random.Random(SEED)  # noqa: S311 - seeded so that it can be replayed
    async with running(bench, talking=False):
        for _ in range(30):
            bench.board.say()
            await bench.advance(0.125)
        believed, believed_ns = 0, bench.read().at_ns
        for turn in range(2000):
            text = f"{turn / 10:.1f}"
            bench.board.values["pad_inner_c"] = text
            line = bench.board.line()
            changed = bytearray(line)
            for _ in range(dice.randint(0, 2)):
                changed[dice.randrange(len(line))] = dice.randrange(256)
            bench.board.send(bytes(changed))
            await bench.clock.advance(0.0625)
            bench.check()
            if bench.read().at_ns > believed_ns:
                believed += 1
                believed_ns = bench.read().at_ns
                assert line in changed, f"seed {SEED}, turn {turn}"
                assert bench.read().value == float(text), f"seed {SEED}, turn {turn}"
    assert 400 < believed < 1500  # both ways

"""The link and a board on a real pseudo-terminal: good values, or a reason, never an old value.

The board sends the time at which it sends, so that every good sample shows its own age.
"""

import asyncio
import heapq
import os
import random
import signal
import subprocess
import sys
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path

import pytest
import pytest_asyncio

from daemon.clock import RealClock
from drivers.base import DeviceClosed, Link, Sample
from drivers.serial_lines import LinesSettings, PointSettings, open_link
from drivers.serial_lines.fake import FakeBoard, Fault
from drivers.serial_port import SerialPort
from tests.virtual_clock import NS_PER_S, VirtualClock, settle

GUARD_S = 10.0
EVERY_S = 0.5
TIMEOUT_S = 3.0
LULL_S = 0.5  # two periods
TRUTH = {"pad_inner_c": 139.8, "here_button": 0.0}  # invented
SEED = 20261125


class TimedBoard(FakeBoard):
    """A board that measures the time."""

    def __init__(self, path: Path, clock: VirtualClock | RealClock, form: str) -> None:
        values = {"sent_s": "", **{key: f"{value:g}" for key, value in TRUTH.items()}}
        super().__init__(path, values, form)
        self._clock = clock

    def line(self) -> bytes:
        self.values["sent_s"] = f"{self._clock.now_ns() / NS_PER_S:.6f}"
        return super().line()


class Bench:
    """A link, its board, and the virtual clock of both."""

    def __init__(self, folder: Path, form: str = "key_value") -> None:
        self.clock = VirtualClock()
        self.board = TimedBoard(folder / "board", self.clock, form)
        self.board.plug()
        columns = list(self.board.values) if form == "csv" else []
        self.link: Link = open_link(
            "board",
            LinesSettings(
                device=str(self.board.path), form=form, columns=columns, timeout_s=TIMEOUT_S
            ),
            {key: PointSettings(key=key) for key in self.board.values},
            {},
            self.clock,
        )

    def read(self, name: str = "pad_inner_c") -> Sample:
        return self.link.snapshot()[name]

    def reasons(self) -> set[str]:
        return {sample.reason for sample in self.link.snapshot().values()}

    async def advance(self, seconds: float) -> None:
        """Time passes in small steps; no good sample is ever older than it says."""
        for _ in range(round(seconds / 0.125)):
            await self.clock.advance(0.125)
            self.check()

    def check(self) -> None:
        """Both promises: no bad sample has a value, and no good one lies about its age."""
        for sample in self.link.snapshot().values():
            assert (sample.value is None) == (sample.quality == "bad")
        sent = self.link.snapshot()["sent_s"]
        if sent.value is not None:
            older_s = sent.at_ns / NS_PER_S - sent.value
            assert -1e-6 < older_s <= LULL_S + 1e-6, f"{older_s:.3f} s older than it says"
            assert sent.at_ns <= self.clock.now_ns()

    def hang(self, seconds: float) -> None:
        """This whole program stands still, and the board does not."""
        for _ in range(round(seconds / EVERY_S)):
            self.clock._now_ns += round(EVERY_S * NS_PER_S)
            self.board.say()
        self.wake_late()

    def wake_late(self) -> None:
        """Who should have slept until a time that was skipped wakes now, not in the past."""
        late = [(max(due_ns, self.clock.now_ns()), *who) for due_ns, *who in self.clock._sleepers]
        self.clock._sleepers = late
        heapq.heapify(self.clock._sleepers)


@pytest_asyncio.fixture(params=["key_value", "csv"])
async def bench(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Bench]:
    made = Bench(tmp_path, request.param)
    yield made
    await made.link.close()
    made.board.unplug()
    await settle()


@asynccontextmanager
async def running(bench: Bench, *, talking: bool = True) -> AsyncIterator[asyncio.Task[None]]:
    """The link listens and, if told so, the board sends a line every half second."""
    tasks = [asyncio.create_task(bench.link.run())]
    if talking:
        tasks.append(asyncio.create_task(bench.board.talk(bench.clock, EVERY_S)))
    try:
        yield tasks[0]
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await settle()


async def test_before_the_first_line_nothing_is_claimed(bench: Bench) -> None:
    assert bench.reasons() == {"never_read"}
    async with running(bench, talking=False):
        await bench.advance(TIMEOUT_S - 0.125)
        assert bench.reasons() == {"never_read"}
        await bench.advance(0.25)
        assert bench.reasons() == {"no_reply"}


async def test_every_value_is_read_as_its_line_comes(bench: Bench) -> None:
    async with running(bench):
        await bench.advance(3.0)
        assert {name: bench.read(name).value for name in TRUTH} == TRUTH
        assert {sample.quality for sample in bench.link.snapshot().values()} == {"good"}
    await bench.advance(0.0625)
    bench.clock._now_ns += NS_PER_S // 16
    async with running(bench, talking=False):
        bench.board.values["pad_inner_c"] = "140.1"
        bench.board.say()
        await settle()  # no time passes: not the grid but the line is what it waits for
        assert bench.read().value == 140.1
        assert bench.read().at_ns == bench.clock.now_ns()
        assert bench.read().raw == tuple(b"140.1")


async def test_a_line_cut_anywhere_is_one_line(bench: Bench) -> None:
    async with running(bench):
        await bench.advance(3.0)
    async with running(bench, talking=False):
        await bench.advance(0.125)
        for cut in range(1, 12):
            line = bench.board.line()
            for place in range(0, len(line), cut):
                bench.board.send(line[place : place + cut])
                await settle()
                assert (bench.read("sent_s").at_ns == bench.clock.now_ns()) == (
                    place + cut >= len(line)
                )
            assert bench.read().value == TRUTH["pad_inner_c"]
            await bench.advance(0.125)


HARMLESS = {Fault.TWICE, Fault.REPLAY, Fault.SPLIT}
REASONS = {Fault.SILENT: "no_reply"}


@pytest.mark.parametrize("fault", Fault)
async def test_a_fault_becomes_its_reason_and_heals(bench: Bench, fault: Fault) -> None:
    async with running(bench):
        await bench.advance(3.0)
        assert bench.reasons() == {""}
        bench.board.fault = fault
        last_ns = bench.read().at_ns
        await bench.advance(TIMEOUT_S + 1)
        if fault in HARMLESS:
            assert bench.reasons() == {""}
        else:
            assert bench.reasons() == {REASONS.get(fault, "bad_reply")}
            # A number that stands still is new once.
            assert bench.read().at_ns - last_ns in {0, NS_PER_S // 2}
            assert (bench.read().at_ns > last_ns) == (fault is Fault.STUCK)
        bench.board.fault = None
        await bench.advance(2.5)
        assert bench.reasons() == {""}
        assert {name: bench.read(name).value for name in TRUTH} == TRUTH
    assert bench.link.statistics().failures > 0


async def test_noise_long_ago_is_silence(bench: Bench) -> None:
    async with running(bench):
        await bench.advance(3.0)
        bench.board.fault = Fault.SILENT
        await bench.advance(1.0)
        bench.board.send(b"\xff\x00noise")
        await bench.advance(TIMEOUT_S)
        assert bench.reasons() == {"bad_reply"}
        await bench.advance(1.0)
        assert bench.reasons() == {"no_reply"}


async def test_letters_and_words_of_the_board(bench: Bench) -> None:
    told = {
        "139.8:M": (139.8, "good", "maintenance_required"),
        "139.8:S": (139.8, "uncertain", "out_of_specification"),
        "139.8:C": (None, "bad", "check_function"),
        "139.8:F": (None, "bad", "failure"),
        "!open": (None, "bad", "open_circuit"),
        "nan": (None, "bad", "not_a_number"),
        "": (None, "bad", "missing"),
    }
    async with running(bench):
        await bench.advance(3.0)
        for text, wanted in told.items():
            bench.board.values["pad_inner_c"] = text
            await bench.advance(EVERY_S)
            sample = bench.read()
            assert (sample.value, sample.quality, sample.reason) == wanted
            assert sample.at_ns == bench.read("here_button").at_ns
            assert bench.read("here_button").quality == "good"


async def test_a_key_left_out_is_missing_and_others_are_read(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    async with running(bench):
        await bench.advance(3.0)
        del bench.board.values["pad_inner_c"]
        bench.board.values["uptime"] = "12"
        await bench.advance(EVERY_S)
        assert bench.read().reason == "missing"
        assert bench.read("here_button").value == 0.0
    await bench.link.close()
    bench.board.unplug()


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
        await bench.advance(0.25)
        bench.board.say()  # and the next line is read
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


async def test_a_board_that_starts_again_and_again_is_not_believed(bench: Bench) -> None:
    bench.board.number = 20000
    async with running(bench):
        await bench.advance(3.0)
        for _ in range(12):
            bench.board.restart()
            await bench.advance(EVERY_S)
        assert bench.reasons() == {"bad_reply"}


async def test_left_out_numbers_are_counted(bench: Bench) -> None:
    async with running(bench):
        await bench.advance(3.0)
        before = bench.link.statistics()
        bench.board.number += 3
        await bench.advance(EVERY_S)
        after = bench.link.statistics()
        assert after.failures - before.failures == 3
        assert after.requests - before.requests == 4
        assert bench.reasons() == {""}


async def test_a_flood_takes_bounded_work_and_leaves_others_their_time(bench: Bench) -> None:
    async with running(bench):
        await bench.advance(3.0)
        bench.board.fault = Fault.FLOOD
        before = bench.link.statistics()
        for _ in range(50):  # as fast as it can, while no time passes
            bench.board.say()
            await settle()
        after = bench.link.statistics()
        assert after.requests - before.requests < 20
        # What is not taken stays with the kernel until that drops it.
        assert bench.board.lost_bytes > 500_000
        await bench.advance(TIMEOUT_S + 1)
        assert bench.reasons() == {"bad_reply"}
        bench.board.fault = None
        await bench.advance(3.0)
        assert bench.reasons() == {""}


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


@pytest.mark.parametrize(("lines", "fault"), [(11, False), (12, True)])
async def test_a_lump_within_the_rate_is_no_flood(bench: Bench, lines: int, fault: bool) -> None:
    """20 lines a second, and two periods of 0.25 s: 10, and one cut off before."""
    async with running(bench):
        await bench.advance(3.0)
    async with running(bench, talking=False):
        await bench.advance(0.5)
        before = bench.link.statistics().failures
        for _ in range(lines):
            bench.board.say()
        await settle()
        assert (bench.link.statistics().failures > before) == fault


async def test_unplugged_shows_at_once_and_replugged_is_found_under_another_name(
    bench: Bench,
) -> None:
    async with running(bench):
        await bench.advance(3.0)
        last_ns, first = bench.read().at_ns, bench.board.path.readlink()
        holder = os.open("/dev/ptmx", os.O_RDWR | os.O_NOCTTY)  # takes the next free name
        bench.board.unplug()
        await settle()
        assert bench.reasons() == {"link_down"}
        assert bench.read().at_ns == last_ns
        failures = bench.link.statistics().failures
        await bench.advance(10.0)
        assert bench.reasons() == {"link_down"}
        assert 5 <= bench.link.statistics().failures - failures <= 10  # less and less often
        others = [os.open("/dev/ptmx", os.O_RDWR | os.O_NOCTTY) for _ in range(2)]
        bench.board.plug()
        for fd in (holder, *others):
            os.close(fd)
        assert bench.board.path.readlink() != first
        await bench.advance(4.0)
        assert bench.reasons() == {""}
        bench.board.unplug()
        failures = bench.link.statistics().failures
        await bench.advance(1.0)
        assert bench.link.statistics().failures - failures >= 3  # often again
    assert bench.link.statistics().reconnects == 1


async def test_a_port_in_use_is_link_down_until_it_is_free(bench: Bench, tmp_path: Path) -> None:
    other = Bench.__new__(Bench)
    other.clock, other.board = bench.clock, bench.board
    other.link = open_link(
        "second",
        LinesSettings(device=str(bench.board.path), form="key_value"),
        {"pad_inner_c": PointSettings(key="pad_inner_c")},
        {},
        bench.clock,
    )
    async with running(bench):
        await bench.advance(3.0)
        async with running(other, talking=False):
            await bench.advance(1.0)
            assert other.reasons() == {"link_down"}
            assert bench.reasons() == {""}
            await bench.link.close()
            await bench.advance(5.0)
            assert other.reasons() != {"link_down"}
    await other.link.close()


async def test_closing_ends_run_and_use_after_it_is_an_error(bench: Bench) -> None:
    async with running(bench, talking=False) as task:
        await bench.advance(1.0)
        await bench.link.close()
        await bench.link.close()
        await bench.advance(0.5)
        async with asyncio.timeout(GUARD_S):
            await task
    assert bench.reasons() == {"link_down"}
    bench.link.renew("bay-1")
    for use in (
        bench.link.run(),
        bench.link.poll_once(),
        bench.link.write("pad_inner_c", on=True),
    ):
        with pytest.raises(DeviceClosed, match="open a new one"):
            await use


async def test_it_only_reads(bench: Bench) -> None:
    with pytest.raises(KeyError, match="only reads"):
        await bench.link.write("pad_inner_c", on=True)


@contextmanager
def real_bench(folder: Path, timeout_s: float) -> Iterator[tuple[Link, TimedBoard, RealClock]]:
    """The same in real time, quick enough for a test."""
    clock = RealClock()
    board = TimedBoard(folder / "board", clock, "key_value")
    link = open_link(
        "board",
        LinesSettings(device=str(board.path), form="key_value", period_s=0.05, timeout_s=timeout_s),
        {"pad_inner_c": PointSettings(key="pad_inner_c")},
        {},
        clock,
    )
    yield link, board, clock
    board.unplug()


async def test_polled_once_without_a_port_it_returns_at_once(bench: Bench) -> None:
    bench.board.unplug()
    for _ in range(4):
        async with asyncio.timeout(1.0):  # much less than its own
            await bench.link.poll_once()
        assert bench.reasons() == {"link_down"}


async def test_polled_once_in_real_time(tmp_path: Path) -> None:
    with real_bench(tmp_path, timeout_s=2.0) as (link, board, clock):
        async with asyncio.timeout(GUARD_S):
            await link.poll_once()
            assert link.snapshot()["pad_inner_c"].reason == "link_down"
            board.plug()
            talking = asyncio.create_task(board.talk(clock, 0.06))
            for _ in range(2):
                before_ns = clock.now_ns()
                await link.poll_once()
                assert link.snapshot()["pad_inner_c"].value == TRUTH["pad_inner_c"]
                assert link.snapshot()["pad_inner_c"].at_ns > before_ns
            talking.cancel()
            await asyncio.gather(talking, return_exceptions=True)
        await link.close()


@pytest.mark.parametrize(("fault", "reason"), [(None, "no_reply"), (Fault.GARBAGE, "bad_reply")])
async def test_polled_once_for_nothing(tmp_path: Path, fault: Fault | None, reason: str) -> None:
    with real_bench(tmp_path, timeout_s=0.2) as (link, board, clock):
        board.plug()
        board.fault = fault or Fault.SILENT
        talking = asyncio.create_task(board.talk(clock, 0.06))
        async with asyncio.timeout(GUARD_S):
            await link.poll_once()
        assert link.snapshot()["pad_inner_c"].reason == reason
        talking.cancel()
        await asyncio.gather(talking, return_exceptions=True)
        await link.close()


async def test_closing_or_cancelling_ends_polling_once(tmp_path: Path) -> None:
    with real_bench(tmp_path, timeout_s=60.0) as (link, board, _):
        board.plug()
        async with asyncio.timeout(GUARD_S):
            polling = asyncio.create_task(link.poll_once())
            await settle()
            polling.cancel()
            with pytest.raises(asyncio.CancelledError):
                await polling
            polling = asyncio.create_task(link.poll_once())
            await settle()
            assert not polling.done()
            await link.close()
            await polling


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

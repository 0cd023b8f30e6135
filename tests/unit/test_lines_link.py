"""The link and its board: values as their lines come, or a reason; floods, plugs, closing."""

import asyncio
import os
from collections.abc import AsyncIterator
from pathlib import Path
from types import SimpleNamespace

import pytest
import pytest_asyncio
from serial.tools import list_ports

from drivers.base import DeviceClosed
from drivers.serial_lines import LinesSettings, PointSettings, open_link
from drivers.serial_lines.fake import Fault
from tests.unit.lines_bench import (
    EVERY_S,
    GUARD_S,
    TIMEOUT_S,
    TRUTH,
    Bench,
    made_bench,
    real_bench,
    running,
)
from tests.virtual_clock import NS_PER_S, settle


@pytest_asyncio.fixture(params=["key_value", "csv"])
async def bench(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Bench]:
    async with made_bench(tmp_path, request.param) as made:
        yield made


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


async def test_replugged_it_is_found_by_its_serial_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """There is no USB here: pyserial's list of ports is the boundary."""
    bench = Bench(tmp_path)

    def plugged() -> list[SimpleNamespace]:
        if not bench.board.path.is_symlink():
            return []
        device = str(bench.board.path.readlink())
        return [SimpleNamespace(serial_number="A1B2", device=device)]

    monkeypatch.setattr(list_ports, "comports", plugged)
    bench.link = open_link(
        "board",
        LinesSettings(usb_serial_number="A1B2", form="key_value"),
        {key: PointSettings(key=key) for key in bench.board.values},
        {},
        bench.clock,
    )
    async with running(bench):
        for _ in range(2):
            await bench.advance(3.0)
            assert bench.reasons() == {""}
            bench.board.unplug()
            await bench.advance(3.0)
            assert bench.reasons() == {"link_down"}
            bench.board.plug()
        await bench.advance(4.0)
        assert bench.reasons() == {""}
    await bench.link.close()
    bench.board.unplug()


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

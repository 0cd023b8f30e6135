"""Outputs on only while they move, for a relay outside that falls when the edges cease."""

import asyncio
import os
import signal
import sys

import pytest

from drivers.base import LinkDown
from drivers.modbus.fake import FakeServer
from drivers.modbus.toggling import Toggle
from tests.unit.link_polls import at_rest, running
from tests.unit.relay_room import BARE, GUARDED, WIRES, WRITE_COIL, Room, room
from tests.virtual_clock import settle

POINT = "permit-2"
READ_COIL = 1


def read_back(stand: Room) -> float | None:
    return stand.link.snapshot()[POINT].value


async def moving(stand: Room) -> None:
    """Switched on, and seen to move."""
    await at_rest(stand.clock)
    await stand.link.write(POINT, on=True)
    await stand.seconds(2)
    assert read_back(stand) == 1.0


@WIRES
async def test_it_moves_once_a_poll_and_reads_back_on(wire: str) -> None:
    async with room(wire, toggled=(POINT,)) as stand, running(stand.link):
        await at_rest(stand.clock)
        assert (read_back(stand), stand.edges(BARE)) == (0.0, [])
        await stand.link.write(POINT, on=True)
        assert stand.edges(BARE) == [False, True]  # the first edge at once
        for second in range(1, 8):
            await stand.seconds(1)
            assert read_back(stand) == 1.0
            assert stand.edges(BARE)[2:] == [at % 2 == 1 for at in range(second)]


async def test_the_first_edge_is_one_even_if_the_coil_was_left_closed() -> None:
    async with room(toggled=(POINT,)) as stand:
        stand.fake.values[BARE, "coil", 0] = 1
        await stand.link.write(POINT, on=True)
        assert stand.edges(BARE) == [False, True]


async def test_one_that_moves_is_not_begun_again() -> None:
    async with room(toggled=(POINT,)) as stand, running(stand.link):
        await moving(stand)
        told = stand.edges(BARE)
        await stand.link.write(POINT, on=True)
        assert stand.edges(BARE) == told


@WIRES
async def test_off_opens_the_coil_and_ends_the_edges(wire: str) -> None:
    async with room(wire, toggled=(POINT,)) as stand, running(stand.link):
        await moving(stand)
        await stand.link.write(POINT, on=False)
        told = stand.edges(BARE)
        assert told[-1] is False
        await stand.seconds(5)
        assert stand.edges(BARE) == told
        assert read_back(stand) == 0.0


async def test_an_off_that_fails_ends_the_edges_too_and_is_tried_again() -> None:
    async with room(toggled=(POINT,)) as stand, running(stand.link):
        await moving(stand)
        stand.fake.values[BARE, "coil", 0] = 1
        stand.silence(BARE)
        with pytest.raises(LinkDown):
            await stand.link.write(POINT, on=False)
        # The silent module carries out what it does not answer; as if it had not:
        stand.fake.values[BARE, "coil", 0] = 1
        stand.silence()
        told = len(stand.edges(BARE))
        await stand.seconds(3)
        assert set(stand.edges(BARE)[told:]) == {False}
        assert not stand.coil(BARE)


async def test_an_off_that_comes_while_it_is_switched_on_wins() -> None:
    async with room(toggled=(POINT,)) as stand, running(stand.link):
        await at_rest(stand.clock)
        on = asyncio.ensure_future(stand.link.write(POINT, on=True))
        off = asyncio.ensure_future(stand.link.write(POINT, on=False))
        await asyncio.gather(on, off)
        await stand.seconds(4)
        assert stand.edges(BARE) == [False, True, False]
        assert read_back(stand) == 0.0


@pytest.mark.parametrize(("alive", "stays"), [(("bay-1", "bay-2"), True), (("bay-1",), False)])
@pytest.mark.proves("an output stays on only while its owner is alive")
@WIRES
async def test_it_moves_only_while_its_owner_lives(
    wire: str, alive: tuple[str, ...], stays: bool
) -> None:
    async with room(wire, toggled=(POINT,)) as stand, running(stand.link):
        await moving(stand)
        await stand.seconds(4, alive=alive)
        told = len(stand.edges(BARE))
        await stand.seconds(4, alive=alive)
        assert (len(stand.edges(BARE)) - told, read_back(stand)) == (
            (4, 1.0) if stays else (0, 0.0)
        )
        if not stays:
            assert not stand.coil(BARE)


async def test_edges_cease_at_once_even_while_letting_go_waits_for_another_module() -> None:
    async with room(toggled=(POINT,)) as stand, running(stand.link):
        await at_rest(stand.clock)
        await stand.link.write("permit-1", on=True)  # so that it is the first to be let go
        await moving(stand)
        await stand.seconds(1, alive=())
        told = len(stand.edges(BARE))
        stand.silence(GUARDED)
        await stand.seconds(1, alive=())  # both owners count as dead from here
        assert stand.edges(BARE)[told:] == []
        await stand.seconds(1, alive=())
        assert stand.edges(BARE)[told:] == [False]


async def test_one_lost_answer_is_ridden_out() -> None:
    async with room(toggled=(POINT,)) as stand, running(stand.link):
        await moving(stand)
        told = stand.edges(BARE)
        stand.silence(BARE)
        await stand.seconds(1)
        assert stand.link.snapshot()[POINT].reason == "no_reply"
        assert stand.edges(BARE) == told  # what was not read gets no edge
        stand.silence()
        await stand.seconds(4)
        assert read_back(stand) == 1.0


@pytest.mark.parametrize(("late_s", "stays"), [(0.9, True), (2.0, False)])
async def test_on_a_serial_bus_a_lost_answer_is_ridden_out_only_if_none_can_be_late(
    late_s: float, stays: bool
) -> None:
    """A module that owes an answer is not asked before that can no longer come."""
    async with room("rtu", toggled=(POINT,), late_s=late_s) as stand, running(stand.link):
        await moving(stand)
        stand.silence(BARE)
        await stand.seconds(1)
        stand.silence()
        await stand.seconds(4)
        assert read_back(stand) == float(stays)


@pytest.mark.parametrize("away", ["silent", "gone"])
@WIRES
async def test_after_a_longer_silence_it_does_not_begin_by_itself(wire: str, away: str) -> None:
    async with room(wire, toggled=(POINT,)) as stand, running(stand.link):
        await moving(stand)
        if away == "silent":
            stand.silence(BARE)
        else:
            await stand.fake.stop()
        await stand.seconds(3)
        assert read_back(stand) is None
        stand.silence()
        if away == "gone":
            await stand.fake.start()
        told = len(stand.edges(BARE))
        await stand.seconds(6)
        assert set(stand.edges(BARE)[told:]) <= {False}
        assert (read_back(stand), stand.coil(BARE)) == (0.0, False)
        await stand.link.write(POINT, on=True)  # somebody decided so
        await stand.seconds(2)
        assert read_back(stand) == 1.0


class Stuck(dict[tuple[int, str, int], int]):
    """A module that says yes and does nothing."""

    at = 0

    def __setitem__(self, place: tuple[int, str, int], value: int) -> None:
        super().__setitem__(place, self.at if place == (BARE, "coil", 0) else value)


class StuckOn(Stuck):
    """The same with a welded contact."""

    at = 1


@pytest.mark.parametrize("stuck", [Stuck, StuckOn])
@WIRES
async def test_a_coil_that_moves_no_more_is_not_on(wire: str, stuck: type[Stuck]) -> None:
    async with room(wire, toggled=(POINT,)) as stand, running(stand.link):
        await moving(stand)
        stand.fake.values = stuck(stand.fake.values)
        stand.fake.values[BARE, "coil", 0] = stuck.at
        await stand.seconds(4)  # its last true move, and 2.5 periods
        assert read_back(stand) == 0.0
        told = len(stand.edges(BARE))
        await stand.seconds(3)
        assert set(stand.edges(BARE)[told:]) <= {False}  # let go, not moved


async def test_a_coil_that_never_moves_never_counts_as_on() -> None:
    async with room(toggled=(POINT,)) as stand, running(stand.link):
        await at_rest(stand.clock)
        stand.fake.values = Stuck(stand.fake.values)
        await stand.link.write(POINT, on=True)
        for _ in range(4):
            await stand.seconds(1)
            assert read_back(stand) == 0.0


@WIRES
async def test_a_module_that_restarted_between_two_polls_gets_its_edge_at_once(
    wire: str,
) -> None:
    async with room(wire, toggled=(POINT,)) as stand, running(stand.link):
        await moving(stand)
        assert stand.coil(BARE)
        stand.fake.values[BARE, "coil", 0] = 0
        told = len(stand.edges(BARE))
        await stand.seconds(4)
        assert stand.edges(BARE)[told:] == [True, False, True, False]
        assert read_back(stand) == 1.0


async def test_off_goes_before_an_edge_that_waits_for_its_turn() -> None:
    async with room(toggled=(POINT,)) as stand, running(stand.link):
        await moving(stand)
        told = len(stand.edges(BARE))
        writes: list[asyncio.Future[None]] = []

        def occupied(answer: bytes) -> bytes:
            """As the poll's last read is answered, a slow write takes the wire."""
            if answer[6:8] == bytes((BARE, READ_COIL)) and not writes:
                stand.silence(GUARDED)
                writes.append(asyncio.ensure_future(stand.link.write("permit-1", on=False)))
            return answer

        stand.fake.mutate = occupied
        await stand.clock.advance(1.0)
        assert len(stand.edges(BARE)) == told  # the edge waits
        writes.append(asyncio.ensure_future(stand.link.write(POINT, on=False)))
        await asyncio.gather(*writes, return_exceptions=True)
        await at_rest(stand.clock)
        assert stand.edges(BARE)[told:] == [False]


PERIOD_NS = 1_000_000_000


@pytest.mark.parametrize(
    ("reads", "counts"),
    [
        ([(1, True)], True),
        ([(1, False)], False),  # what was written did not arrive
        ([(1, True), (3, True)], True),
        ([(1, True), (3.5, True)], False),  # no edge was written, so none was seen
        ([(1, True), (2, False), (3.5, False)], False),  # nor is this move one of ours
    ],
)
def test_only_a_move_that_we_made_counts(reads: list[tuple[float, bool]], counts: bool) -> None:
    toggle = Toggle(period_s=1.0)
    toggle.start(0)
    for at, on in reads:
        told = toggle.read(round(at * PERIOD_NS), on=on)
    assert told is counts


async def test_another_that_does_not_toggle_is_left_alone() -> None:
    async with room(toggled=(POINT,)) as stand, running(stand.link):
        await moving(stand)
        await stand.link.write("permit-1", on=True)
        await stand.seconds(4)
        assert stand.edges(GUARDED) == [True]
        assert stand.link.snapshot()["permit-1"].value == 1.0


async def test_reading_once_moves_nothing() -> None:
    async with room(toggled=(POINT,)) as stand:
        await stand.link.write(POINT, on=True)
        for _ in range(3):
            await stand.clock.advance(0.5)
            await stand.link.poll_once()
        assert stand.edges(BARE) == [False, True]


CHILD = """
import asyncio, sys
from daemon.clock import RealClock
from drivers.modbus import OutputSettings, TcpSettings, open_link

async def main():
    clock = RealClock()
    settings = TcpSettings(
        host="127.0.0.1", port=int(sys.argv[1]), period_s=0.1, timeout_s=0.1, hold_s=0.5
    )
    output = OutputSettings(unit=4, register=0, token="bay-2", toggled=True)
    link = open_link("bus", settings, {}, {"permit-2": output}, clock)
    async with asyncio.TaskGroup() as tasks:
        tasks.create_task(link.run())
        await link.write("permit-2", on=True)
        while True:
            link.renew("bay-2")
            await clock.sleep_until(clock.now_ns() + 50_000_000)

asyncio.run(main())
"""


def told_to_be_stopped(pid: int) -> None:
    """Return when the kernel says so, at once; the child's end is left for asyncio to see."""
    os.waitid(os.P_PID, pid, os.WSTOPPED | os.WNOWAIT)


@pytest.mark.proves("an output stays on only while its owner is alive")
async def test_a_process_that_hangs_makes_no_edges_and_begins_none_when_it_goes_on() -> None:
    """Stopped by a signal: its sockets stay open, and nothing in it runs."""
    fake = FakeServer({(BARE, "coil", 0): 0})
    await fake.start()
    child = await asyncio.create_subprocess_exec(sys.executable, "-c", CHILD, str(fake.port))

    def edges(server: FakeServer) -> list[bool]:
        return [bool(one.value) for one in server.asked if one.function == WRITE_COIL]

    try:
        async with asyncio.timeout(20):
            await fake.seen(lambda server: len(edges(server)) >= 6)
            os.kill(child.pid, signal.SIGSTOP)
            told_to_be_stopped(child.pid)
            await settle()  # what it had sent before has been served
            told = edges(fake)
            with pytest.raises(TimeoutError):
                async with asyncio.timeout(0.7):
                    await fake.seen(lambda server: len(edges(server)) > len(told))
            os.kill(child.pid, signal.SIGCONT)
            await fake.seen(lambda server: len(edges(server)) > len(told))
            asked = len(fake.asked)
            await fake.seen(lambda server: len(server.asked) >= asked + 5)
        assert set(edges(fake)[len(told) :]) == {False}
    finally:
        child.kill()
        await child.wait()
        await fake.stop()
        await settle()

"""Communication time-outs of modules: set, read back, and nothing on where none stands."""

from collections.abc import Callable

import pytest

from drivers.base import BadReply
from drivers.modbus.kinds import rtu_faults
from drivers.modbus.registers import RtuSettings, TcpSettings
from drivers.modbus.watchdogs import Watchdogs
from tests.unit.link_polls import at_rest, running
from tests.unit.relay_room import (
    BARE,
    GUARDED,
    UNITS,
    WANTED,
    WIRES,
    WRITE_COIL,
    WRITE_REGISTER,
    room,
)
from tests.virtual_clock import VirtualClock

SET = (GUARDED, WANTED)
Memory = Callable[[object], dict[tuple[int, str, int], int]]


class Clipped(dict[tuple[int, str, int], int]):
    """A module that takes no longer time-out than it likes, and says yes all the same."""

    most = 20

    def __setitem__(self, place: tuple[int, str, int], value: int) -> None:
        super().__setitem__(place, min(value, self.most) if place[1] == "holding" else value)


class Refusing(Clipped):
    """A module that keeps the time-out it was delivered with: none."""

    most = 0


@pytest.mark.parametrize(("reads", "written"), [(0, [SET]), (600, [SET]), (WANTED, [])])
@WIRES
async def test_a_time_out_that_reads_otherwise_is_set_when_the_module_is_met(
    wire: str, reads: int, written: list[tuple[int, int]]
) -> None:
    async with room(wire) as stand, running(stand.link):
        stand.time_out = reads
        await at_rest(stand.clock)
        assert stand.writes(WRITE_REGISTER) == written
        assert stand.time_out == WANTED
        assert stand.link.remarks() == []
        await stand.link.write("permit-1", on=True)
        await stand.seconds(8)
        assert stand.coil(GUARDED)
        assert stand.writes(WRITE_REGISTER) == written


async def test_a_module_that_restarted_between_two_polls_is_set_again() -> None:
    async with room() as stand, running(stand.link):
        await at_rest(stand.clock)
        stand.time_out = 0
        await stand.seconds(1)
        assert stand.writes(WRITE_REGISTER) == [SET]
        assert stand.link.statistics().failures == 0


@pytest.mark.parametrize("away", ["silent", "gone"])
@WIRES
async def test_a_module_that_was_away_is_set_again(wire: str, away: str) -> None:
    async with room(wire) as stand, running(stand.link):
        await at_rest(stand.clock)
        if away == "silent":
            stand.silence(GUARDED)
        else:
            await stand.fake.stop()
        await stand.seconds(2)
        assert "could not be read" in stand.link.remarks()[-1]
        stand.time_out = 0
        stand.silence()
        if away == "gone":
            await stand.fake.start()
        await stand.seconds(3)
        assert stand.time_out == WANTED
        assert stand.link.remarks() == []


@pytest.mark.proves("no heat on where its module's own time-out does not stand")
@pytest.mark.parametrize(
    ("memory", "says"),
    [
        (Clipped, "holding 16, reads 20 (2 s) and should read 50 (5 s)"),
        (Refusing, "holding 16, reads 0 (0 s) and should read 50 (5 s)"),
    ],
)
@WIRES
async def test_no_output_is_switched_on_where_the_time_out_does_not_stand(
    wire: str, memory: Memory, says: str
) -> None:
    async with room(wire) as stand:
        stand.fake.values = memory(stand.fake.values)
        stand.time_out = 0
        async with running(stand.link):
            await at_rest(stand.clock)
            with pytest.raises(BadReply) as refused:
                await stand.link.write("permit-1", on=True)
            assert says in str(refused.value)
            assert "link bus: permit-1 was not switched on: unit 3" in str(refused.value)
            assert "check watchdog_register" in str(refused.value)
            await stand.link.write("permit-1", on=False)  # off always goes
            await stand.link.write("permit-2", on=True)  # another module's is its own affair
            await stand.seconds(4)
            assert (stand.coil(GUARDED), stand.coil(BARE)) == (False, True)


async def test_before_it_was_read_nothing_is_switched_on() -> None:
    async with room() as stand:
        with pytest.raises(BadReply, match="was not read yet, and no output there is switched on"):
            await stand.link.write("permit-1", on=True)
        assert stand.writes(WRITE_COIL) == []
        assert stand.link.statistics().write_failures == 1
        await stand.link.poll_once()
        await stand.link.write("permit-1", on=True)


async def test_after_a_silence_it_is_read_before_anything_is_switched_on() -> None:
    async with room() as stand, running(stand.link):
        await at_rest(stand.clock)
        stand.silence(GUARDED)
        with pytest.raises(Exception, match="no answer within"):
            await stand.link.write("permit-1", on=False)
        stand.silence()
        with pytest.raises(BadReply, match="could not be read"):
            await stand.link.write("permit-1", on=True)
        await stand.seconds(1)
        await stand.link.write("permit-1", on=True)


@pytest.mark.parametrize(("memory", "stays"), [(dict, True), (Refusing, False)])
async def test_what_is_on_is_let_go_where_the_time_out_cannot_be_set_again(
    memory: Memory, stays: bool
) -> None:
    async with room() as stand, running(stand.link):
        await at_rest(stand.clock)
        for point in ("permit-1", "permit-2"):
            await stand.link.write(point, on=True)
        stand.fake.values = memory(stand.fake.values)
        stand.time_out = 0
        await stand.seconds(2)
        assert stand.coil(GUARDED) == stays
        assert stand.coil(BARE)


@pytest.mark.parametrize(("seconds", "stays"), [(4, True), (6, False)])
async def test_what_is_on_is_let_go_when_the_time_out_was_not_seen_for_as_long(
    seconds: int, stays: bool
) -> None:
    """The module answers all but this; it lost its register map, or never had it."""
    async with room() as stand, running(stand.link):
        await at_rest(stand.clock)
        await stand.link.write("permit-1", on=True)
        del stand.fake.values[GUARDED, "holding", 16]
        await stand.seconds(seconds)
        assert stand.coil(GUARDED) == stays
        assert stand.writes(WRITE_REGISTER) == []  # what cannot be read is not written


def test_what_was_only_just_read_wrong_is_not_let_go_before_it_could_be_set() -> None:
    settings = TcpSettings.model_validate({"host": "127.0.0.1", "units": UNITS})
    watchdogs = Watchdogs(settings, VirtualClock())
    request = watchdogs.requests[GUARDED]
    told = []
    for found in (WANTED, 0, 0, WANTED):
        watchdogs.read(request, (found,))
        told.append((watchdogs.stands(GUARDED), watchdogs.lost(GUARDED)))
    assert told == [(True, False), (False, False), (False, True), (True, False)]
    assert (watchdogs.stands(BARE), watchdogs.lost(BARE)) == (True, False)


async def test_setting_what_does_not_stay_has_a_limit_until_the_module_is_met_anew() -> None:
    async with room() as stand:
        stand.fake.values = Refusing(stand.fake.values)
        stand.time_out = 0
        async with running(stand.link):
            await stand.seconds(8)
            assert stand.writes(WRITE_REGISTER) == [SET] * 3
            stand.silence(GUARDED)
            await stand.seconds(2)
            stand.silence()
            await stand.seconds(1)
            assert len(stand.writes(WRITE_REGISTER)) == 4


async def test_reading_once_reports_and_sets_nothing() -> None:
    async with room() as stand:
        stand.time_out = 0
        for _ in range(3):
            await stand.link.poll_once()
        assert stand.writes(WRITE_REGISTER) == []
        assert stand.link.remarks() == [
            "unit 3: its communication time-out, holding 16, reads 0 (0 s) and should read "
            "50 (5 s); supervising sets it, and where it does not stay: check watchdog_register "
            "and watchdog_counts_per_s against its manual, and "
            "that nobody else sets it"
        ]
        assert stand.link.snapshot().keys() == {"permit-1", "permit-2", "horn"}


async def test_what_is_not_to_be_guarded_is_on_without_a_time_out_and_stays_so() -> None:
    async with room() as stand:
        stand.fake.values = Refusing(stand.fake.values)
        stand.time_out = 0
        async with running(stand.link):
            await at_rest(stand.clock)
            await stand.link.write("horn", on=True)
            with pytest.raises(BadReply):
                await stand.link.write("permit-1", on=True)
            await stand.seconds(8)
            assert stand.fake.values[GUARDED, "coil", 1] == 1
            await stand.seconds(4, alive=())  # its owner's life it needs like any other
            assert stand.fake.values[GUARDED, "coil", 1] == 0


async def test_a_module_that_refuses_to_be_set_says_so() -> None:
    async with room() as stand, running(stand.link):
        await at_rest(stand.clock)
        await stand.link.write("permit-1", on=True)
        stand.time_out = 0
        real = stand.fake._write

        def refused(unit: int, question: bytes, register: int, value: int) -> bytes:
            if question[0] == WRITE_REGISTER:
                return bytes((question[0] | 0x80, 3))  # illegal data value, V1.1b3 section 7
            return real(unit, question, register, value)

        stand.fake._write = refused  # type: ignore[method-assign]  # one fault of one module
        await stand.seconds(2)
        assert "refused with exception 3" in stand.link.remarks()[0]
        assert not stand.coil(GUARDED)


@pytest.mark.parametrize(
    ("late_s", "rides_it_out"), [(0.9, True), (1.5, True), (1.9, True), (2.5, False)]
)
async def test_one_lost_answer_opens_no_relay_where_check_finds_no_fault(
    late_s: float, rides_it_out: bool
) -> None:
    units = {str(GUARDED): UNITS[str(GUARDED)] | {"watchdog_s": 3.6}}
    async with room("rtu", late_s=late_s, units=units) as stand, running(stand.link):
        await at_rest(stand.clock)
        await stand.link.write("permit-1", on=True)
        await stand.seconds(1)
        stand.silence(GUARDED)
        await stand.seconds(1)
        stand.silence()
        await stand.seconds(5)
        assert stand.coil(GUARDED) is rides_it_out
        settings = stand.wire({"late_s": late_s, "units": units, "timeout_s": 0.5})
        assert isinstance(settings, RtuSettings)
        told = list(rtu_faults(settings, {}, {}))
    assert bool(told) is not rides_it_out
    assert all("watchdog_s = 3.6 is not above 4.5, and one lost answer" in one for one in told)
    exact = settings.model_copy(update={"late_s": 2.0})  # or not quite; then it takes a period more
    assert len(list(rtu_faults(exact, {}, {}))) == 1

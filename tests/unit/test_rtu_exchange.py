"""One question on a real pseudo-terminal: its exact answer or why not, never another's."""

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio

from drivers.modbus.connection import (
    ConnectionLost,
    GivenUp,
    NoReply,
    NotConnected,
    Refused,
    WrongReply,
)
from drivers.modbus.fake_rtu import Asked, RtuFault, frame
from tests.unit.rtu_bench import (
    COIL,
    HEAT,
    INNER,
    LATE_S,
    OTHER,
    OUTER,
    TRUTH,
    Bench,
    LoopClock,
    bench,
)
from tests.virtual_clock import VirtualClock, settle

READS = {
    RtuFault.SILENT: (NoReply, "no answer within 0.05 s; check the unit's power"),
    RtuFault.LATE: (NoReply, "no answer within"),
    RtuFault.SPLIT_LATE: (WrongReply, "only part of an answer"),
    RtuFault.TRICKLED: None,
    RtuFault.GARBAGE_BEFORE: None,
    RtuFault.GARBAGE: (WrongReply, "only part of an answer came, or noise"),
    RtuFault.WRONG_CRC: (WrongReply, "checksum is wrong; check wiring"),
    RtuFault.HALF_THEN_SILENT: (WrongReply, "only part of an answer"),
    RtuFault.FOREIGN_UNIT: (WrongReply, "unit 9 answered"),
    RtuFault.FOREIGN_FUNCTION: (WrongReply, "asked function 4, function 3 answered"),
    RtuFault.SHORT_COUNT: (WrongReply, "asked for 4 bytes of data, the answer announces 2"),
    RtuFault.LONG_COUNT: (WrongReply, "asked for 4 bytes of data, the answer announces 6"),
    RtuFault.DOUBLED: (WrongReply, "answers twice, or another master"),
    RtuFault.DOUBLED_LATE: None,
    RtuFault.SECOND_MASTER: (WrongReply, "unit 1 was asked by another master"),
    RtuFault.SECOND_MASTER_UNHEARD: (WrongReply, "answers twice, or another master"),
    RtuFault.REFUSE: (Refused, "exception 4; compare with the module's register map"),
    RtuFault.GATEWAY_SILENT: (NoReply, "the gateway had no answer"),
}
# What these do to an answer makes another answer of a read and no whole one of a write.
WRITES = READS | {
    RtuFault.SHORT_COUNT: (WrongReply, "only part of an answer"),
    RtuFault.LONG_COUNT: (WrongReply, "only part of an answer"),
    RtuFault.FOREIGN_UNIT: (WrongReply, "unit 11 answered"),
    RtuFault.FOREIGN_FUNCTION: (WrongReply, "asked by another master"),  # it looks like a question
    RtuFault.SECOND_MASTER: (WrongReply, "the echo of the write is not what was written"),
    RtuFault.SECOND_MASTER_UNHEARD: (WrongReply, "the echo of the write is not"),
}


@pytest_asyncio.fixture
async def on(tmp_path: Path) -> AsyncIterator[Bench]:
    async with bench(tmp_path, VirtualClock()) as made:
        yield made


async def later(on: Bench, seconds: float) -> None:
    clock = on.connection._bus._clock
    assert isinstance(clock, VirtualClock)
    await clock.advance(seconds)


def test_every_fault_of_the_bus_is_in_the_tables() -> None:
    assert READS.keys() == WRITES.keys() == set(RtuFault)


async def test_each_read_gets_its_own_answer(on: Bench) -> None:
    for request, truth in TRUTH.items():
        assert await on.connection.read(request) == truth
    assert list(on.fake.asked) == [Asked(1, 4, 0, 2), Asked(1, 4, 2, 2), Asked(2, 4, 0, 2)]


@pytest.mark.parametrize("fault", READS, ids=lambda fault: fault.name)
async def test_a_read_from_a_module_that_misbehaves(on: Bench, fault: RtuFault) -> None:
    on.fake.faults = {1: fault}
    expected = READS[fault]
    if expected is None:
        assert await on.connection.read(INNER) == TRUTH[INNER]
        return
    error, words = expected
    with pytest.raises(error, match=words) as told:
        await on.connection.read(INNER)
    assert type(told.value) is error
    assert str(told.value).startswith(f"{on.fake.device}, unit 1, input 0 (+2)")
    assert on.connection.usable
    on.fake.faults = {}
    on.fake.release()  # the late answer comes while it may; nobody listens before
    await later(on, LATE_S)
    assert await on.connection.read(OTHER) == TRUTH[OTHER]
    assert await on.connection.read(OUTER) == TRUTH[OUTER]


@pytest.mark.parametrize("fault", WRITES, ids=lambda fault: fault.name)
async def test_a_write_to_a_module_that_misbehaves(on: Bench, fault: RtuFault) -> None:
    await on.connection.read(OTHER)
    on.fake.faults = {3: fault}
    expected = WRITES[fault]
    asked = len(on.fake.asked)
    if expected is None:
        await on.connection.write(HEAT, on=True)
    else:
        error, words = expected
        with pytest.raises(error, match=words):
            await on.connection.write(HEAT, on=True)
    assert len(on.fake.asked) == asked + 1  # nothing is repeated on the quiet
    on.fake.faults = {}
    if fault is RtuFault.DOUBLED_LATE:  # the second copy comes first
        with pytest.raises(WrongReply, match="not what was written"):
            await on.connection.write(HEAT, on=False)
    else:
        await on.connection.write(HEAT, on=False)
    assert on.fake.values[3, "coil", 0] == 0


async def test_a_silent_module_is_left_alone_until_its_answer_can_no_longer_come(
    on: Bench,
) -> None:
    on.fake.faults = {1: RtuFault.LATE}
    with pytest.raises(NoReply):
        await on.connection.read(INNER)
    on.fake.faults = {}
    asked = len(on.fake.asked)
    for _ in range(2):
        with pytest.raises(NoReply, match=r"not asked again for [\d.]+ s, as a late answer"):
            await on.connection.read(OUTER)
        await later(on, LATE_S * 0.49)
    assert len(on.fake.asked) == asked
    assert await on.connection.read(OTHER) == TRUTH[OTHER]  # the late answer came just before
    await later(on, LATE_S * 0.02)
    assert await on.connection.read(OUTER) == TRUTH[OUTER]


async def test_what_is_owed_outlives_the_port(on: Bench) -> None:
    on.fake.faults = {1: RtuFault.LATE}
    with pytest.raises(NoReply):
        await on.connection.read(INNER)
    on.fake.faults = {}
    connection = await on.reopened()
    with pytest.raises(NoReply, match="not asked again"):
        await connection.read(OUTER)


@pytest.mark.parametrize("how", ["given up", "cancelled"])
async def test_a_question_let_go_is_owed_an_answer_too(on: Bench, how: str) -> None:
    on.fake.faults = {1: RtuFault.LATE}
    reading = asyncio.ensure_future(on.connection.read(INNER))
    await on.fake.seen(lambda fake: len(fake.asked) == 1)
    if how == "given up":
        on.connection.give_up()
        with pytest.raises(GivenUp, match="gave way to a write"):
            await reading
    else:
        reading.cancel()
        with pytest.raises(asyncio.CancelledError):
            await reading
    on.fake.faults = {}
    on.fake.release()
    with pytest.raises(NoReply, match="not asked again"):
        await on.connection.read(OUTER)
    await on.connection.write(HEAT, on=True)
    assert await on.connection.read(COIL) == (1,)


async def test_after_a_lost_echo_the_coil_is_read_back_at_once(on: Bench) -> None:
    """A late echo has another function than the answer to the read."""
    on.fake.faults = {3: RtuFault.LATE}
    with pytest.raises(NoReply):
        await on.connection.write(HEAT, on=True)
    on.fake.faults = {}
    assert await on.connection.read(COIL) == (1,)


@pytest.mark.parametrize(("earlier", "believed"), [((False,), True), ((False, True), False)])
async def test_the_late_echo_of_an_earlier_write_proves_no_write_since_taken_back(
    on: Bench, earlier: tuple[bool, ...], *, believed: bool
) -> None:
    await on.connection.read(OTHER)
    on.fake.faults = {3: RtuFault.SILENT}
    for state in earlier:
        with pytest.raises(NoReply):
            await on.connection.write(HEAT, on=state)
    late_echo = frame(3, bytes((5, 0, 0, 0, 0)))
    writing = asyncio.ensure_future(on.connection.write(HEAT, on=False))
    await on.fake.seen(lambda fake: len(fake.asked) == 2 + len(earlier))
    on.fake.say(late_echo)
    if believed:  # whichever it was, the module has carried it out
        await writing
        return
    with pytest.raises(WrongReply, match="may be that of an earlier write; read it back"):
        await writing


@pytest.mark.parametrize("times", [0.5, 1.0, 1.3, 1.6, 2.0, 3.0])
async def test_late_answers_at_any_delay_answer_no_other_question(
    tmp_path: Path, times: float
) -> None:
    timeout_s = 0.03
    async with bench(tmp_path, LoopClock(), timeout_s=timeout_s, late_s=4 * timeout_s) as on:
        on.fake.delays_s = {1: times * timeout_s}
        loop = asyncio.get_running_loop()
        end_s, good, bad = loop.time() + 0.5, 0, 0
        while loop.time() < end_s:
            for request in (INNER, OUTER):
                try:
                    assert await on.connection.read(request) == TRUTH[request]
                    good += 1
                except NoReply:
                    bad += 1
            assert await on.connection.read(OTHER) == TRUTH[OTHER]  # the living do not suffer
        assert good or times >= 1
        assert bad or times <= 1


@pytest.mark.parametrize("delay_s", [0.0, 0.004, 0.012])
async def test_a_repeated_answer_does_not_answer_the_next_question(
    on: Bench, delay_s: float
) -> None:
    """The second copy comes after the silence, as a USB adapter may hand it over."""
    on.fake.faults = {1: RtuFault.DOUBLED_LATE}
    assert await on.connection.read(INNER) == TRUTH[INNER]
    on.fake.faults = {}
    asyncio.get_running_loop().call_later(delay_s, on.fake.release)
    with pytest.raises(WrongReply, match="answers twice"):
        await on.connection.read(OUTER)
    assert await on.connection.read(OTHER) == TRUTH[OTHER]  # that module alone is not believed
    await later(on, LATE_S)
    assert await on.connection.read(OUTER) == TRUTH[OUTER]


async def test_a_second_answer_within_the_silence_spoils_the_first(tmp_path: Path) -> None:
    """At 300 baud the silence is 117 ms: a busy computer does not decide this."""
    async with bench(tmp_path, VirtualClock(), baud_rate=300) as on:
        on.fake.faults = {1: RtuFault.DOUBLED_LATE}
        reading = asyncio.ensure_future(on.connection.read(INNER))
        await on.fake.seen(lambda fake: len(fake.asked) == 1)
        asyncio.get_running_loop().call_later(0.03, on.fake.release)
        with pytest.raises(WrongReply, match="answers twice"):
            await reading


async def test_a_second_answer_in_two_lumps_is_put_together(on: Bench) -> None:
    on.fake.mutate = lambda answer: answer + answer[:4]
    assert await on.connection.read(INNER) == TRUTH[INNER]
    on.fake.mutate = None
    answer = frame(1, bytes((4, 4, 0x05, 0x78, 0x05, 0x79)))
    on.fake.say(answer[4:])
    with pytest.raises(WrongReply, match="answers twice"):
        await quietly(on, INNER)


async def test_who_owed_an_answer_once_is_no_longer_excused(on: Bench) -> None:
    on.fake.faults = {1: RtuFault.SILENT}
    with pytest.raises(NoReply):
        await on.connection.read(INNER)
    on.fake.faults = {}
    await later(on, LATE_S)
    assert await on.connection.read(OTHER) == TRUTH[OTHER]
    on.fake.say(frame(1, bytes((4, 4, 0, 1, 0, 2))))
    with pytest.raises(WrongReply, match="nobody asked for"):
        await quietly(on, INNER)


async def test_another_master_s_question_costs_everybody_s_belief(on: Bench) -> None:
    await on.connection.read(OTHER)
    asked = len(on.fake.asked)
    on.fake.say(frame(2, bytes((4, 0, 0, 0, 2))))
    with pytest.raises(WrongReply, match="another master on this bus"):
        await quietly(on, INNER)
    with pytest.raises(WrongReply, match=r"write on: not asked, .*another master"):
        await on.connection.write(HEAT, on=True)
    assert len(on.fake.asked) == asked
    await on.connection.write(HEAT, on=False)
    await on.connection.write_register(3, 40, 50)
    await later(on, LATE_S)
    assert await on.connection.read(INNER) == TRUTH[INNER]


async def test_nothing_is_switched_on_while_another_master_s_question_waits_unread(
    on: Bench,
) -> None:
    await on.connection.read(OTHER)
    on.fake.say(frame(2, bytes((3, 0, 0, 0, 2))))
    with pytest.raises(WrongReply, match=r"not asked, .*another master"):
        await on.connection.write(HEAT, on=True)
    assert len(on.fake.asked) == 1


async def test_another_master_is_remembered_when_the_wait_is_given_up(tmp_path: Path) -> None:
    async with bench(tmp_path, VirtualClock(), baud_rate=300) as on:
        on.fake.faults = {1: RtuFault.SILENT}
        reading = asyncio.ensure_future(on.connection.read(INNER))
        await on.fake.seen(lambda fake: len(fake.asked) == 1)
        on.fake.say(frame(2, bytes((4, 0, 0, 0, 2))))
        await settle()
        on.connection.give_up()
        with pytest.raises(GivenUp):
            await reading
        with pytest.raises(WrongReply, match="another master"):
            await on.connection.read(OTHER)


async def test_another_master_s_answer_costs_that_module_s(on: Bench) -> None:
    await on.connection.read(OTHER)
    on.fake.say(frame(1, bytes((4, 4, 0, 1, 0, 2))))
    with pytest.raises(WrongReply, match="asked for"):
        await quietly(on, INNER)
    assert await on.connection.read(OTHER) == TRUTH[OTHER]
    await on.connection.write(HEAT, on=True)


async def test_noise_costs_nobody_s(on: Bench) -> None:
    broken = frame(1, bytes((4, 4, 0, 1, 0, 2)))[:-1] + b"\x00"
    on.fake.say(broken + bytes(range(256)))
    assert await quietly(on, INNER) == TRUTH[INNER]


async def quietly(on: Bench, request: object) -> tuple[int, ...]:
    """A read that begins when what was said is here."""
    port = on.connection._port
    assert port is not None
    await port.came()
    return await on.connection.read(request)  # type: ignore[arg-type]  # any request of the bench


@pytest.mark.parametrize("unit", [3, 9])
async def test_an_adapter_that_echoes_writes_nothing(on: Bench, unit: int) -> None:
    """Neither with a module that answers, nor where only the echo does."""
    on.fake.echoes = True
    output = HEAT.model_copy(update={"unit": unit})
    for _ in range(2):
        with pytest.raises(WrongReply, match="echoes what is sent; switch its echo off"):
            await on.connection.write(output, on=False)
        with pytest.raises(WrongReply, match="echoes what is sent; switch its echo off"):
            await on.connection.write_register(unit, 40, 50)
        with pytest.raises(WrongReply, match="echoes what is sent; switch its echo off"):
            await on.connection.read(INNER)
        await later(on, LATE_S)


async def test_absence_of_an_echo_is_proved_once_for_a_port(on: Bench) -> None:
    await on.connection.write(HEAT, on=True)
    await on.connection.write(HEAT, on=False)
    functions = [one.function for one in on.fake.asked]
    assert functions == [5, 1, 5]
    await (await on.reopened()).write(HEAT, on=True)
    assert [one.function for one in on.fake.asked] == [5, 1, 5, 5, 1]


async def test_a_refused_proof_is_a_proof(on: Bench) -> None:
    on.fake.values[3, "holding", 41] = 0
    on.fake.mutate = lambda answer: answer if answer[1] == 6 else frame(3, b"\x83\x02")
    await on.connection.write_register(3, 41, 7)
    await on.connection.write_register(3, 41, 8)
    assert [one.function for one in on.fake.asked] == [6, 3, 6]


async def test_pulled_out_and_back_under_another_name(on: Bench) -> None:
    await on.connection.read(INNER)
    on.fake.faults = {1: RtuFault.SILENT}
    reading = asyncio.ensure_future(on.connection.read(INNER))
    await on.fake.seen(lambda fake: len(fake.asked) == 2)
    await on.fake.stop()
    with pytest.raises(ConnectionLost, match="lost"):
        await reading
    assert not on.connection.usable
    with pytest.raises(ConnectionLost):
        await on.connection.write(HEAT, on=False)
    with pytest.raises(NotConnected, match="no such port; check the adapter's plug"):
        await on.reopened()
    on.fake.faults = {}
    await on.fake.start()
    await on.reopened()
    assert await on.connection.read(OTHER) == TRUTH[OTHER]


async def test_closing_ends_a_question_and_twice_is_no_error(on: Bench) -> None:
    on.fake.faults = {1: RtuFault.SILENT}
    reading = asyncio.ensure_future(on.connection.read(INNER))
    await on.fake.seen(lambda fake: len(fake.asked) == 1)
    on.connection.close()
    on.connection.close()
    with pytest.raises(ConnectionLost, match="closed by us"):
        await reading
    on.connection.give_up()


async def test_giving_up_with_nothing_under_way_does_nothing(on: Bench) -> None:
    on.connection.give_up()
    assert await on.connection.read(INNER) == TRUTH[INNER]
    on.connection.give_up()
    assert await on.connection.read(OUTER) == TRUTH[OUTER]


async def test_a_line_that_is_never_quiet_is_named_and_still_takes_heat_away(
    tmp_path: Path,
) -> None:
    """At 300 baud the silence is 117 ms, so that a busy computer is no silence."""
    async with bench(tmp_path, VirtualClock(), baud_rate=300) as on:
        babbling = asyncio.ensure_future(babble(on))
        with pytest.raises(WrongReply, match="never quiet"):
            await quietly(on, INNER)
        with pytest.raises(WrongReply, match="never quiet"):  # not for its answer either
            await on.connection.write(HEAT, on=False)
        assert on.fake.asked[-1] == Asked(3, 5, 0, 0)
        babbling.cancel()
        await asyncio.gather(babbling, return_exceptions=True)


async def babble(on: Bench) -> None:
    while True:
        on.fake.say(b"\xa5")
        await asyncio.sleep(0.002)  # noqa: TID251 - the noise comes by real time

"""What every link promises, whatever comes over the wire: no wrong value, no hang, no leak."""

import asyncio
import random

import pytest

from drivers.base import BadReply, DeviceClosed, DriverError, LinkDown
from tests.contract.stands import (
    GUARD_S,
    MODBUS_FAULTS,
    OUTPUT,
    READS,
    LeapingClock,
    ModbusStand,
    Stand,
    polls,
    running,
    within,
)

REASONS = {
    "silence": "no_reply",
    "late": "no_reply",
    "late in two parts": "bad_reply",
    "foreign transaction": "no_reply",
    "transaction zero": "no_reply",
    "foreign unit": "bad_reply",
    "foreign function": "bad_reply",
    "too little": "bad_reply",
    "too much": "bad_reply",
    "garbage": "bad_reply",
    "half an answer": "bad_reply",
    "half, then gone": "link_down",
    "refusal": "refused",
    "gateway says silent": "no_reply",
}
SEED = 20261125
MUTATIONS = 4000
STANDS = 40


def reads(stand: Stand) -> dict[str, float | None]:
    found = stand.link.snapshot()
    return {name: found[name].value for name in READS}


def good(stand: Stand) -> bool:
    return all(stand.link.snapshot()[name].quality == "good" for name in (*READS, OUTPUT))


def reasons(stand: Stand) -> set[str]:
    found = stand.link.snapshot()
    assert all(sample.value is None for sample in found.values() if sample.quality == "bad")
    return {found[name].reason for name in READS}


def test_every_fault_of_the_wire_is_in_the_table() -> None:
    assert REASONS.keys() == MODBUS_FAULTS.keys() - {"well"}


async def test_before_the_first_poll_nothing_is_claimed(stand: Stand) -> None:
    assert reasons(stand) == {"never_read"}
    assert stand.asked() == 0


async def test_a_poll_reads_every_point(stand: Stand) -> None:
    await stand.clock.advance(7.0)
    await stand.link.poll_once()
    assert reads(stand) == pytest.approx(stand.truth)
    assert good(stand)
    assert {sample.at_ns for sample in stand.link.snapshot().values()} == {stand.clock.now_ns()}


@pytest.mark.parametrize("how", REASONS)
async def test_a_bad_answer_becomes_its_reason_and_heals(stand: Stand, how: str) -> None:
    await stand.link.poll_once()
    last_ns = stand.clock.now_ns()
    stand.misbehave(how)
    for _ in range(3):
        await stand.clock.advance(5.0)
        await within(stand.link.poll_once())
        assert reasons(stand) == {REASONS[how]}
        assert {stand.link.snapshot()[name].at_ns for name in READS} == {last_ns}
    stand.misbehave("well")
    await stand.clock.advance(5.0)
    await within(stand.link.poll_once())
    assert reads(stand) == pytest.approx(stand.truth)
    assert good(stand)


@pytest.mark.parametrize("how", REASONS)
async def test_a_write_without_its_echo_is_an_error(stand: Stand, how: str) -> None:
    stand.misbehave(how)
    wanted: type[DriverError] = LinkDown if REASONS[how] in {"no_reply", "link_down"} else BadReply
    if how in {"too little", "too much"}:
        wanted = DriverError
    asked = stand.asked()
    with pytest.raises(wanted):
        await stand.link.write(OUTPUT, on=True)
    assert stand.asked() == asked + 1  # and is not repeated on the quiet
    assert stand.link.statistics().write_failures == 1
    stand.misbehave("well")
    await stand.link.write(OUTPUT, on=False)


@pytest.mark.parametrize("how", ["late", "late in two parts"])
async def test_a_late_answer_answers_no_other_question(stand: Stand, how: str) -> None:
    """The two reads of a poll differ; each must get its own answer or none."""
    await stand.link.poll_once()
    for _ in range(4):
        stand.misbehave(how)
        await within(stand.link.poll_once())
        stand.misbehave("well")
        await within(stand.link.poll_once())
        assert reads(stand) == pytest.approx(stand.truth)
        assert stand.link.snapshot()[OUTPUT].value == 0.0


async def test_unplugged_then_replugged(stand: Stand) -> None:
    async with running(stand.link):
        await polls(stand.link, stand.clock, 1)
        assert good(stand)
        last_ns = stand.clock.now_ns()
        await stand.unplug()
        await polls(stand.link, stand.clock, 10)
        assert reasons(stand) == {"link_down"}
        assert stand.link.snapshot()[READS[0]].at_ns == last_ns
        with pytest.raises(LinkDown):
            await stand.link.write(OUTPUT, on=True)
        await stand.replug()
        await polls(stand.link, stand.clock, 3)
        assert reads(stand) == pytest.approx(stand.truth)
        assert good(stand)
    assert stand.link.statistics().reconnects == 1


async def test_a_write_reconnects_without_waiting_its_turn(stand: Stand) -> None:
    await stand.unplug()
    for _ in range(5):
        await stand.link.poll_once()
    await stand.replug()
    await stand.link.write(OUTPUT, on=False)
    await stand.link.poll_once()
    assert good(stand)


async def test_closing_twice_is_no_error_and_use_after_is(stand: Stand) -> None:
    await stand.link.poll_once()
    await stand.link.close()
    await stand.link.close()
    assert reasons(stand) == {"link_down"}
    stand.link.renew("bay-1")
    for use in (stand.link.run(), stand.link.poll_once(), stand.link.write(OUTPUT, on=True)):
        with pytest.raises(DeviceClosed, match="open a new one"):
            await use


async def test_closing_in_mid_question_ends_run_and_writes_nothing(stand: Stand) -> None:
    stand.misbehave("silence")
    async with running(stand.link) as task:
        await stand.clock.advance(0.0)
        asked = stand.asked()
        assert asked == 1
        await within(stand.link.close())
        await stand.clock.advance(1.0)
        await within(task)
    assert stand.asked() == asked


@pytest.mark.parametrize("how", ["silence", "late", "late in two parts"])
async def test_cancelling_in_mid_question_leaves_the_link_usable(stand: Stand, how: str) -> None:
    stand.misbehave(how)
    for question in (stand.link.poll_once(), stand.link.write(OUTPUT, on=True)):
        asked = stand.asked()
        task = asyncio.ensure_future(question)
        await stand.clock.advance(0.0)
        assert stand.asked() == asked + 1
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
    stand.misbehave("well")
    await within(stand.link.poll_once())
    assert reads(stand) == pytest.approx(stand.truth)


async def test_cancelling_run_writes_nothing(stand: Stand) -> None:
    async with running(stand.link):
        stand.link.renew("bay-1")
        await stand.link.write(OUTPUT, on=True)
        await polls(stand.link, stand.clock, 1)
    assert stand.link.statistics().writes == 1
    await stand.link.poll_once()
    assert stand.link.snapshot()[OUTPUT].value == 1.0


@pytest.mark.proves("bad bytes: nothing acted on")
async def test_thousands_of_bruised_answers_give_no_wrong_value() -> None:
    """Each stand has its own seed; a failure names it, and `bruise(seed)` replays it."""
    told = await asyncio.gather(*(bruise(SEED + place) for place in range(STANDS)))
    believed, refused = (sum(part) for part in zip(*told, strict=True))
    assert believed + refused == MUTATIONS
    # Both ways: data changed under a whole header is read, all else is not.
    assert believed > MUTATIONS // 40
    assert refused > MUTATIONS // 4


async def bruise(seed: int) -> tuple[int, int]:
    """Poll one stand through its share of bruised answers: how many were believed, or not."""
    stand = ModbusStand(timeout_s=0.03, clock=LeapingClock())
    await stand.start()
    legal = stand.mutate(random.Random(seed))  # noqa: S311 - seeded so that it can be replayed
    believed = 0
    try:
        for turn in range(MUTATIONS // STANDS):
            await within(stand.link.poll_once())
            found = reads(stand)
            if None not in found.values():
                believed += 1
                assert found == pytest.approx(legal()), f"bruise({seed}), turn {turn}"
            else:
                assert reasons(stand) <= {"bad_reply", "no_reply", "link_down", "open_circuit"}
        stand.fake.mutate = None
        async with asyncio.timeout(GUARD_S):
            while not good(stand):  # a busy machine may need more than one time-out
                await stand.link.poll_once()
        assert reads(stand) == pytest.approx(stand.truth), f"bruise({seed}), healed"
    finally:
        await stand.stop()
    return believed, MUTATIONS // STANDS - believed

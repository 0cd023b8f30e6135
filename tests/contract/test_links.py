"""What every link promises, whatever comes over the wire: no wrong value, no hang, no leak.

Every value moves each second of these tests, so that an old one is a wrong one.
"""

import asyncio
from contextlib import suppress
from pathlib import Path

import pytest

from drivers.base import DeviceClosed, LinkDown
from drivers.kinds import kinds
from tests.contract.all_stands import STANDS
from tests.contract.stand_modbus import RtuStand, TcpStand
from tests.contract.stands import GUARD_S, KINDS_OF_TROUBLE, OUTPUT, TOKEN, Stand, moment
from tests.leftovers import held
from tests.virtual_clock import NS_PER_S, VirtualClock, settle

# Of the link; the instrument's own come with a new time.
LINK_REASONS = {"never_read", "no_reply", "link_down", "bad_reply", "refused"}
LASTS_S = 4

of_each_kind = pytest.mark.parametrize("kind", STANDS, ids=lambda stand: stand.kind)
with_output = pytest.mark.parametrize(
    "stand", [one for one in STANDS if one.output], ids=lambda one: one.kind, indirect=True
)
with_each_trouble = pytest.mark.parametrize(
    ("stand", "how"),
    [pytest.param(one, how, id=f"{one.kind}: {how}") for one in STANDS for how in one.troubles],
    indirect=["stand"],
)
written_in_each_trouble = pytest.mark.parametrize(
    ("stand", "how"),
    [
        pytest.param(one, how, id=f"{one.kind}: {how}")
        for one in STANDS
        if one.output
        for how in one.troubles
    ],
    indirect=["stand"],
)
where_a_poll_waits = pytest.mark.parametrize(
    "stand", [one for one in STANDS if one.waits], ids=lambda one: one.kind, indirect=True
)
on_serial_ports = pytest.mark.parametrize(
    "stand",
    [one for one in STANDS if one.kind in ("modbus_rtu", "serial_lines")],
    ids=lambda one: one.kind,
    indirect=True,
)


def test_every_kind_of_link_has_its_stand() -> None:
    assert [stand.kind for stand in STANDS] == list(kinds())


@of_each_kind
def test_every_fault_the_fake_has_is_made(kind: type[Stand]) -> None:
    assert {trouble.fault for trouble in kind.troubles.values()} == kind.offers


@of_each_kind
def test_every_kind_of_trouble_is_made_or_named_as_impossible(kind: type[Stand]) -> None:
    made = {trouble.kind for trouble in kind.troubles.values()}
    assert made | kind.impossible.keys() == set(KINDS_OF_TROUBLE)
    assert not made & kind.impossible.keys()


async def test_before_the_first_poll_nothing_is_claimed(stand: Stand) -> None:
    stand.check()
    assert stand.reasons() == {"never_read"}


async def test_one_poll_reads_every_point(stand: Stand) -> None:
    await stand.poll_once()
    assert stand.good()


async def test_values_are_followed(stand: Stand) -> None:
    async with stand.running():
        await stand.pass_s(stand.heals_s)
        for _ in range(5):
            await stand.pass_s(1)
            assert stand.good()
            age_ns = [
                stand.clock.now_ns() - sample.at_ns for sample in stand.link.snapshot().values()
            ]
            assert max(age_ns) <= round(stand.older_s * NS_PER_S)


@with_each_trouble
async def test_each_trouble_becomes_its_reason_and_heals(stand: Stand, how: str) -> None:
    wanted = stand.troubles[how].reasons or {""}
    async with stand.running():
        await stand.pass_s(stand.heals_s)
        assert stand.good()
        kept = held()
        last_ns = stand.clock.now_ns() + round(stand.older_s * NS_PER_S)
        stand.misbehave(how)
        await stand.pass_s(4)  # a board's silence is told after 3 s
        seen = set()
        for _ in range(LASTS_S):
            await stand.pass_s(1)
            seen |= stand.reasons()
            for sample in stand.link.snapshot().values():
                if wanted <= LINK_REASONS:
                    assert sample.at_ns <= last_ns
        assert seen == wanted
        assert len(held().threads) <= len(kept.threads) + 1  # one read may hang
        stand.well()
        await stand.pass_s(stand.heals_s)
        assert stand.good()
        assert len(held().files) <= len(kept.files)


@written_in_each_trouble
async def test_a_write_without_its_echo_is_an_error(stand: Stand, how: str) -> None:
    await stand.poll_once()
    stand.misbehave(how)
    wanted = stand.troubles[how].write
    if wanted is None:
        await stand.link.write(OUTPUT, on=True)
    else:
        with pytest.raises(wanted):
            await stand.link.write(OUTPUT, on=True)
    assert stand.link.statistics().write_failures == (wanted is not None)
    stand.well()
    async with stand.running():
        await stand.pass_s(stand.heals_s)
        await stand.link.write(OUTPUT, on=False)
        await stand.pass_s(1)
        assert stand.good()
        assert stand.link.snapshot()[OUTPUT].value == 0.0


async def test_unplugged_then_replugged(stand: Stand) -> None:
    async with stand.running():
        await stand.pass_s(stand.heals_s)
        last_ns = stand.clock.now_ns()
        await stand.unplug()
        await stand.pass_s(10)
        assert stand.reasons() == {"link_down"}
        assert all(sample.at_ns <= last_ns for sample in stand.link.snapshot().values())
        await stand.replug()
        await stand.pass_s(stand.heals_s)
        assert stand.good()
    assert stand.link.statistics().reconnects <= 1


@with_output
async def test_a_write_to_what_is_unplugged_is_an_error_and_the_next_finds_it_again(
    stand: Stand,
) -> None:
    await stand.poll_once()
    await stand.unplug()
    for _ in range(5):
        await stand.poll_once()
    with pytest.raises(LinkDown):
        await stand.link.write(OUTPUT, on=True)
    await stand.replug()
    await stand.link.write(OUTPUT, on=False)
    await stand.poll_once()
    assert stand.good()


@on_serial_ports
async def test_an_adapter_comes_back_under_another_name(stand: Stand) -> None:
    port = next(path for path in stand.folder.iterdir() if path.is_symlink())
    was = port.readlink()
    async with stand.running():
        await stand.pass_s(stand.heals_s)
        await stand.unplug()
        await stand.pass_s(1)
        await stand.replug()
        assert port.readlink() != was
        await stand.pass_s(stand.heals_s)
        assert stand.good()
    assert stand.link.statistics().reconnects == 1


async def test_closing_twice_is_no_error_and_use_after_is(stand: Stand) -> None:
    await stand.poll_once()
    await stand.link.close()
    await stand.link.close()
    stand.check()
    assert stand.reasons() == {"link_down"}
    stand.link.renew(TOKEN)
    for use in (stand.link.run(), stand.link.poll_once(), stand.link.write(OUTPUT, on=True)):
        with pytest.raises(DeviceClosed, match="open a new one"):
            await use


async def test_closing_ends_run(stand: Stand) -> None:
    async with stand.running() as task:
        await stand.pass_s(stand.heals_s)
        await stand.link.close()
        await stand.clock.advance(1.0)
        async with asyncio.timeout(GUARD_S):
            await task
        stand.check()
        assert stand.reasons() == {"link_down"}


@where_a_poll_waits
async def test_closing_in_mid_request_ends_run(stand: Stand) -> None:
    assert stand.waits is not None
    stand.misbehave(stand.waits)
    async with stand.running() as task:
        await stand.clock.advance(0.0)
        assert stand.clock.sleepers < stand.loops or stand.kind == "serial_lines"
        await stand.link.close()
        await stand.clock.advance(1.0)
        async with asyncio.timeout(GUARD_S):
            await task
        assert stand.reasons() == {"link_down"}


@pytest.mark.parametrize("kind", [RtuStand, TcpStand], ids=lambda stand: stand.kind)
async def test_closing_does_not_wait_for_an_answer(kind: type[Stand], tmp_path: Path) -> None:
    stand = kind(tmp_path, VirtualClock())
    stand.timeout_s = 1.0
    await stand.start()
    assert stand.waits is not None
    stand.misbehave(stand.waits)
    poll = asyncio.ensure_future(stand.link.poll_once())
    await settle()
    assert not poll.done()
    async with asyncio.timeout(stand.timeout_s / 2):
        await stand.link.close()
        with suppress(DeviceClosed):
            await poll
    assert stand.reasons() == {"link_down"}
    await stand.stop()


@where_a_poll_waits
async def test_cancelling_in_mid_request_leaves_the_link_usable(stand: Stand) -> None:
    assert stand.waits is not None
    stand.misbehave(stand.waits)
    task = asyncio.ensure_future(stand.link.poll_once())
    await settle()
    assert not task.done()
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    stand.well()
    await moment()
    async with stand.running():
        await stand.pass_s(stand.heals_s)
        assert stand.good()


@with_output
async def test_cancelling_run_writes_nothing(stand: Stand) -> None:
    async with stand.running():
        await stand.pass_s(1)
        stand.link.renew(TOKEN)
        await stand.link.write(OUTPUT, on=True)
        await stand.pass_s(1)
    assert stand.link.statistics().writes == 1

"""Who may still answer, and who is not believed; in virtual time."""

import pytest

from drivers.modbus.rtu_bus import OWED_MAX, Bus
from drivers.modbus.rtu_frames import framed
from tests.virtual_clock import VirtualClock

LATE_S = 2.0
READ = bytes.fromhex("04 0000 0002")
READ_COIL = bytes.fromhex("01 0000 0001")
ON, OFF = bytes.fromhex("05 0000 FF00"), bytes.fromhex("05 0000 0000")
OTHER_ON = bytes.fromhex("05 0001 FF00")
ANSWER = framed(1, bytes.fromhex("04 04 0001 0002"))
QUESTION = framed(2, READ)


@pytest.fixture
def clock() -> VirtualClock:
    return VirtualClock()


@pytest.fixture
def bus(clock: VirtualClock) -> Bus:
    return Bus(LATE_S, clock)


async def test_a_question_is_owed_its_answer_for_late_s(bus: Bus, clock: VirtualClock) -> None:
    bus.asked(1, READ)
    assert bus.owing() == {1}
    assert "not asked again for 2 s" in bus.why_not_ask(1, READ)
    assert bus.why_not_ask(2, READ) == ""
    assert bus.why_not_ask(1, READ_COIL) == ""  # an answer carries its function
    await clock.advance(LATE_S - 0.001)
    assert bus.why_not_ask(1, READ)
    await clock.advance(0.001)
    assert bus.why_not_ask(1, READ) == ""
    bus.listened()
    assert bus.owing() == set()


async def test_an_answer_settles_the_last_question_only(bus: Bus) -> None:
    bus.asked(1, READ)
    bus.asked(1, ON)
    bus.answered(1)
    assert bus.owing() == {1}
    assert bus.why_not_ask(1, READ)
    assert bus.why_not_ask(1, ON) == ""
    bus.answered(1)
    bus.answered(1)  # one that came when its time was over settles nothing
    assert bus.owing() == set()


async def test_whoever_owes_an_answer_may_say_anything(bus: Bus, clock: VirtualClock) -> None:
    bus.asked(1, READ)
    bus.overheard(ANSWER)
    assert bus.why_not_believe(1) == ""
    # What is looked at late may have come while it was owed.
    await clock.advance(LATE_S + 1)
    bus.overheard(ANSWER)
    assert bus.why_not_believe(1) == ""
    bus.listened()
    bus.overheard(ANSWER)
    assert "nobody asked for" in bus.why_not_believe(1)


async def test_an_answer_nobody_asked_for_costs_its_module_s_belief(
    bus: Bus, clock: VirtualClock
) -> None:
    bus.overheard(ANSWER)
    assert "another master on this bus, or a module that answers twice" in bus.why_not_believe(1)
    assert bus.why_not_believe(2) == ""
    await clock.advance(1.5)
    bus.overheard(ANSWER)
    await clock.advance(1.5)
    assert "nothing was heard for 0.5 s" in bus.why_not_believe(1)
    await clock.advance(0.5)
    assert bus.why_not_believe(1) == ""


async def test_a_question_that_is_not_ours_costs_everybody_s(bus: Bus, clock: VirtualClock) -> None:
    bus.asked(2, READ)  # that a module owes an answer excuses no master
    bus.overheard(QUESTION)
    assert all(bus.why_not_believe(unit) for unit in (1, 2, 247))
    await clock.advance(LATE_S)
    assert not any(bus.why_not_believe(unit) for unit in (1, 2, 247))


@pytest.mark.parametrize(
    ("earlier", "doubtful"),
    [
        ([], False),
        ([OFF], False),
        ([ON], False),
        ([OFF, OFF], False),
        ([OFF, ON], True),
        ([ON, OFF], False),
        ([OFF, ON, OFF], True),
        ([OFF, OTHER_ON], False),
        ([OFF, READ], False),
    ],
)
async def test_whose_echo_a_late_one_may_be(
    bus: Bus, earlier: list[bytes], *, doubtful: bool
) -> None:
    for question in earlier:
        bus.asked(3, question)
    assert bus.is_doubtful(3, OFF) is doubtful
    assert not bus.is_doubtful(4, OFF)


async def test_what_is_remembered_is_bounded(bus: Bus) -> None:
    for _ in range(10 * OWED_MAX):
        bus.asked(1, READ)
    assert len(bus._owed[1]) == OWED_MAX

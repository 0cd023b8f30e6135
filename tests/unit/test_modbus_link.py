"""The link's policies: its grid, whose turn it is, silent units, and letting go."""

import asyncio
import subprocess
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from drivers.base import DeviceClosed, Link, LinkDown
from drivers.modbus import OutputSettings, PointSettings, TcpSettings, open_link
from drivers.modbus.fake import Asked, FakeServer, Fault
from drivers.modbus.tcp import TcpConnection
from drivers.timing import next_due_ns
from tests.unit.link_polls import at_rest, polls, running, within
from tests.unit.relay_room import BARE, GUARDED, WIRES, room
from tests.virtual_clock import NS_PER_S, VirtualClock, settle

RELAYS = 3
READ_INPUT, READ_COIL, WRITE_COIL = 4, 1, 5
ON = 0xFF00
# For tests in which someone keeps silent; the others never come near 1 s.
QUICK_S = 0.1


class Bench:
    """A link to a fake server; word points are named `unit/register`, values invented."""

    def __init__(
        self, words: dict[tuple[int, int], int], second_relays: int, **settings: object
    ) -> None:
        self.relays = (RELAYS, second_relays)
        self.clock = VirtualClock()
        self.fake = FakeServer({(unit, "input", at): word for (unit, at), word in words.items()})
        self.fake.values |= {(unit, "coil", at): 0 for at, unit in enumerate(self.relays)}
        self.points = {
            f"{unit}/{at}": PointSettings(unit=unit, table="input", register=at, type="uint16")
            for unit, at in words
        }
        self.settings = settings

    link: Link

    def values(self) -> dict[str, float | None]:
        return {name: self.link.snapshot()[name].value for name in self.points}

    def written(self) -> list[tuple[int, bool]]:
        return [
            (one.register, one.value == ON) for one in self.fake.asked if one.function == WRITE_COIL
        ]

    def units_asked(self) -> list[int]:
        asked = [one.unit for one in self.fake.asked if one.unit != RELAYS]
        self.fake.asked.clear()
        return asked


@asynccontextmanager
async def bench(
    words: dict[tuple[int, int], int], second_relays: int = RELAYS, **settings: object
) -> AsyncIterator[Bench]:
    made = Bench(words, second_relays, **({"timeout_s": 1.0} | settings))
    await made.fake.start()
    made.link = open_link(
        "bay",
        TcpSettings.model_validate({"host": "127.0.0.1", "port": made.fake.port} | made.settings),
        made.points,
        {
            name: OutputSettings(unit=made.relays[at], register=at, token=token)
            for at, (name, token) in enumerate({"permit-1": "bay-1", "permit-2": "bay-2"}.items())
        },
        made.clock,
    )
    try:
        yield made
    finally:
        await made.link.close()
        await made.fake.stop()
        await settle()


@pytest.mark.parametrize(
    ("due", "now", "then"),
    [
        (100, 100, 110),
        (100, 104, 110),
        (100, 110, 110),
        (100, 111, 120),
        (100, 145, 150),
        (100, 90, 110),
    ],
)
def test_the_grid_skips_what_is_past_and_never_drifts(due: int, now: int, then: int) -> None:
    assert next_due_ns(due, 10, now) == then


async def test_polls_keep_to_the_grid() -> None:
    async with bench({(1, 0): 5}) as stand:
        begin_ns = stand.clock.now_ns()
        async with running(stand.link):
            for second in range(5):
                await stand.clock.advance(0.25)
                assert stand.link.snapshot()["1/0"].at_ns == begin_ns + second * NS_PER_S
                assert stand.link.statistics().polls == second + 1
                await stand.clock.advance(0.75)


async def test_a_late_poll_waits_for_the_next_time_on_the_grid() -> None:
    async with bench({(1, 0): 5}, timeout_s=QUICK_S) as stand:
        begin_ns = stand.clock.now_ns()
        stand.fake.faults[1] = Fault.SILENT
        async with running(stand.link):
            await stand.clock.advance(2.5)  # passes while the first question waits
            stand.fake.faults.clear()
            await at_rest(stand.clock)
            await polls(stand.link, stand.clock, 1)
            assert stand.link.snapshot()["1/0"].at_ns == begin_ns + 3 * NS_PER_S
            assert stand.link.statistics().polls == 2


async def test_a_write_goes_before_every_read_not_yet_sent() -> None:
    async with bench({(1, 0): 5, (2, 0): 6, (4, 0): 7}, timeout_s=QUICK_S) as stand:
        stand.fake.faults[1] = Fault.SILENT
        async with running(stand.link):
            await stand.clock.advance(0.0)
            await within(stand.link.write("permit-1", on=False))
            await polls(stand.link, stand.clock, 1)
        order = [(one.unit, one.function) for one in stand.fake.asked][:3]
        assert order == [(1, READ_INPUT), (RELAYS, WRITE_COIL), (2, READ_INPUT)]


@pytest.mark.proves("heat away at once, whatever else is failing")
async def test_a_write_does_not_wait_for_a_silent_unit() -> None:
    async with bench({(1, 0): 5, (2, 0): 6}, timeout_s=0.8) as stand:
        stand.fake.faults[1] = Fault.SILENT
        async with running(stand.link):
            await polls(stand.link, stand.clock, 1)  # unit 1 is found silent
            stand.fake.asked.clear()
            await stand.clock.advance(1.0)
            assert stand.fake.asked[-1].unit == 1  # its probe is under way, for 0.8 s
            async with asyncio.timeout(0.5):
                await stand.link.write("permit-1", on=False)


async def test_writes_go_before_a_probe_that_waited_first() -> None:
    async with bench({(2, 0): 6}, timeout_s=QUICK_S) as stand, running(stand.link):
        stand.fake.faults = dict.fromkeys((2, RELAYS), Fault.SILENT)
        await polls(stand.link, stand.clock, 1)
        stand.fake.asked.clear()
        first = asyncio.ensure_future(stand.link.write("permit-1", on=False))
        await stand.clock.advance(1.0)  # the probe now waits for the first write
        second = asyncio.ensure_future(stand.link.write("permit-2", on=False))
        await asyncio.gather(first, second, return_exceptions=True)
        assert [one.function for one in stand.fake.asked][:2] == [WRITE_COIL, WRITE_COIL]


async def test_a_probe_that_gave_way_goes_to_the_end_of_the_row() -> None:
    async with bench({(1, 0): 5, (2, 0): 6}, timeout_s=QUICK_S) as stand, running(stand.link):
        stand.fake.faults = dict.fromkeys((1, 2), Fault.SILENT)
        await polls(stand.link, stand.clock, 1)
        stand.units_asked()
        for _ in range(4):
            await stand.clock.advance(1.0)
            await stand.link.write("permit-1", on=False)
            await at_rest(stand.clock)
        assert stand.units_asked() == [2, 1, 2, 1]


async def test_two_polls_at_once_do_not_keep_a_write_waiting() -> None:
    async with bench({(1, 0): 5}, timeout_s=QUICK_S) as stand:
        stand.fake.faults[1] = Fault.SILENT
        both = [asyncio.ensure_future(stand.link.poll_once()) for _ in range(2)]
        await settle()
        await stand.link.write("permit-1", on=False)
        await asyncio.gather(*both)
        order = [one.function for one in stand.fake.asked][:2]
        assert order == [READ_INPUT, WRITE_COIL]


@pytest.mark.parametrize("end", ["other side", "we"])
async def test_the_end_of_a_connection_ends_the_wait_for_its_answer(end: str) -> None:
    async with bench({(1, 0): 5}, timeout_s=1.0) as stand:
        stand.fake.faults = dict.fromkeys((1, RELAYS), Fault.SILENT)
        asked = asyncio.ensure_future(stand.link.write("permit-1", on=False))
        await settle()
        async with asyncio.timeout(0.5):
            await (stand.fake.hang_up() if end == "other side" else stand.link.close())
            with pytest.raises(LinkDown):
                await asked


async def test_a_write_that_waited_while_the_link_was_closed_does_not_connect() -> None:
    async with bench({(1, 0): 5}, timeout_s=QUICK_S) as stand:
        stand.fake.faults[1] = Fault.SILENT
        poll = asyncio.ensure_future(stand.link.poll_once())
        await settle()
        waits = asyncio.ensure_future(stand.link.write("permit-1", on=True))
        await settle()
        await stand.link.close()
        for ended in (poll, waits):
            with pytest.raises(DeviceClosed):
                await ended
        assert stand.fake.connections == 1
        assert stand.written() == []


async def test_eight_silent_units_cost_one_question_a_poll_and_come_back_together() -> None:
    silent = range(10, 18)
    async with bench({(unit, 0): unit for unit in (1, 2, *silent)}, timeout_s=QUICK_S) as stand:
        stand.fake.faults = dict.fromkeys(silent, Fault.SILENT)
        async with running(stand.link):
            await polls(stand.link, stand.clock, 1)
            stand.units_asked()
            probed = []
            for _ in silent:
                await polls(stand.link, stand.clock, 1)
                first, second, *others = stand.units_asked()
                assert (first, second, len(others)) == (1, 2, 1)
                probed += others
            assert sorted(probed) == list(silent)
            assert stand.values() == {"1/0": 1.0, "2/0": 2.0} | {f"{u}/0": None for u in silent}
            stand.fake.faults.clear()
            await polls(stand.link, stand.clock, 1)
            assert stand.values() == {f"{u}/0": float(u) for u in (1, 2, *silent)}
            assert stand.fake.connections == 1


@pytest.mark.parametrize("fault", [Fault.LATE, Fault.SPLIT_LATE])
async def test_a_late_answer_does_not_answer_the_same_question_asked_again(fault: Fault) -> None:
    async with bench({(1, 0): 100, (2, 0): 7}, timeout_s=QUICK_S) as stand:
        stand.fake.faults[1] = fault
        await stand.link.poll_once()
        stand.fake.faults.clear()
        stand.fake.values[1, "input", 0] = 200
        await stand.link.poll_once()
        # The old answer, 100, came over the same connection just before the new one.
        assert stand.values() == {"1/0": 200.0, "2/0": 7.0}
        if fault is Fault.LATE:
            assert stand.fake.connections == 1


async def test_two_long_answers_in_one_piece_are_told_apart() -> None:
    async with bench(
        {(unit, at): at for unit in (1, 2) for at in range(125)}, timeout_s=QUICK_S
    ) as stand:
        stand.fake.faults[1] = Fault.LATE
        await stand.link.poll_once()
        found = stand.values()
        assert all(found[f"2/{at}"] == at and found[f"1/{at}"] is None for at in range(125))


async def test_a_server_that_hears_nothing_any_more_is_connected_anew() -> None:
    async with bench({(1, 0): 5}, timeout_s=QUICK_S) as stand:
        await stand.link.poll_once()
        stand.fake.faults = dict.fromkeys((1, RELAYS), Fault.SILENT)
        await stand.link.poll_once()
        await stand.link.poll_once()
        assert stand.fake.connections == 2
        assert stand.link.snapshot()["1/0"].reason == "no_reply"
        stand.fake.faults.clear()
        await stand.link.poll_once()
        assert stand.values() == {"1/0": 5.0}


@pytest.mark.parametrize(
    "babble",
    [b"\xa5" * 40, b"\0\1\0\0\0\5\1\4\2\0\7", b"\0\0\0\0\0\5\0\4\2\0\7"],
    ids=["noise", "an old number", "number 0"],
)
async def test_what_nobody_asked_for_is_not_read(babble: bytes) -> None:
    async with bench({(1, 0): 5}) as stand:
        await stand.link.poll_once()
        for writer in stand.fake._open:
            writer.write(babble)
        await settle()
        await stand.link.poll_once()
        assert stand.values() == {"1/0": 5.0}
        # Where the next frame begins is not known after bytes that are none.
        assert stand.fake.connections == (2 if babble.startswith(b"\xa5") else 1)


async def test_connecting_is_tried_ever_more_rarely_up_to_the_limit(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    tried: list[int] = []
    connect = TcpConnection.open

    async def counted(connection: TcpConnection) -> None:
        tried.append(stand.clock.now_ns())
        await connect(connection)

    monkeypatch.setattr(TcpConnection, "open", counted)
    async with bench({(1, 0): 5}, reconnect_s_max=4.0) as stand:
        begin_ns = stand.clock.now_ns()
        await stand.fake.stop()
        async with running(stand.link):
            await polls(stand.link, stand.clock, 16)
        assert [(t - begin_ns) // NS_PER_S for t in tried] == [0, 1, 2, 4, 8, 12, 16]


async def test_refusal_of_one_request_leaves_the_units_others() -> None:
    async with bench({(1, 0): 5, (1, 9): 6}) as stand:
        del stand.fake.values[1, "input", 0]
        await stand.link.poll_once()
        assert stand.values() == {"1/0": None, "1/9": 6.0}
        assert stand.link.snapshot()["1/0"].reason == "refused"


@pytest.mark.parametrize(("renewed", "stays"), [(True, True), (False, False)])
@pytest.mark.proves("an output stays on only while its owner is alive")
async def test_an_output_stays_on_only_while_its_token_is_renewed(
    renewed: bool, stays: bool
) -> None:
    async with bench({(1, 0): 5}) as stand, running(stand.link):
        for token in ("bay-1", "bay-2"):
            stand.link.renew(token)
        await stand.link.write("permit-1", on=True)
        await stand.link.write("permit-2", on=True)
        for second in range(1, 10):
            stand.link.renew("bay-2")
            if renewed:
                stand.link.renew("bay-1")
            await polls(stand.link, stand.clock, 1)
            on = bool(stand.fake.values[RELAYS, "coil", 0])
            assert on == (stays or second < 3), f"after {second} s"
            assert stand.fake.values[RELAYS, "coil", 1] == 1  # another rig's, renewed


@WIRES
@pytest.mark.parametrize("alive", [("bay-1", "bay-2"), ("bay-2",), ("bay-1",), ()])
@pytest.mark.proves("an output stays on only while its owner is alive")
async def test_on_a_bus_they_share_a_rig_that_hangs_loses_its_own_output_only(
    wire: str, alive: tuple[str, ...]
) -> None:
    """All that differs between the rigs is who is alive; both are polled all the same."""
    async with room(wire) as stand, running(stand.link):
        await stand.seconds(1)
        for point in ("permit-1", "permit-2"):
            await stand.link.write(point, on=True)
        for second in range(1, 8):
            await stand.seconds(1, alive=alive)
            for token, unit in (("bay-1", GUARDED), ("bay-2", BARE)):
                # Last renewed a second before, and let go when that is hold_s = 3 s ago.
                assert stand.coil(unit) == (token in alive or second < 2), f"{token}, {second} s"
        assert all(sample.quality == "good" for sample in stand.link.snapshot().values())


async def test_what_was_switched_off_is_not_switched_off_again() -> None:
    async with bench({(1, 0): 5}) as stand, running(stand.link):
        await stand.link.write("permit-1", on=True)
        await stand.link.write("permit-1", on=False)
        await polls(stand.link, stand.clock, 6)
        assert stand.written() == [(0, True), (0, False)]


async def test_what_it_could_not_let_go_is_tried_again() -> None:
    async with bench({(1, 0): 5}) as stand, running(stand.link):
        await stand.link.write("permit-1", on=True)
        stand.fake.faults[RELAYS] = Fault.REFUSE
        stand.fake.values[RELAYS, "coil", 0] = 1
        await polls(stand.link, stand.clock, 5)
        failed = stand.link.statistics().write_failures
        assert failed == 3
        stand.fake.faults.clear()
        await polls(stand.link, stand.clock, 2)
        assert stand.written().count((0, False)) >= failed
        assert stand.link.snapshot()["permit-1"].value == 0.0


async def test_one_relay_module_that_is_silent_does_not_keep_another_on() -> None:
    async with bench({(1, 0): 5}, second_relays=4, timeout_s=QUICK_S) as stand, running(stand.link):
        for point in ("permit-1", "permit-2"):
            await stand.link.write(point, on=True)
        stand.fake.faults[RELAYS] = Fault.SILENT
        await polls(stand.link, stand.clock, 3)
        assert stand.fake.values[4, "coil", 1] == 0
        stand.fake.asked.clear()
        await polls(stand.link, stand.clock, 1)
        to_silent = [one.function for one in stand.fake.asked if one.unit == RELAYS]
        assert sorted(to_silent) == [READ_COIL, WRITE_COIL]  # its probe, and one more try


async def test_of_the_outputs_on_silent_modules_one_is_tried_a_period_in_turn() -> None:
    async with bench({(1, 0): 5}, second_relays=4, timeout_s=QUICK_S) as stand, running(stand.link):
        for point in ("permit-1", "permit-2"):
            await stand.link.write(point, on=True)
        stand.fake.faults = dict.fromkeys((RELAYS, 4), Fault.SILENT)
        await polls(stand.link, stand.clock, 4)
        stand.fake.asked.clear()
        tried = []
        for period in range(1, 5):
            await polls(stand.link, stand.clock, 1)
            tried = [one.unit for one in stand.fake.asked if one.function == WRITE_COIL]
            assert len(tried) == period
        assert tried.count(RELAYS) == tried.count(4)


async def test_a_unit_silent_to_a_write_is_not_waited_for_twice_in_the_next_poll() -> None:
    async with bench({(5, 0): 5}, timeout_s=QUICK_S) as stand:
        stand.fake.faults = {RELAYS: Fault.SILENT}
        with pytest.raises(LinkDown):
            await stand.link.write("permit-1", on=False)
        stand.fake.asked.clear()
        async with running(stand.link):
            await at_rest(stand.clock)
        assert [one.unit for one in stand.fake.asked] == [5, RELAYS]


async def test_a_unit_that_echoes_a_write_is_silent_no_more() -> None:
    async with bench({(RELAYS, 0): 6, (5, 0): 5}, timeout_s=QUICK_S) as stand, running(stand.link):
        stand.fake.faults = dict.fromkeys((RELAYS, 5), Fault.SILENT)
        await polls(stand.link, stand.clock, 2)  # unit 5 would be asked next
        del stand.fake.faults[RELAYS]
        await stand.link.write("permit-1", on=False)
        await polls(stand.link, stand.clock, 1)
        assert stand.values() == {f"{RELAYS}/0": 6.0, "5/0": None}


@pytest.mark.parametrize(("alive", "stays"), [(True, True), (False, False)])
async def test_an_output_found_on_needs_a_living_owner_too(alive: bool, stays: bool) -> None:
    async with bench({(1, 0): 5}) as stand:
        stand.fake.values[RELAYS, "coil", 0] = 1
        async with running(stand.link):
            for _ in range(6):
                if alive:
                    stand.link.renew("bay-1")
                await polls(stand.link, stand.clock, 1)
        assert stand.fake.values[RELAYS, "coil", 0] == int(stays)
        assert (0, True) not in stand.written()


async def test_neither_start_nor_reconnecting_switches_anything_on() -> None:
    async with bench({(1, 0): 5}) as stand, running(stand.link):
        stand.link.renew("bay-1")
        await stand.link.write("permit-1", on=True)
        await polls(stand.link, stand.clock, 1)
        await stand.fake.stop()
        stand.fake.values[RELAYS, "coil", 0] = 0
        stand.fake.asked.clear()
        await polls(stand.link, stand.clock, 3)
        await stand.fake.start()
        for _ in range(5):
            stand.link.renew("bay-1")
            await polls(stand.link, stand.clock, 1)
        assert stand.link.snapshot()["permit-1"].value == 0.0
        assert (0, True) not in stand.written()


async def test_reading_once_writes_nothing() -> None:
    async with bench({(1, 0): 5}) as stand:
        stand.fake.values[RELAYS, "coil", 0] = 1
        for _ in range(5):
            await stand.clock.advance(5.0)
            await stand.link.poll_once()
        assert stand.written() == []


async def test_statistics_count_what_happened() -> None:
    async with bench({(1, 0): 5, (2, 0): 6}) as stand:
        stand.fake.faults[2] = Fault.REFUSE
        await stand.link.poll_once()
        await stand.link.write("permit-1", on=False)
        told = stand.link.statistics()
        assert (told.polls, told.requests, told.failures) == (1, 3, 1)
        assert (told.reconnects, told.writes, told.write_failures) == (0, 1, 0)
        assert stand.fake.asked[-1] == Asked(RELAYS, WRITE_COIL, 0, 0)


async def test_names_must_differ_and_exist() -> None:
    point = PointSettings(unit=RELAYS, table="coil", register=0)
    output = OutputSettings(unit=RELAYS, register=0, token="bay-1")
    settings = TcpSettings(host="127.0.0.1")
    with pytest.raises(ValueError, match="link bay: permit named as a point and as an output"):
        open_link("bay", settings, {"permit": point}, {"permit": output}, VirtualClock())
    link = open_link("bay", settings, {}, {"permit": output}, VirtualClock())
    with pytest.raises(KeyError, match="horn"):
        await link.write("horn", on=True)


def test_the_driver_brings_in_no_server() -> None:
    look = "import sys, drivers.modbus; print(*sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert "pymodbus.client" in loaded
    assert not {"pymodbus.server", "drivers.modbus.fake", "simulator"} & loaded


async def test_it_says_why_there_is_no_connection_until_there_is_one() -> None:
    async with bench({(1, 0): 5}) as stand:
        await stand.link.poll_once()
        assert stand.link.remarks() == []
        await stand.fake.stop()
        await settle()
        for _ in range(3):
            await stand.link.poll_once()
            (remark,) = stand.link.remarks()
            assert remark == (
                f"link bay: 127.0.0.1:{stand.fake.port}: no connection within 1 s; check cable, "
                "power, address and port"
            )
        await stand.fake.start()
        await stand.clock.advance(5.0)
        await stand.link.poll_once()
        assert stand.link.remarks() == []

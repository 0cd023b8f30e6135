"""The campaign itself: what it can see, and that it would say so."""

from dataclasses import replace

import pytest

from rules.events import AlarmChanged
from rules.frame import Quality, Reason
from simulator.crew import Crew, Stage
from simulator.faults import Disturbance, catalogue
from simulator.faults.base import Onset
from simulator.planned import PlannedFault
from simulator.plant import Rig
from simulator.sensors import Failure
from simulator.wire import Trouble
from tests.campaign import batch
from tests.campaign.__main__ import main
from tests.campaign.course import Course
from tests.campaign.cures import run_fault, run_struck
from tests.campaign.draws import DISTURBANCES, FAULTS, draw, planned_in
from tests.campaign.known import is_known
from tests.campaign.short_cures import CARRYING, LESS_FITTED, short_cures
from tests.campaign.table import share_of
from tests.campaign.verdict import Alarm, Verdict, first_alarms
from tests.campaign.wires import FITTINGS, Wires

SEED = 600_001
HOLD = Onset(60.0, Stage.HOLD)


@pytest.fixture(scope="module")
def in_hold() -> Course:
    """A minute into the hold."""
    course = draw(SEED, mode="relieving", fittings="all").begin()
    while course.crew.stage is not Stage.HOLD or course.crew.in_stage_s(course.now_s) < 60:
        course.advance()
    return course


def planned(name: str) -> PlannedFault:
    return PlannedFault(name, catalogue()[name](), HOLD)


def test_a_fork_without_faults_goes_on_to_the_bit(in_hold: Course) -> None:
    twins = [in_hold.fork(), in_hold.fork()]
    for _ in range(300):
        for twin in twins:
            twin.advance()
    assert repr(twins[0].state) == repr(twins[1].state)
    assert twins[0].rig.truth() == twins[1].rig.truth()


def test_a_fork_leaves_its_trunk_alone(in_hold: Course) -> None:
    before = repr(in_hold.state), in_hold.rig.truth(), len(in_hold.told)
    run_fault(in_hold.fork([planned("hose_burst")], tail_s=1e6), planned("hose_burst"))
    assert (repr(in_hold.state), in_hold.rig.truth(), len(in_hold.told)) == before


def test_a_burst_is_found_and_takes_heat_away_at_the_relay(in_hold: Course) -> None:
    course = in_hold.fork([planned("hose_burst")], tail_s=1e6)
    assert course.rig.relays.contact("heat_permit")
    verdict = run_fault(course, planned("hose_burst"))
    assert verdict.word == "found"
    assert verdict.found is not None
    assert verdict.found.tag == "bag.burst"
    course.advance()
    assert not course.rig.relays.contact("heat_permit")
    assert course.rig.relays.shown()["beacon_red"]


@pytest.mark.parametrize(("fittings", "word"), [("all", "found"), ("few", "missed")])
def test_what_is_not_fitted_is_not_judged(in_hold: Course, fittings: str, word: str) -> None:
    course = in_hold.fork([planned("estop_pressed")], tail_s=1e6)
    course.wires = Wires(FITTINGS[fittings], course.wires.seq)
    assert run_fault(course, planned("estop_pressed")).word == word


@pytest.mark.parametrize(
    ("trouble", "reason", "written"),
    [
        (Trouble.SILENT, Reason.NO_REPLY, False),
        (Trouble.EXCEPTION, Reason.REFUSED, False),
        (Trouble.GARBLED, Reason.BAD_REPLY, True),
        (Trouble.LATE, Reason.NO_REPLY, True),
    ],
)
def test_a_troubled_module(
    in_hold: Course, trouble: Trouble, reason: Reason, *, written: bool
) -> None:
    course = in_hold.fork()
    course.advance()
    answered_ns = course.wires.frame(course.rig, 0, "").values["heat_on"].at_ns
    course.rig.wire.troubles["relays"] = trouble
    frame = course.wires.frame(course.rig, 0, "")
    reading = frame.values["heat_on"]
    assert (reading.value, reading.quality, reading.reason) == (None, Quality.BAD, reason)
    assert reading.at_ns == answered_ns
    assert set(frame.readback.values()) == {None}
    assert frame.values["pad_inner_c"].quality is Quality.GOOD
    course.wires.write(course.rig, replace(course.outputs, heat_permit=False))
    assert course.rig.relays.coils["heat_permit"] is not written


@pytest.mark.parametrize(
    ("name", "failure", "reason"),
    [
        ("pad_inner_c", Failure.OPEN, Reason.OPEN_CIRCUIT),
        ("pad_inner_c", Failure.SHORT, Reason.SHORT_CIRCUIT),
        ("bag_outer_kpa", Failure.OPEN, Reason.NOT_A_NUMBER),
    ],
)
def test_a_broken_instrument(in_hold: Course, name: str, failure: Failure, reason: Reason) -> None:
    course = in_hold.fork()
    course.rig.instruments[name].failure = failure
    reading = course.wires.frame(course.rig, 0, "").values[name]
    assert (reading.value, reading.reason) == (None, reason)


def test_relays_open_by_themselves_while_nobody_runs(in_hold: Course) -> None:
    course = in_hold.fork()
    course.rig.host.down = True
    seq = course.wires.seq
    for _ in range(7):
        course.advance()
    assert course.wires.seq == seq
    assert not course.rig.relays.contact("heat_permit")


def test_the_disk_holds_no_heat_back_that_was_granted(in_hold: Course) -> None:
    course = in_hold.fork()
    course.rig.host.disk_full = True
    course.advance()
    assert course.rig.relays.coils["heat_permit"]


class Hole(Disturbance):
    """Calls itself harmless, and is a hole in a bag."""

    touches = frozenset({"bag"})

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        rig.bags["inner"].hole_dm3_s_bar = 1.0


def test_a_disturbance_that_wakes_what_it_may_not(in_hold: Course) -> None:
    drawn = draw(SEED, mode="relieving", fittings="all")
    struck = run_struck(drawn, in_hold, PlannedFault("hole", Hole(), HOLD))
    assert struck.verdict is None
    assert "bag.burst" in {alarm.tag for alarm in struck.false}


def alarm(delay_s: float) -> Alarm:
    return Alarm("bag.low", "warn", delay_s)


@pytest.mark.parametrize(
    ("found", "harmed_s", "word"),
    [
        (alarm(100.0), None, "found"),
        (alarm(101.0), None, "found"),  # the frame after
        (alarm(102.0), None, "past"),
        (alarm(90.0), 80.0, "late"),
        (alarm(90.0), 95.0, "found"),
        (None, None, "missed"),
    ],
)
def test_the_words_of_a_verdict(found: Alarm | None, harmed_s: float | None, word: str) -> None:
    verdict = Verdict("x", found, (), 100.0, harmed_s)
    assert verdict.word == word
    # Where no plant can measure the harm, the deadline is all there is.
    late = "late" if word == "past" else word
    assert replace(verdict, measured=False).word == late


def test_an_alarm_from_before_the_strike_finds_nothing(in_hold: Course) -> None:
    course = in_hold.fork([planned("hose_burst")], tail_s=1e6)
    run_fault(course, planned("hose_burst"))
    burst = [told.at_s for told in course.told if isinstance(told.event, AlarmChanged)]
    assert first_alarms(course, ("bag.burst",), burst[0])
    assert not first_alarms(course, ("bag.burst",), burst[-1] + 1.0)


def test_the_exact_interval() -> None:
    # Closed form for none of n: 1 - 0.025 ** (1 / n) (Clopper and Pearson, 1934).
    assert share_of(0, 1000).high == pytest.approx(1 - 0.025 ** (1 / 1000))
    assert share_of(0, 1000).low == 0.0
    # 10 of 100: 4.90 to 17.62 % (Clopper and Pearson; from memory of their tables).
    assert (share_of(10, 100).low, share_of(10, 100).high) == pytest.approx(
        (0.0490, 0.1762), abs=1e-4
    )


@pytest.mark.parametrize(
    ("name", "word", "ohm_per_h", "mode", "known"),
    [
        ("joint_grows", "late", 4.1, "relieving", True),
        ("joint_grows", "missed", 4.1, "relieving", False),
        ("joint_grows", "late", 3.9, "relieving", False),
        ("joint_grows", "late", 0.9, "relieving", False),
        ("tap_iced", "missed", None, "locked_off", True),
        ("tap_iced", "missed", None, "relieving", True),
        ("hose_burst", "late", None, "relieving", False),
    ],
)
def test_what_is_known_excuses_no_more(
    name: str, word: str, ohm_per_h: float | None, mode: str, *, known: bool
) -> None:
    sizes = {} if ohm_per_h is None else {"ohm_per_h": ohm_per_h}
    assert is_known(name, word, catalogue()[name].model_validate(sizes), mode) is known


def test_the_same_seed_draws_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    assert draw(7) == draw(7)
    assert planned_in(7, "slow_leak", 9000.0) == planned_in(7, "slow_leak", 9000.0)
    assert draw(7) != draw(8)


def test_the_short_cures_carry_all_of_the_catalogue() -> None:
    orders = short_cures()
    assert len({order.seed for order in orders}) == CARRYING + len(LESS_FITTED)
    assert {name for order in orders for name in order.names} == {*FAULTS, *DISTURBANCES}


def test_several_processes_find_the_same() -> None:
    made = batch.orders(2, 5, faults=0, disturbances=0)
    quick = [replace(order, names=("rig_not_commissioned",), whole=False) for order in made]
    assert batch.run(quick, jobs=1) == batch.run(quick, jobs=2)


def test_what_cannot_be_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--fault", "no_such"]) == 2
    assert "no scenario is called 'no_such'" in capsys.readouterr().err


def test_one_case_alone_is_told_with_its_verdict(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--cure", str(SEED), "--mode", "relieving", "--fault", "hose_burst"]) == 0
    told = capsys.readouterr().out
    assert "STRIKES: hose_burst" in told
    assert "hose_burst: FOUND; bag.burst trip after" in told

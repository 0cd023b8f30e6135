"""The phase table: every row both ways, at three frame periods, and what must not happen.

Figures are the design's defaults (common practice, no source); stories are invented.
"""

import math
import random
from collections.abc import Callable
from pathlib import Path

import pytest

from rules.document_phases import phases_page
from rules.phases import TABLE, Phase, Place
from rules.state import State
from tests.unit.story import PLACES, Story, limits_with, story_in

Act = Callable[[Story], object]


def start(place: str, period_s: float) -> Story:
    """A story in a place, `place/minutes` with that hold; some lie off the ordinary way."""
    place, _, hold_min = place.partition("/")
    if place in PLACES:
        return story_in(place, period_s, hold_min=float(hold_min) if hold_min else None)
    if place == "done":
        story = story_in("release", period_s)
        story.run(300, bag_inner_kpa=0.0, bag_outer_kpa=0.0).run(max(70, 3 * period_s))
    elif place == "aborted":
        story = story_in("cure", period_s).bags(0).run(max(70, 3 * period_s))
    elif place == "found":  # held and warm, the way here not seen
        story = Story(limits_with(period_s)).pads(90).bags(207).run(60)
    elif place == "cold":  # start pressed, and nothing warms
        story = story_in("idle", period_s).press("start_button")
    else:  # warmed without a press: heat is not allowed
        story = story_in("idle", period_s).run(1200, pad_inner_c=40.0, pad_outer_c=40.0)
        assert story.phase == "preheat"
        assert story.permit == "withheld"
    return story.since()


def up(seconds: float, inner_c: float, outer_c: float | None = None) -> Act:
    return lambda story: story.run(
        seconds, pad_inner_c=inner_c, pad_outer_c=inner_c if outer_c is None else outer_c
    )


def air(kpa: float, seconds: float, *, then_s: float = 0.0) -> Act:
    def act(story: Story) -> None:
        story.run(seconds, bag_inner_kpa=kpa, bag_outer_kpa=kpa)
        if then_s:
            story.run(then_s)

    return act


def both(*acts: Act) -> Act:
    def act(story: Story) -> None:
        for one in acts:
            one(story)

    return act


def frames(count: int) -> Act:
    def act(story: Story) -> None:
        for _ in range(count):
            story.tick()

    return act


def gap(seconds: float) -> Act:
    return lambda story: story.gap(seconds)


def put(**values: float | str) -> Act:
    return lambda story: story.set(**values)


def press(button: str) -> Act:
    return lambda story: story.press(button)


EMPTY = put(bag_inner_kpa=0.0, bag_outer_kpa=0.0)
SOME_AIR = put(bag_inner_kpa=25.0, bag_outer_kpa=25.0)
UNSEEN = both(gap(540), EMPTY, put(pad_inner_c=60.0, pad_outer_c=60.0))
FILL = both(SOME_AIR, frames(7))
PUFF = both(SOME_AIR, frames(1), EMPTY, frames(2))
PRESS = press("start_button")
STAY = both(press("here_button"), lambda story: story.run(1200))

# From, what happens, where it leads. Where it leads back to the start is a near miss.
Way = tuple[str, str, Act, str]
QUICK: list[Way] = [
    ("idle", "pads up 11 in 10 min", up(600, 31), "preheat"),
    ("idle", "pads up 8 in 10 min", up(600, 28), "idle"),
    ("idle", "one pad up 11", up(600, 31, 20), "preheat"),
    ("idle", "up 11 with some air in", both(air(15, 60), up(900, 31)), "idle"),
    ("idle", "start pressed", PRESS, "preheat"),
    ("preheat", "both 6 below their peak", up(600, 54), "fitting"),
    ("preheat", "both 4 below their peak", up(600, 56), "preheat"),
    ("preheat", "one pad 20 below", up(600, 60, 40), "preheat"),
    ("preheat", "a pad unplugged", both(put(pad_inner_c="open_circuit"), frames(2)), "fitting"),
    ("preheat", "a pad not answering", both(put(pad_inner_c="no_reply"), frames(2)), "preheat"),
    ("fitting", "up 4 in 2 min", up(120, 54), "preheat"),
    ("fitting", "up 2 in 2 min", both(up(120, 52), up(600, 52)), "fitting"),
    ("fitting", "up 4 in 2 min, some air in", both(air(15, 60), up(120, 54)), "fitting"),
    ("idle", "air at 25 kPa", FILL, "inflation"),
    ("preheat", "air at 25 kPa", FILL, "inflation"),
    ("fitting", "air at 25 kPa", FILL, "inflation"),
    ("idle", "air at 18 kPa", air(18, 120), "idle"),
    ("preheat", "air at 18 kPa", air(18, 120), "preheat"),
    ("fitting", "air at 18 kPa", air(18, 120), "fitting"),
    ("idle", "a puff of air", PUFF, "idle"),
    ("inflation", "let out, cool", air(0, 60, then_s=130), "fitting"),
    ("inflation", "let out but for 15 kPa", air(15, 60, then_s=130), "inflation"),
    ("inflation", "up 4 in 3 min", up(180, 54), "heat_up"),
    ("inflation", "up 2 in 3 min, then steady", both(up(180, 52), up(300, 52)), "inflation"),
    ("inflation", "up 4 in 3 min at 170 kPa", both(air(170, 60), up(180, 54)), "inflation"),
    ("inflation", "cooling", up(900, 40), "inflation"),
    ("found", "cooling", up(300, 80), "cool_down"),
    ("found", "steady", up(300, 90), "inflation"),
    ("found", "let out at 90", air(0, 60, then_s=130), "inflation"),
    ("heat_up", "both at 121 for 2 min", both(up(900, 121), up(120, 121)), "cure"),
    ("heat_up", "emptied", air(0, 60, then_s=130), "aborted"),
    ("heat_up", "down to 15 kPa", air(15, 60, then_s=130), "heat_up"),
    (
        "heat_up/5",
        "planned end, never held",
        both(air(170, 60), up(300, 130), up(400, 130)),
        "cool_down",
    ),
    ("cure", "both cool", up(900, 125), "cool_down"),
    ("cure", "emptied hot", air(0, 60, then_s=130), "aborted"),
    ("cure", "down to 15 kPa", air(15, 60, then_s=130), "cure"),
    ("cure/15", "planned end", up(480, 140), "cool_down"),
    ("cool_down", "both up 4 in 3 min", up(180, 119), "heat_up"),
    ("cool_down", "let down at 90", both(up(900, 90), air(170, 120)), "release"),
    ("cool_down", "emptied at 115", air(0, 60, then_s=130), "aborted"),
    ("aborted", "cold", up(900, 45), "idle"),
]
LONG: list[Way] = [  # long stories: not at 1 s
    ("heat_up", "one pad at 118", both(up(900, 121, 118), up(120, 121, 118)), "heat_up"),
    ("heat_up", "both at 121 at 170 kPa", both(air(170, 60), up(900, 121)), "heat_up"),
    (
        "heat_up/30",
        "before it, never held",
        both(air(170, 60), up(300, 130), up(400, 130)),
        "heat_up",
    ),
    ("cure", "one cools", both(up(900, 140, 120), up(300, 140, 120)), "cure"),
    ("cool_down", "lost 37 kPa at 102", both(up(900, 102), air(170, 120)), "cool_down"),
    ("aborted", "warm", up(900, 55), "aborted"),
    ("done", "air at 25 kPa", FILL, "inflation"),
    ("cure", "both cool 8", both(up(900, 132), up(600, 132)), "cure"),
    ("cure/30", "before the planned end", up(480, 140), "cure"),
    ("cure", "emptied unseen", both(UNSEEN, up(200, 60)), "done"),
    ("cure/30", "emptied unseen too soon", both(UNSEEN, up(200, 60)), "aborted"),
    ("cool_down", "emptied unseen", both(up(180, 119), UNSEEN, up(200, 60)), "done"),
    ("cool_down", "one up 4 in 3 min", up(180, 119, 115), "cool_down"),
    ("cool_down", "both up 4, 170 kPa", both(air(170, 60), up(180, 119)), "cool_down"),
    ("release", "empty", air(0, 120, then_s=130), "done"),
    ("release", "15 kPa left", air(15, 120, then_s=130), "release"),
    ("release/600", "empty, hold not met", air(0, 120, then_s=130), "aborted"),
    ("done", "pads up 11 after 6 min", both(frames(1), up(400, 92)), "preheat"),
    ("done", "pads up 8 after 6 min", both(frames(1), up(400, 88)), "done"),
    ("warmed", "cold for 2 h", both(up(60, 30), up(7200, 30)), "idle"),
    ("warmed", "cold for 1 h 20 min", both(up(60, 30), up(4800, 30)), "fitting"),
    ("warmed", "cool for 2 h", both(up(60, 37), up(7500, 37)), "idle"),
    ("warmed", "warm for 2 h", both(up(60, 52), up(7500, 52)), "preheat"),
    ("cold", "for 2 h 20 min, heat allowed", both(*[STAY] * 7), "preheat"),
    ("inflation", "up 0.5 in a min", up(1500, 62.5), "heat_up"),
    ("cool_down", "reheated slowly", both(up(600, 122), up(900, 137)), "cure"),
    ("cool_down", "cools slowly on", up(600, 111), "cool_down"),
    ("cool_down", "let down slowly at 90", both(up(900, 90), air(0, 5400)), "done"),
    ("cool_down", "let down slowly, not yet low", both(up(900, 90), air(60, 3600)), "cool_down"),
]
RUNS = [(way, period_s) for way in QUICK for period_s in (1.0, 10.0, 60.0)] + [
    (way, period_s) for way in LONG for period_s in (10.0, 60.0)
]


@pytest.mark.parametrize(
    ("way", "period_s"),
    [pytest.param(way, s, id=f"{way[0]}: {way[1]}, {s:g} s frames") for way, s in RUNS],
)
def test_way(way, period_s):
    place, _, act, leads_to = way
    story = start(place, period_s)
    act(story)
    assert story.phase == leads_to, story.phases()
    assert len(story.phases()) <= 3, "phases change places to and fro"


def test_every_row_is_taken_by_some_way():
    taken = set()
    for place, _, act, _ in QUICK + LONG:
        story = start(place, 60.0)
        act(story)
        taken |= {(event.was, event.phase, event.why) for event in story.events("phase")}
    rows = {(source.value, row.target.value, row.why) for row in TABLE for source in row.sources}
    assert rows - taken == set()


def newton(t_s: float) -> float:
    """Pads left to cool: the curve of the design's passive cooling."""
    return 20 + 120 * math.exp(-t_s / 3600)


COOLINGS = {
    "passive": newton,
    "0.7 K/min": lambda t_s: 140 - 0.7 * t_s / 60,
}


@pytest.mark.parametrize(("period_s", "noise_c"), [(1.0, 0.3), (10.0, 0.3), (60.0, 0.3), (60.0, 0)])
@pytest.mark.parametrize("curve", COOLINGS.values(), ids=COOLINGS)
def test_slow_cooling_leaves_cure_before_undertemperature_would_speak(curve, noise_c, period_s):
    """`pad.undertemperature` speaks after 5 min under 130 C (design's default)."""
    noise = random.Random(7)  # noqa: S311  # noise of a sensor, the same each time
    story = story_in("cure", period_s).run(600)
    began_s = story.t_s
    cold_s = 0.0
    while story.phase == "cure" and cold_s < 300:
        now_c = curve(story.t_s - began_s)
        story.pads(now_c + noise.gauss(0, noise_c), now_c + noise.gauss(0, noise_c)).tick()
        cold_s += period_s if now_c < 130 else 0
    assert story.phase == "cool_down"
    assert cold_s < 300


@pytest.mark.parametrize("period_s", [10.0, 60.0])
def test_a_thermostat_that_cycles_stays_in_cure(period_s):
    noise = random.Random(7)  # noqa: S311  # noise of a sensor, the same each time

    def cycling(t_s):
        return 140 + 3 * math.sin(2 * math.pi * t_s / 480) + noise.gauss(0, 0.3)

    story = story_in("cure", period_s).play(3600, pad_inner_c=cycling, pad_outer_c=cycling)
    assert story.phase == "cure"
    assert story.phases() == []


def test_overshoot_in_heating_up_is_no_plateau_to_fall_from():
    story = story_in("heat_up").run(600, pad_inner_c=150.0, pad_outer_c=150.0).run(400)
    assert story.phase == "cure"
    story = story_in("heat_up").run(600, pad_inner_c=119.0, pad_outer_c=152.0).run(600)
    assert story.phase == "heat_up"
    story.run(60, pad_inner_c=132.0).run(120).run(300, pad_outer_c=138.0)
    assert story.phase == "cure"


def test_a_trip_alone_stays_in_cure():
    story = story_in("cure").pads(156, 140).run(60)
    assert story.permit == "latched"
    assert story.phase == "cure"


def test_a_set_point_lowered_in_mid_cure_comes_back_to_it():
    story = story_in("cure").run(900, pad_inner_c=127.0, pad_outer_c=127.0)
    assert story.phase == "cool_down"
    story.run(1500)
    assert story.phases() == ["cool_down", "heat_up", "cure"]


def test_pads_warming_after_the_planned_end_stay_in_cool_down():
    story = story_in("cure", hold_min=15).run(480)
    assert story.phase == "cool_down"
    for _ in range(3):  # a thermostat that nobody switched off, on a rig that is only watched
        story.run(240, pad_inner_c=135.0, pad_outer_c=135.0)
        story.run(240, pad_inner_c=141.0, pad_outer_c=141.0)
    assert story.phases() == ["cool_down"]


def test_preheating_again_below_the_old_peak_does_not_change_to_and_fro():
    story = story_in("fitting").run(600, pad_inner_c=70.0, pad_outer_c=70.0)
    assert story.phases() == ["preheat"]


def test_a_pad_carried_about_does_not_change_to_and_fro():
    story = story_in("preheat").set(pad_inner_c="open_circuit").run(120)
    story.run(300, pad_outer_c=66.0)
    story.set(pad_inner_c=60.0).run(120)
    assert story.phases() == ["fitting"]


def test_a_pad_that_reads_again_has_not_warmed():
    story = Story(limits_with(10.0)).pads(34, 20).run(120)
    story.set(pad_inner_c="no_reply").run(120)
    story.set(pad_inner_c=34.0).run(600)
    assert story.phases() == []


def test_a_workshop_that_warms_by_day_is_no_preheat():
    story = story_in("idle", 300.0).run(86_400, pad_inner_c=30.0, pad_outer_c=30.0)
    assert story.phases() == []


def test_a_whole_cure_with_one_pad_and_one_bag():
    story = Story(limits_with(10.0)).without("pad_outer_c", "bag_outer_kpa").run(70)
    story.press("start_button").run(600, pad_inner_c=60.0).run(300, pad_inner_c=50.0)
    story.set(pins_in=1.0).run(180, bag_inner_kpa=207.0).run(60).press("here_button")
    story.run(1200, pad_inner_c=140.0).run(900).press("here_button")
    story.run(1500, pad_inner_c=90.0).run(300, bag_inner_kpa=0.0).run(120)
    ordinary = ["preheat", "fitting", "inflation", "heat_up", "cure", "cool_down", "release"]
    assert story.phases() == [*ordinary, "done"]
    assert story.alarms() == []
    closed = story.events("run_closed")
    assert [(event.run, event.outcome, event.peak_c) for event in closed] == [(1, "done", 140.0)]


@pytest.mark.parametrize(
    "absent", [("bag_inner_kpa", "bag_outer_kpa"), ("pad_inner_c", "pad_outer_c")]
)
def test_what_no_channel_shows_is_not_guessed(absent):
    story = Story(limits_with(10.0)).without(*absent).run(70)
    targets = {"pad_inner_c": 140.0, "bag_inner_kpa": 207.0}
    story.run(1200, **{name: to for name, to in targets.items() if name in story.values})
    assert not {"heat_up", "cure", "preheat"} & set(story.phases())


def test_from_done_air_begins_a_new_run():
    story = start("done", 10.0)
    assert story.state.run.number == 1
    assert not story.state.run.open
    FILL(story)
    assert [event.run for event in story.events("run_opened")] == [2]


@pytest.mark.parametrize(
    ("place", "act", "outcome"),
    [
        ("release", air(0, 120, then_s=130), "done"),
        ("cure", air(0, 60, then_s=3000), "aborted"),
        ("warmed", both(up(60, 30), up(7300, 30)), "given_up"),
    ],
)
def test_a_run_closes_with_its_outcome(place, act, outcome):
    story = start(place, 10.0)
    act(story)
    if outcome == "aborted":
        assert story.events("run_closed") == []
        story.run(3600, pad_inner_c=40.0, pad_outer_c=40.0)
    assert [event.outcome for event in story.events("run_closed")] == [outcome]
    assert not story.state.run.open


# What is found after the history was lost: pads, bags, where it is taken to be.
FOUND = [
    (140.0, 207.0, "cure", False),
    (140.0, 25.0, "cure", False),  # some air: so that low air speaks
    (140.0, 0.0, "aborted", False),
    (99.0, 0.0, "idle", True),
    (80.0, 207.0, "inflation", False),  # cool_down once it is seen to fall
    (20.0, 207.0, "inflation", False),
    (20.0, 0.0, "idle", True),
]


@pytest.mark.parametrize(("pad_c", "bag_kpa", "phase", "known"), FOUND)
def test_the_start_of_a_record_is_classified(pad_c, bag_kpa, phase, known):
    story = Story(limits_with(10.0)).pads(pad_c).bags(bag_kpa).tick()
    assert (story.phase, story.state.place.history_known) == (phase, known)


@pytest.mark.parametrize(("pad_c", "bag_kpa", "phase", "known"), FOUND)
@pytest.mark.parametrize("unread", [0, 4])
def test_a_gap_over_ten_minutes_loses_the_history(pad_c, bag_kpa, phase, known, unread):
    """Also when the links first have to come up again."""
    story = story_in("cool_down").gap(601).pads(pad_c).bags(bag_kpa)
    silent = story.copy().set(**dict.fromkeys(("pad_inner_c", "bag_inner_kpa"), "never_read"))
    if unread:
        story = silent
        for _ in range(unread):
            story.tick()
        assert story.phase == "cool_down"
        story.pads(pad_c).bags(bag_kpa)
    story.tick()
    assert (story.phase, story.state.place.history_known) == (phase, known)


def test_a_gap_of_ten_minutes_keeps_it():
    story = story_in("cure").gap(600).pads(130).tick()
    assert (story.phase, story.state.place.history_known) == ("cure", True)
    assert story.phases() == []


def test_hot_and_held_after_a_long_gap_is_told_and_the_run_goes_on():
    story = story_in("cure").gap(3600).tick()
    told = [event for event in story.events("phase") if not event.history_known]
    assert [event.phase for event in told] == ["cure"]
    assert story.state.run.open
    assert story.events("run_closed") == []


def test_pads_unread_for_long_after_a_long_gap_leave_the_phase_but_not_the_history():
    story = story_in("cure").gap(3600).set(pad_inner_c="no_reply", pad_outer_c="no_reply").run(120)
    assert story.state.place.settled
    assert (story.phase, story.state.place.history_known) == ("cure", False)


def test_a_record_that_starts_unread_waits_a_minute():
    story = Story(limits_with(10.0)).set(pad_inner_c="never_read", pad_outer_c="never_read")
    assert not story.run(60).state.place.settled
    assert story.run(30).state.place.settled
    assert story.phase == "idle"


def test_the_table_names_every_phase():
    left = {phase for row in TABLE for phase in row.sources}
    assert left == set(Phase)
    assert {row.target for row in TABLE} == set(Phase)
    assert State().place == Place()


def test_the_page_is_fresh_and_has_every_way():
    page = phases_page()
    assert (Path(__file__).parents[2] / "docs" / "phases.md").read_text() == page, (
        "docs/phases.md is stale; run: sh docs/build.sh"
    )
    for row in TABLE:
        assert f"| `{row.target}` | {row.why} |" in page
        for source in row.sources:
            assert f"    {source} --> {row.target}\n" in page


def test_a_pad_that_went_silent_while_warm_does_not_count():
    story = story_in("idle").bags(15).run(600, pad_inner_c=35.0)
    story.set(pad_inner_c="no_reply").bags(0).run(300)
    assert story.phases() == []
    assert story.set(pad_inner_c=36.0).run(20).phases() == ["preheat"]


def test_a_hold_whose_heat_a_trip_cut_stays_a_hold_until_it_is_reset():
    story = story_in("cure").run(900)
    story.set(pins_in=0.0).run(30)
    assert story.permit == "latched"
    story.set(pins_in=1.0).run(1800, pad_inner_c=105.0, pad_outer_c=105.0)
    assert story.phase == "cure", "heat cut"
    story.press("reset_button")
    story.run(900, pad_inner_c=95.0, pad_outer_c=95.0)
    assert story.phase == "cool_down"


def test_a_hold_whose_heat_went_without_a_trip_becomes_cool_down():
    story = story_in("cure").run(900)
    story.set(estop_ok=0.0).run(30)
    assert story.permit == "withdrawn"
    story.run(1800, pad_inner_c=105.0, pad_outer_c=105.0)
    assert story.phase == "cool_down"


@pytest.mark.parametrize(("watched_only", "phase"), [(True, "cure"), (False, "cool_down")])
def test_the_planned_end_begins_cool_down_only_where_heat_was_really_withdrawn(watched_only, phase):
    story = story_in("cure", hold_min=15)
    if watched_only:
        story.readback.clear()
    story.run(480)
    assert story.state.hold.over
    assert story.phase == phase

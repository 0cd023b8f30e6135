"""The heat permit: how it is given, taken and, after a short gap, given back.

Closing it is switching heat on (IEC 60204-1, unexpected start; a reset does not
restart): each "only" is shown both ways.
"""

import pytest

from rules.frame import Health
from tests.unit.story import Story, limits_with, story_in

ON_THE_WAY = ("idle", "preheat", "fitting", "inflation", "heat_up", "cure", "cool_down")


def heated(place: str, period_s: float = 1.0) -> Story:
    story = story_in(place, period_s)
    if story.permit != "granted":
        story.press("start_button")
    assert story.permit == "granted"
    return story.since()


def unheated(place: str, period_s: float = 10.0) -> Story:
    """In a place with the permit withdrawn, without a latch."""
    story = story_in(place, period_s)
    if story.permit == "granted":
        story.set(mains_ok=0.0).tick().set(mains_ok=1.0).tick()
    assert story.permit in ("withheld", "withdrawn")
    return story.since()


def tripped(place: str = "cure", period_s: float = 10.0) -> Story:
    story = heated(place, period_s)
    inner_c = story.values["pad_inner_c"]
    # Long enough to be believed: a pad that leaps is doubted for 5 s.
    story.pads(156, 156).run(max(7, 2 * period_s)).pads(inner_c).run(130)
    assert story.permit == "latched"
    return story.since()


def did(story: Story) -> list[tuple[str, str]]:
    return [(event.button, event.did) for event in story.events("pressed")]


def test_nothing_but_a_press_gives_it_first():
    story = story_in("idle").run(1200)
    story.press("here_button").press("reset_button")
    assert story.permit == "withheld"
    story.press("start_button")
    assert story.permit == "granted"
    assert story.permits() == ["granted"]
    assert story.decision.outputs.heat_permit


@pytest.mark.parametrize("frames", [1, 5, 30])
def test_a_button_found_pressed_is_no_press(frames):
    story = Story().set(start_button=1.0)
    for _ in range(frames):
        story.tick()
    story.set(start_button=0.0).run(5)
    assert story.permit == "withheld"
    assert did(story) == []
    assert story.press("start_button").permit == "granted"


@pytest.mark.parametrize("gap_s", [4, 40, 4000])
def test_a_button_pressed_in_a_gap_is_no_press(gap_s):
    story = unheated("cure", 1.0).gap(gap_s).set(start_button=1.0, here_button=1.0).run(5)
    assert did(story) == []
    assert story.permit != "granted"


@pytest.mark.parametrize(("unread", "pressed"), [(2, True), (10, False)])
def test_a_button_pressed_while_long_unread_is_no_press(unread, pressed):
    """One poll lost in the middle of a press does not lose the press."""
    story = unheated("preheat", 1.0).set(start_button="no_reply")
    for _ in range(unread):
        story.tick()
    story.set(start_button=1.0).tick()
    assert (story.permit == "granted") is pressed


@pytest.mark.parametrize("place", ON_THE_WAY)
def test_a_press_gives_it_in_each_phase_that_may_heat(place):
    assert unheated(place).press("start_button").permit == "granted"


@pytest.mark.parametrize("place", ["release", "aborted"])
def test_a_press_gives_nothing_while_air_goes_or_after_an_abort(place):
    story = story_in("release") if place == "release" else story_in("cure").bags(0).run(130)
    assert story.phase == place
    if story.permit == "latched":
        story.bags(207).run(90).bags(0).run(130)
    story.since().press("start_button")
    assert story.permit != "granted"
    assert did(story)[0][1].startswith("heat not allowed: ")


@pytest.mark.parametrize("channel", ["pad_inner_c", "pad_outer_c", "estop_ok", "mains_ok"])
def test_a_press_gives_nothing_while_what_matters_cannot_be_read(channel):
    story = unheated("idle", 1.0).set(**{channel: "no_reply"}).press("start_button")
    assert story.permit == "withheld"
    assert did(story) == [("start_button", f"heat not allowed: {channel} cannot be read")]
    story.set(**{channel: 1.0 if channel.endswith("ok") else 20.0}).run(20).press("start_button")
    assert story.permit == "granted"


@pytest.mark.parametrize(("store_ok", "permit"), [(True, "granted"), (False, "withheld")])
def test_a_press_gives_heat_only_while_the_record_can_be_stored(store_ok, permit):
    story = unheated("idle", 1.0)
    story.health = Health(store_ok=store_ok)
    story.press("start_button")
    assert story.permit == permit
    assert ("the record cannot be stored" in did(story)[0][1]) is not store_ok


def test_a_rig_without_pads_is_never_heated():
    story = Story().without("pad_inner_c", "pad_outer_c").run(5).press("start_button")
    assert story.permit == "withheld"
    assert did(story) == [("start_button", "heat not allowed: no pad temperature is fitted")]


def test_optional_channels_that_are_not_fitted_do_not_bar_heat():
    story = Story().without("estop_ok", "mains_ok", "pad_outer_c").run(5).press("start_button")
    assert story.permit == "granted"


def test_a_second_press_changes_nothing():
    story = heated("preheat").press("start_button")
    assert did(story) == [("start_button", "heat is already allowed")]
    assert story.permits() == []


def test_a_trip_takes_it_and_latches_until_reset_at_the_rig_and_a_press():
    story = heated("cure", 10.0).pads(156, 140).tick()
    assert not story.decision.outputs.heat_permit
    assert story.permit == "latched"
    assert [event.tag for event in story.events("permit")] == ["pad.overtemperature"]
    story.pads(140).run(300).press("start_button")
    assert story.permit == "latched"
    story.press("reset_button").run(60)
    assert story.permit == "withheld", "a reset never switches heat on"
    story.press("start_button")
    assert story.permit == "granted"
    assert story.permits() == ["latched", "withheld", "granted"]
    assert story.phase == "cure", "the same run goes on"


def test_a_reset_is_refused_while_the_trip_stands():
    story = heated("cure", 10.0).pads(156, 140).run(60)
    story.press("reset_button")
    assert story.permit == "latched"
    assert did(story) == [("reset_button", "not reset: pad.overtemperature still stands")]


def test_a_trip_in_the_frame_of_the_press_wins():
    story = unheated("cure").pads(156, 140).press("start_button")
    assert story.permit == "latched"
    assert "granted" not in story.permits()


def test_a_trip_latches_though_heat_was_not_allowed():
    story = unheated("cure").pads(156, 140).tick()
    assert story.permit == "latched"


def test_start_and_reset_in_one_frame_do_not_switch_heat_on():
    story = tripped().set(start_button=1.0, reset_button=1.0).tick()
    assert story.permit == "withheld"
    assert story.permits() == ["withheld"]
    assert story.set(start_button=0.0, reset_button=0.0).tick().permit == "withheld"


@pytest.mark.parametrize(("seconds", "permit"), [(2, "latched"), (4, "withheld")])
def test_start_held_for_three_seconds_resets_and_does_not_grant(seconds, permit):
    story = tripped(period_s=1.0).press("start_button", frames=seconds)
    assert story.permit == permit
    assert "granted" not in story.permits()
    if permit == "withheld":
        assert did(story)[-1] == ("start_button", "reset after pad.overtemperature")


def test_a_start_button_found_pressed_never_resets():
    story = tripped(period_s=1.0).gap(20).set(start_button=1.0).run(30)
    assert story.permit == "latched"


AWAY = {
    "emergency stop": ({"estop_ok": 0.0}, {"estop_ok": 1.0}),
    "mains lost": ({"mains_ok": 0.0}, {"mains_ok": 1.0}),
}


@pytest.mark.parametrize("name", AWAY)
@pytest.mark.parametrize("place", ["preheat", "heat_up", "cure", "cool_down"])
def test_it_goes_without_a_latch_and_comes_back_by_a_press_only(name, place):
    gone, back = AWAY[name]
    story = heated(place, 10.0).set(**gone).tick()
    assert (story.permit, story.decision.outputs.heat_permit) == ("withdrawn", False)
    story.press("start_button")
    assert story.permit == "withdrawn"
    story.set(**back).run(60)
    assert story.permit == "withdrawn", "no heat without a press"
    assert story.press("start_button").permit == "granted"


def test_the_planned_end_takes_it_without_a_latch_and_for_this_run():
    story = story_in("cure", hold_min=15)
    assert story.permit == "granted"
    story.run(480)
    assert story.permits() == ["withdrawn"]
    assert [event.tag for event in story.events("prompt")] == ["run.hold_complete"]
    story.press("start_button")
    assert story.permit == "withdrawn"
    assert did(story) == [("start_button", "heat not allowed: the hold of this run is complete")]


def test_a_press_in_the_frame_of_the_planned_end_gives_nothing():
    story = story_in("cure", hold_min=15).set(start_button=0.0)
    while not story.events("prompt"):
        story.set(start_button=1.0 - story.values["start_button"]).tick()  # pressed each 2nd frame
    for _ in range(4):
        story.set(start_button=1.0 - story.values["start_button"]).tick()
    assert story.permits() == ["withdrawn"]


def test_an_unplugged_pad_takes_it_without_latch_or_alarm():
    story = heated("preheat").set(pad_inner_c="open_circuit").tick()
    assert story.permit == "withdrawn"
    story.run(60).set(pad_inner_c=60.0).run(25).press("start_button")
    assert story.permit == "withdrawn", "30 s of good readings first"
    assert story.run(10).press("start_button").permit == "granted"
    assert story.alarms() == []


def test_letting_the_air_out_takes_it():
    story = heated("cool_down", 10.0).run(600, pad_inner_c=90.0, pad_outer_c=90.0)
    story.press("here_button").since()
    story.run(300, bag_inner_kpa=100.0, bag_outer_kpa=100.0)
    assert story.phase == "release"
    assert story.permit in ("withdrawn", "latched")


# After a gap: what comes back without a press, and each thing that bars it.


def after_gap(story: Story, gap_s: float = 20.0, **changes: float | str) -> Story:
    boot_id = changes.pop("boot_id", None)
    return story.gap(gap_s, boot_id=boot_id).set(**changes).run(15)  # type: ignore[arg-type]  # a boot id is text


def test_it_comes_back_after_a_short_gap_with_nothing_changed():
    story = after_gap(heated("cure"))
    assert story.permit == "granted"
    assert story.permits() == ["withdrawn", "granted"], "seen to go, so that outputs close anew"


def test_the_frame_after_the_gap_never_grants():
    story = heated("cure").gap(20).tick()
    assert not story.decision.outputs.heat_permit
    assert story.tick().decision.outputs.heat_permit


BARS: dict[str, dict[str, float | str]] = {
    "a longer gap": {"gap_s": 61.0},
    "a restart": {"boot_id": "boot-2"},
    "mains off": {"mains_ok": 0.0},
    "mains unread": {"mains_ok": "no_reply"},
    "emergency stop": {"estop_ok": 0.0},
    "emergency stop unread": {"estop_ok": "no_reply"},
    "a pad 8 C hotter": {"pad_inner_c": 148.0},
    "a pad 8 C colder": {"pad_outer_c": 132.0},
    "a pad unread": {"pad_inner_c": "no_reply"},
    "a bag 10 kPa lower": {"bag_inner_kpa": 197.0},
    "a bag 10 kPa higher": {"bag_outer_kpa": 217.0},
    "a bag unread": {"bag_inner_kpa": "no_reply"},
}
NO_BARS: dict[str, dict[str, float | str]] = {
    "a gap of a minute": {"gap_s": 60.0},
    "a pad 7.5 C hotter": {"pad_inner_c": 147.5},
    "a pad 7.5 C colder": {"pad_outer_c": 132.5},
    "a bag 9.5 kPa lower": {"bag_inner_kpa": 197.5},
    "a bag 9.5 kPa higher": {"bag_outer_kpa": 216.5},
}


@pytest.mark.parametrize(
    ("changes", "permit"),
    [pytest.param(what, "withdrawn", id=name) for name, what in BARS.items()]
    + [pytest.param(what, "granted", id=name) for name, what in NO_BARS.items()],
)
def test_what_bars_the_way_back(changes, permit):
    story = after_gap(heated("cure"), **changes)
    assert story.permit == permit
    story.set(pad_inner_c=140.0, pad_outer_c=140.0, bag_inner_kpa=207.0, bag_outer_kpa=207.0)
    story.set(mains_ok=1.0, estop_ok=1.0).run(100)
    assert story.permit == permit, "once barred, only a press"
    if permit == "withdrawn":
        assert story.press("start_button").permit == "granted"


@pytest.mark.parametrize(("seconds", "permit"), [(3, "granted"), (8, "withdrawn")])
def test_it_waits_for_readings_but_not_for_long(seconds, permit):
    """A link comes up again a little after the daemon does."""
    unread = {"pad_inner_c": "never_read", "mains_ok": "never_read"}
    story = heated("cure").gap(10).set(**unread).run(seconds)
    story.set(pad_inner_c=140.0, mains_ok=1.0).run(10)
    assert story.permit == permit


def test_mains_that_is_not_watched_bars_it():
    story = Story().without("mains_ok").run(65).press("start_button")
    assert story.permit == "granted"
    assert after_gap(story).permit == "withdrawn"
    story = Story().run(65).press("start_button")
    assert after_gap(story).permit == "granted"


def test_without_a_bag_to_compare_a_person_presses():
    story = Story().without("bag_inner_kpa", "bag_outer_kpa").run(65).press("start_button")
    assert story.permit == "granted"
    assert after_gap(story).permit == "withdrawn"


def test_a_trip_found_after_the_gap_latches():
    story = after_gap(heated("cure"), pad_inner_c=156.0)
    assert story.permit == "latched"


def test_a_warning_bars_it():
    story = heated("cure").run(900, bag_inner_kpa=176.0, bag_outer_kpa=176.0).run(30)
    assert ("bag.low", "warn") in story.alarms()
    assert story.permit == "granted"
    assert after_gap(story).permit == "withdrawn"


def test_a_latch_outlives_gap_and_restart():
    story = tripped(period_s=1.0).gap(20).run(20).gap(5000, boot_id="boot-2").run(20)
    assert story.permit == "latched"
    assert story.press("start_button").permit == "latched"


@pytest.mark.parametrize("boot_id", [None, "boot-2"])
@pytest.mark.parametrize("wall_s", [0.0, -400.0])
def test_a_second_gap_ends_the_way_back(boot_id, wall_s):
    """Also a restart, and also when the wall clock runs back over it."""
    story = heated("cure").gap(10).set(pad_inner_c="no_reply").run(2)
    story.gap(4, boot_id=boot_id)
    if boot_id is not None:
        story.wall_s = wall_s
    story.set(pad_inner_c=140.0).run(10)
    assert story.permit == "withdrawn"


def test_a_restart_that_the_boot_id_does_not_show_is_a_restart():
    story = heated("cure").gap(30, boot_id="boot-1").run(10)
    assert [event.same_boot for event in story.events("interrupted")] == [False]
    assert story.permit == "withdrawn"


@pytest.mark.parametrize(("seconds", "gap"), [(2.4, False), (3.1, True)])
def test_an_interruption_begins_over_three_seconds(seconds, gap):
    story = heated("cure").gap(seconds).tick()
    assert bool(story.events("interrupted")) is gap
    assert (story.permit == "granted") is not gap


@pytest.mark.parametrize("jump_s", [-3e8, 3e8])
def test_the_wall_clock_alone_changes_nothing_of_the_heat(jump_s):
    story = heated("cure")
    story.wall_s = jump_s
    story.run(5)
    assert story.permit == "granted"
    assert [event.tag for _, event in story.told] == ["clock.jump"]
    assert not story.permits()


def test_frames_missing_by_number_alone_change_nothing():
    story = heated("cure")
    story.seq += 5000
    assert story.run(5).permit == "granted"
    assert story.told == []


def test_a_relay_that_opens_by_itself_is_not_closed_again():
    story = heated("cure")
    for _ in range(4):
        story.readback["heat_permit"] = False
        story.tick()
    assert story.permit == "granted", "it may have lagged"
    for reads in (None, False, None, False, False):  # a read-back that fails hides nothing
        story.readback["heat_permit"] = reads
        story.tick()
    assert story.permit == "withdrawn"
    assert story.run(60).permit == "withdrawn"


@pytest.mark.parametrize("lacks", ["relay", "start button"])
def test_watch_only_never_grants(lacks):
    story = Story()
    if lacks == "relay":
        story.readback.clear()
    else:
        story.without("start_button")
    story.run(5)
    if lacks == "relay":
        story.press("start_button")
        assert did(story) == [("start_button", "watch-only: start has no power here")]
    assert story.permit == "watch_only"
    assert story.permits() == ["watch_only"]
    assert not story.decision.outputs.heat_permit


def test_a_latch_is_kept_through_watch_only():
    story = tripped(period_s=1.0)
    relay = dict(story.readback)
    story.readback.clear()
    story.run(5)
    assert story.permit == "watch_only"
    story.readback.update(relay)
    story.run(5)
    assert story.permit == "latched"
    assert story.press("start_button").permit == "latched"


def test_watch_only_ends_with_heat_withheld():
    story = heated("preheat")
    relay = dict(story.readback)
    story.readback.clear()
    story.run(5).readback.update(relay)
    assert story.run(5).permit == "withheld"


def test_a_permit_of_long_frames_keeps_its_patience():
    """At one frame a minute neither the relay's lag nor the frames are a fault."""
    story = story_in("cure", 60.0).run(600)
    assert story.permit == "granted"
    assert limits_with(60.0).permit.gap_s == 3.0

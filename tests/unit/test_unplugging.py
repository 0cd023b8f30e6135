"""A pad unplugged between preheat and mounting is no fault; under air it is one.

Figures are the design's defaults (common practice, no source); stories are invented.
"""

import pytest

from tests.unit.story import story_in


@pytest.mark.parametrize(
    ("place", "unplugged"),
    [("preheat", True), ("fitting", True), ("inflation", False), ("cure", False)],
)
def test_an_open_circuit_is_unplugged_only_without_air(place, unplugged):
    story = story_in(place, 1.0).set(pad_inner_c="open_circuit").run(15)
    assert bool(story.state.unplugged) is unplugged
    assert (("pad.sensor", "trip") in story.alarms()) is not unplugged
    assert story.permit == ("withdrawn" if unplugged else "latched")


@pytest.mark.parametrize(
    ("reason", "unplugged"),
    [
        ("open_circuit", True),
        ("missing", True),  # an empty cell: a trace has no other way to say so
        (1372.0, True),  # the end of type K's scale, NIST ITS-90
        (-200.0, False),
        ("short_circuit", False),
        ("no_reply", False),
    ],
)
def test_only_an_open_circuit_shows_it(reason, unplugged):
    story = story_in("preheat", 1.0).set(pad_inner_c=reason).run(3)
    assert bool(story.state.unplugged) is unplugged


@pytest.mark.parametrize(
    ("to_c", "seconds", "unplugged"),
    [
        (23.0, 1, True),  # 37 C in 1 s, to the air's temperature
        (25.0, 1, True),
        (26.0, 1, False),  # not near enough
        (23.0, 60, False),  # 0.6 C/s
    ],
)
def test_a_sudden_fall_to_the_airs_temperature_shows_it(to_c, seconds, unplugged):
    story = story_in("preheat", 1.0).run(seconds, pad_inner_c=to_c).tick()
    assert bool(story.state.unplugged) is unplugged


def test_without_the_airs_temperature_a_fall_shows_nothing():
    story = story_in("preheat", 1.0).without("ambient_c").run(1, pad_inner_c=23.0).tick()
    assert story.state.unplugged == ()


def test_a_pad_unread_while_it_cooled_is_not_unplugged():
    story = story_in("preheat", 1.0).set(pad_inner_c="no_reply").run(600)
    story.set(pad_inner_c=24.0).run(3)
    assert story.state.unplugged == ()


def test_it_is_back_after_half_a_minute_of_good_readings():
    story = story_in("preheat", 1.0).set(pad_inner_c="open_circuit").tick()
    story.set(pad_inner_c=58.0).run(20)
    assert story.state.unplugged
    story.set(pad_inner_c="open_circuit").tick().set(pad_inner_c=58.0).run(30)
    assert story.state.unplugged, "counted from the last bad reading"
    assert story.run(2).state.unplugged == ()


def test_a_pad_that_fell_is_back_only_when_it_is_warm_again():
    story = story_in("preheat", 1.0).run(1, pad_inner_c=21.0).run(60)
    assert story.state.unplugged
    assert story.set(pad_inner_c=55.0).run(32).state.unplugged == ()


def test_a_bag_unread_for_a_frame_does_not_plug_a_pad_in():
    story = story_in("preheat", 1.0).run(1, pad_inner_c=21.0).run(3)
    story.set(bag_inner_kpa="no_reply").tick()
    assert story.state.unplugged
    story.set(bag_inner_kpa=15.0).tick()
    assert story.state.unplugged == ()


def test_a_rig_without_bags_never_guesses():
    story = story_in("preheat", 1.0).without("bag_inner_kpa", "bag_outer_kpa")
    assert story.set(pad_inner_c="open_circuit").run(3).state.unplugged == ()


def test_one_pad_unplugged_leaves_the_other_watched():
    story = story_in("preheat", 1.0).set(pad_inner_c="open_circuit").run(15)
    assert [item.name for item in story.state.unplugged] == ["pad_inner_c"]
    assert not [tag for tag, _ in story.alarms() if tag == "pad.sensor"]
    story.set(pad_outer_c="short_circuit").run(15)
    assert ("pad.sensor", "warn") in story.alarms()


def test_both_unplugged_carried_and_plugged_in_again_say_nothing():
    story = story_in("preheat", 1.0).pads("open_circuit").run(300)  # type: ignore[arg-type]  # a reason
    assert len(story.state.unplugged) == 2
    story.pads(48.0, 51.0).run(60)
    assert story.state.unplugged == ()
    assert not [tag for tag, _ in story.alarms() if tag == "pad.sensor"]


def test_plugged_in_crosswise_says_nothing_while_both_are_alike():
    """Thermocouples in each other's sockets: only the pads' own currents could tell."""
    story = story_in("preheat", 1.0).pads(61.0, 55.0).run(10)
    story.pads("open_circuit").run(60).pads(54.0, 60.0).run(60)  # type: ignore[arg-type]  # a reason
    assert story.state.unplugged == ()
    assert not [tag for tag, _ in story.alarms() if tag == "pad.sensor"]


def test_with_a_bag_unread_an_open_circuit_is_a_fault():
    """Nobody knows that the bags are empty, so it may be a sensor under heat."""
    story = story_in("preheat", 1.0).set(bag_inner_kpa="open_circuit").run(5)
    story.set(pad_inner_c="open_circuit").run(15)
    assert story.state.unplugged == ()
    assert ("pad.sensor", "trip") in story.alarms()


def test_a_plug_that_bounces_is_no_jumping_sensor():
    story = story_in("preheat", 1.0)
    for value in (22.0, 58.0, 21.0, 57.0, "open_circuit", 57.0, 21.0):
        story.set(pad_inner_c=value).tick()
    story.set(pad_inner_c="open_circuit").run(120).set(pad_inner_c=55.0).run(90)
    assert story.state.unplugged == ()
    assert not [tag for tag, _ in story.alarms() if tag == "pad.sensor"]

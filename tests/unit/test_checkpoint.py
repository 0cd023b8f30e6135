"""The state as bytes: whole, and refused when it is not what was written."""

import json

import pytest

from rules.checkpoint import CheckpointError, dump, load
from rules.state import State
from tests.unit.story import PLACES, Story, story_in


@pytest.mark.parametrize("place", PLACES)
def test_it_comes_back_to_the_bit(place):
    state = story_in(place).state
    assert load(dump(state)) == state
    assert repr(load(dump(state))) == repr(state)
    assert dump(load(dump(state))) == dump(state)


def test_a_fresh_state_comes_back():
    assert load(dump(State())) == State()


@pytest.mark.proves("a checkpoint and the frames after it give the same state to the bit")
@pytest.mark.parametrize("place", ["preheat", "cure", "cool_down"])
def test_a_whole_repair_goes_on_the_same_after_a_resume(place):
    straight = story_in(place)
    resumed = straight.copy()
    resumed.state = load(dump(straight.state))
    for story in (straight, resumed):
        _trouble(story)
    assert resumed.told == straight.told
    assert resumed.state == straight.state
    assert straight.told


def _trouble(story: Story) -> None:
    story.pads(156).run(20).pads(140).run(300).press("reset_button").press("start_button")
    story.command("seen").run(600, bag_inner_kpa=150.0).gap(30).run(100).gap(900).run(100)


def test_standing_alarms_and_latches_are_in_it():
    story = story_in("cure").pads(156).run(20)
    kept = load(dump(story.state))
    assert kept.permit.state == "latched"
    assert [item.tag for item in kept.alarms.standing] == ["pad.overtemperature"]


DAMAGE = {
    "nothing": b"",
    "half": dump(State())[:200],
    "no JSON": b"\xff\xfe",
    "no object": b"[]",
    "a number": b"7",
    "another version": json.dumps(json.loads(dump(State())) | {"rules_version": 999}).encode(),
    "no hazards": json.dumps(json.loads(dump(State())) | {"memories": {}}).encode(),
    "no state": json.dumps(json.loads(dump(State())) | {"state": {"frames": "many"}}).encode(),
    "memories of another shape": json.dumps(
        json.loads(dump(State()))
        | {"memories": dict.fromkeys(json.loads(dump(State()))["memories"], 5)}
    ).encode(),
}


@pytest.mark.parametrize("body", DAMAGE.values(), ids=DAMAGE)
def test_what_is_damaged_is_refused_by_one_kind_of_error(body):
    with pytest.raises(CheckpointError):
        load(body)

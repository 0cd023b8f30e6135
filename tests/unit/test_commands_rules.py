"""What may be asked from afar, and what never."""

import pytest

from rules.alarms import Alarms, Standing
from rules.commands import IDS_KEPT, carry_out
from rules.events import Horn, Level
from rules.frame import Command

BAG_LOW = Standing("bag.low", Level.WARN, 0, 0, 1, "said", "text", Horn.COME_WHEN_YOU_CAN)
PROMPT = Standing("run.unattended", Level.PROMPT, 0, 0, 2, "said", "text")
STAND = Alarms((BAG_LOW, PROMPT), 2)


def ask(verb: str, tag: str = "", *, id: str = "id-1", done: tuple[str, ...] = (), **more):  # noqa: A002  # the command's own word
    return carry_out(STAND, done, Command(id, verb, "Ada", "mqtt", 0, tag, **more), 0)


@pytest.mark.proves("start, reset and presence come only from the buttons")
@pytest.mark.parametrize("verb", ["start", "reset", "here", "open", "", "Seen"])
def test_start_reset_and_presence_are_refused(verb):
    alarms, ids, answer = ask(verb)
    assert alarms is STAND
    assert not answer.accepted
    assert answer.answer.endswith("come only from the buttons at the rig")
    assert ids == ("id-1",)


@pytest.mark.parametrize(
    ("verb", "tag", "more", "answer"),
    [
        ("seen", "bag.low", {}, "seen: bag.low"),
        ("seen", "", {}, "seen: bag.low"),
        ("going", "bag.low", {}, "going: bag.low"),
        ("quiet", "bag.low", {"minutes": 60.0, "text": "hose"}, "quiet: bag.low"),
        ("note", "", {"text": "x" * 500}, "noted"),
    ],
)
def test_carried_out(verb, tag, more, answer):
    _, _, told = ask(verb, tag, **more)
    assert (told.accepted, told.answer) == (True, answer)
    assert (told.id, told.verb, told.who, told.via) == ("id-1", verb, "Ada", "mqtt")
    assert told.note == more.get("text", "")


@pytest.mark.parametrize(
    ("verb", "tag", "more", "answer"),
    [
        ("seen", "bag.burst", {}, "bag.burst does not stand now"),
        ("seen", "run.unattended", {}, "run.unattended does not stand now"),
        ("quiet", "bag.low", {"minutes": 61.0, "text": "hose"}, "quiet needs a reason and"),
        ("quiet", "bag.low", {"minutes": 0.0, "text": "hose"}, "quiet needs a reason and"),
        ("quiet", "bag.low", {"minutes": float("nan"), "text": "hose"}, "quiet needs a reason and"),
        ("quiet", "bag.low", {"minutes": 5.0, "text": " "}, "quiet needs a reason and"),
        ("note", "", {"text": ""}, "a note needs 1 to 500 characters"),
        ("note", "", {"text": "x" * 501}, "a note needs 1 to 500 characters"),
    ],
)
def test_refused_with_what_would_be_right(verb, tag, more, answer):
    alarms, _, told = ask(verb, tag, **more)
    assert alarms is STAND
    assert not told.accepted
    assert told.answer.startswith(answer)


def test_the_same_id_twice_is_done_once():
    alarms, ids, first = ask("seen", "bag.low")
    assert first.answer == "seen: bag.low"
    later, ids, second = carry_out(
        alarms, ids, Command("id-1", "quiet", "Bo", "mqtt", 0, "", minutes=5.0, text="x"), 0
    )
    assert later is alarms
    assert (second.accepted, second.answer, ids) == (True, "already done", ("id-1",))


def test_ids_are_kept_in_a_bounded_list_newest_last():
    ids: tuple[str, ...] = ()
    for number in range(IDS_KEPT + 10):
        _, ids, _ = ask("seen", id=f"id-{number}", done=ids)
    assert len(ids) == IDS_KEPT
    assert ids[-1] == f"id-{IDS_KEPT + 9}"

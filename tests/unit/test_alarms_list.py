"""Which alarms stand, in which order, who has seen them, and what the horn sounds."""

from dataclasses import replace

import pytest

from rules.alarms import Alarms, horn, pressed_at_rig, update
from rules.commands import carry_out
from rules.events import AlarmChanged, Horn, Level, Prompted
from rules.frame import NS_PER_S, Command, Frame
from rules.hazards.base import Finding

WARN = Finding(Level.WARN, "seen")
TRIP = Finding(Level.TRIP, "seen")
PROMPT = Finding(Level.PROMPT, "press here", Horn.SILENT)
FRAME = Frame(1, 0, 1_773_471_600 * NS_PER_S, True, "boot", {})


def then(alarms: Alarms, now_s: float = 0, **found: Finding) -> tuple[Alarms, list[tuple]]:
    """One frame with these findings, by tag with `__` for the dot; told in short."""
    findings = [(tag.replace("__", "."), finding) for tag, finding in found.items()]
    alarms, events = update(
        alarms, findings, FRAME, round(now_s * NS_PER_S), title="BAY 2", watch_only=False
    )
    told = []
    for event in events:
        if isinstance(event, AlarmChanged):
            told.append((event.tag, event.state, event.order))
        else:
            assert isinstance(event, Prompted)
            told.append((event.tag, "prompt", None))
    return alarms, told


def ask(alarms: Alarms, verb: str, tag: str = "", now_s: float = 0, **more) -> tuple[Alarms, str]:
    command = Command("id-1", verb, "Ada", "socket", 0, tag, **more)
    alarms, _, answer = carry_out(alarms, (), command, round(now_s * NS_PER_S))
    return alarms, f"{'done' if answer.accepted else 'refused'}: {answer.answer}"


def sounds(alarms: Alarms, now_s: float) -> Horn:
    return horn(alarms, round(now_s * NS_PER_S))


def test_started_with_order_is_kept_until_nothing_stands():
    alarms, told = then(Alarms(), bag__low=WARN)
    assert told == [("bag.low", "warn", 1)]
    alarms, told = then(alarms, bag__low=WARN, pad__overtemperature=WARN)
    assert told == [("pad.overtemperature", "warn", 2)]
    # A worse level and a cleared neighbour change no place.
    alarms, told = then(alarms, pad__overtemperature=TRIP)
    assert told == [("bag.low", "clear", 0), ("pad.overtemperature", "trip", 2)]
    alarms, told = then(alarms, bag__low=WARN, pad__overtemperature=TRIP)
    assert told == [("bag.low", "warn", 3)]
    assert alarms.tags(Level.WARN) == ("pad.overtemperature", "bag.low")
    alarms, _ = then(alarms)
    alarms, told = then(alarms, bag__low=WARN)
    assert told == [("bag.low", "warn", 1)]


def test_levels_are_told_when_they_change_and_only_then():
    alarms, told = then(Alarms(), run__unattended=PROMPT)
    assert told == [("run.unattended", "prompt", None)]
    alarms, told = then(alarms, run__unattended=PROMPT)
    assert told == []
    alarms, told = then(alarms, run__unattended=WARN)
    assert told == [("run.unattended", "warn", 1)]
    alarms, told = then(alarms, run__unattended=replace(WARN, said="other words"))
    assert told == []
    alarms, told = then(alarms, run__unattended=TRIP)
    assert told == [("run.unattended", "trip", 1)]
    alarms, told = then(alarms, run__unattended=WARN)
    assert told == [("run.unattended", "warn", 1)]
    alarms, told = then(alarms, run__unattended=PROMPT)
    assert told == [("run.unattended", "clear", 0)], "a prompt is no alarm"
    alarms, told = then(alarms)
    assert told == [], "a prompt that goes needs no word"


def test_nothing_stands_and_nothing_changes():
    nothing = Alarms()
    assert then(nothing)[0] is nothing
    assert pressed_at_rig(nothing, 0) is nothing


def test_the_loudest_horn_sounds():
    alarms, _ = then(Alarms(), bag__low=WARN)
    assert sounds(alarms, 0) is Horn.COME_WHEN_YOU_CAN
    alarms, _ = then(alarms, bag__low=WARN, bag__burst=TRIP)
    assert sounds(alarms, 0) is Horn.STAND_CLEAR
    assert sounds(then(alarms)[0], 0) is Horn.SILENT


@pytest.mark.parametrize("finding", [WARN, TRIP])
def test_a_press_at_the_rig_silences_for_two_minutes(finding):
    alarms, _ = then(Alarms(), bag__burst=finding, bag__low=WARN)
    loud = sounds(alarms, 0)
    alarms = pressed_at_rig(alarms, 10 * NS_PER_S)
    assert [sounds(alarms, s) for s in (10, 129, 130)] == [Horn.SILENT, Horn.SILENT, loud]


def test_what_starts_or_worsens_after_the_press_sounds_at_once():
    alarms, _ = then(Alarms(), bag__low=WARN)
    alarms = pressed_at_rig(alarms, 0)
    started, _ = then(alarms, 5, bag__low=WARN, bag__burst=TRIP)
    assert sounds(started, 5) is Horn.STAND_CLEAR
    worse, _ = then(alarms, 5, bag__low=TRIP)
    assert sounds(worse, 5) is Horn.COME_NOW
    louder, _ = then(alarms, 5, bag__low=replace(WARN, horn=Horn.STAND_CLEAR))
    assert sounds(louder, 5) is Horn.STAND_CLEAR
    assert sounds(then(alarms, 5, bag__low=WARN)[0], 5) is Horn.SILENT
    # Its horn is the same at both levels; the worse one is news all the same.
    alarms = pressed_at_rig(then(Alarms(), run__unattended=WARN)[0], 0)
    assert sounds(alarms, 5) is Horn.SILENT
    assert sounds(then(alarms, 5, run__unattended=TRIP)[0], 5) is Horn.COME_NOW


def test_quiet_from_afar_has_an_end_and_ends_for_news():
    alarms, _ = then(Alarms(), bag__low=WARN)
    alarms, answer = ask(alarms, "quiet", "bag.low", minutes=5, text="on my way")
    assert answer == "done: quiet: bag.low"
    assert [sounds(alarms, s) for s in (0, 299, 300)] == [
        Horn.SILENT,
        Horn.SILENT,
        Horn.COME_WHEN_YOU_CAN,
    ]
    assert sounds(then(alarms, 10, bag__low=TRIP)[0], 10) is Horn.COME_NOW


def test_stand_clear_is_never_quieted_from_afar():
    alarms, _ = then(Alarms(), bag__burst=TRIP)
    alarms, answer = ask(alarms, "quiet", "bag.burst", minutes=5, text="busy")
    assert answer == "refused: not quiet: stand clear is silenced only by a button at the rig"
    assert sounds(alarms, 1) is Horn.STAND_CLEAR
    both, _ = then(alarms, bag__burst=TRIP, bag__low=WARN)
    both, answer = ask(both, "quiet", minutes=5, text="busy")
    assert answer == "done: quiet: bag.low"
    assert sounds(both, 1) is Horn.STAND_CLEAR
    # What was quiet and turns into stand clear sounds all the same.
    quiet, _ = ask(then(Alarms(), bag__low=WARN)[0], "quiet", minutes=5, text="busy")
    turned, _ = then(quiet, 1, bag__low=replace(WARN, horn=Horn.STAND_CLEAR))
    assert sounds(turned, 1) is Horn.STAND_CLEAR


def test_seen_is_not_going_and_a_worse_level_is_not_seen():
    alarms, _ = then(Alarms(), bag__low=WARN)
    alarms, _ = ask(alarms, "seen", "bag.low")
    assert (alarms.standing[0].seen_by, alarms.standing[0].going_by) == ("Ada", "")
    alarms, _ = ask(alarms, "going")
    assert (alarms.standing[0].seen_by, alarms.standing[0].going_by) == ("Ada", "Ada")
    milder, _ = then(then(alarms, bag__low=TRIP)[0], bag__low=WARN)
    assert milder.standing[0].seen_by == ""
    alarms, _ = then(alarms, bag__low=TRIP)
    assert alarms.standing[0].seen_by == ""
    assert sounds(alarms, 0) is Horn.COME_NOW, "seen silences nothing"


def texts(alarms: Alarms) -> dict[str, str]:
    return {item.tag: item.text for item in alarms.standing}


def test_what_a_burst_brings_with_it_gives_no_orders_of_its_own():
    alarms, told = then(Alarms(), bag__burst=TRIP)
    alarms, told = then(alarms, bag__burst=TRIP, release__hot=TRIP, bag__low=WARN)
    assert told == [("release.hot", "trip", 2), ("bag.low", "warn", 3)]
    assert texts(alarms)["release.hot"].startswith("BAY 2: with ")
    assert "REFILL" not in texts(alarms)["release.hot"]
    assert {item.tag: item.follows for item in alarms.standing} == {
        "bag.burst": "",
        "release.hot": "bag.burst",
        "bag.low": "bag.burst",
    }


def test_without_a_burst_it_speaks_for_itself():
    alarms, _ = then(Alarms(), release__hot=TRIP, pad__sensor=TRIP)
    assert "REFILL" in texts(alarms)["release.hot"]
    assert all(item.follows == "" for item in alarms.standing)


def test_when_the_burst_is_over_what_it_brought_says_what_to_do():
    alarms, _ = then(Alarms(), bag__burst=TRIP, release__hot=TRIP)
    alarms, told = then(alarms, release__hot=TRIP)
    assert told == [("bag.burst", "clear", 0), ("release.hot", "trip", 2)]
    assert "REFILL" in texts(alarms)["release.hot"]
    alarms, told = then(alarms, release__hot=TRIP)
    assert told == [], "told once"

"""From bytes to a command, or to a refusal that says what to do."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.notify.commands import (
    COMMAND_BYTES_MAX,
    WIRED_ONLY,
    Refusal,
    is_wired,
    parse_command,
)
from rules.frame import Command

GOOD = {"id": "p-1", "verb": "seen", "who": "Ada"}
VERBS = ("seen", "going", "quiet", "note", "out_of_service", "in_service")


def parse(body: object) -> Command | Refusal:
    return parse_command(json.dumps(body).encode(), via="mqtt", issued_ns=7)


def refused(body: object) -> str:
    found = parse(body)
    assert isinstance(found, Refusal)
    return found.answer


def test_a_whole_command_comes_through() -> None:
    body = {
        "schema_version": 1,
        "id": "phone:7.a_b-1",
        "verb": "quiet",
        "who": " Ada ",
        "tag": "pad.heat_after_cutoff",
        "minutes": 10,
        "text": "on it",
    }
    assert parse(body) == Command(
        "phone:7.a_b-1", "quiet", "Ada", "mqtt", 7, "pad.heat_after_cutoff", 10.0, "on it"
    )


def test_the_least_command_comes_through() -> None:
    assert parse(GOOD) == Command("p-1", "seen", "Ada", "mqtt", 7)
    assert parse({**GOOD, "verb": "note", "text": "talc on"}) == Command(
        "p-1", "note", "Ada", "mqtt", 7, text="talc on"
    )


def test_out_of_service_and_back_come_through() -> None:
    out = parse({**GOOD, "verb": "out_of_service", "tag": "bag.low", "text": "valve on order"})
    assert out == Command(
        "p-1", "out_of_service", "Ada", "mqtt", 7, "bag.low", 0.0, "valve on order"
    )
    week = {"minutes": 10080, "text": "valve on order"}
    out = parse({**GOOD, "verb": "out_of_service", "tag": "bag.low", **week})
    assert isinstance(out, Command)
    assert out.minutes == 10080
    back = parse({**GOOD, "verb": "in_service", "tag": "bag.low"})
    assert back == Command("p-1", "in_service", "Ada", "mqtt", 7, "bag.low")


@pytest.mark.proves("bad command: a clear error, nothing acted on")
@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"verb": "burn"}, "no such verb: 'burn'; use seen, going, quiet, note, out_of"),
        ({"verb": "SEEN"}, "no such verb"),
        ({"verb": None}, "no such verb: None"),
        ({"verb": ["seen"]}, "no such verb"),
        ({"id": ""}, "id = ''"),
        ({"id": "a b"}, "id = 'a b'"),
        ({"id": "x" * 65}, "id = "),
        ({"id": 5}, "id = 5"),
        ({"who": ""}, "who = ''"),
        ({"who": "   "}, "say who you are"),
        ({"who": "x" * 41}, "who = "),
        ({"who": "A\x1b[31m"}, "who = "),
        ({"tag": "../etc"}, "tag = "),
        ({"tag": "Bag.Burst"}, "tag = "),
        ({"text": "two\nlines"}, "text = "),
        ({"text": "x" * 501}, "text = "),
        ({"minutes": 5}, "minutes belong to quiet and out_of"),
        ({"verb": "quiet"}, "quiet needs minutes above 0, at most 60, and the reason"),
        ({"verb": "quiet", "minutes": 5}, "and the reason as text"),
        ({"verb": "quiet", "minutes": 5, "text": " "}, "and the reason as text"),
        ({"verb": "quiet", "text": "on it"}, "quiet needs minutes"),
        ({"verb": "quiet", "minutes": 60.1, "text": "on it"}, "at most 60, and the reason"),
        ({"verb": "quiet", "minutes": 10081, "text": "on it"}, "minutes = 10081"),
        ({"verb": "quiet", "minutes": -1, "text": "on it"}, "minutes = -1"),
        ({"verb": "quiet", "minutes": "5", "text": "on it"}, "minutes = '5'"),
        ({"verb": "quiet", "minutes": True, "text": "on it"}, "minutes = True"),
        ({"verb": "note"}, "note needs the note as text"),
        ({"verb": "out_of_service", "text": "on order"}, "needs the alarm as tag"),
        ({"verb": "out_of_service", "tag": "bag.low", "text": " "}, "needs the reason as text"),
        ({"verb": "in_service"}, "needs the alarm as tag; it is never for all at once"),
        (
            {"verb": "in_service", "tag": "bag.low", "minutes": 5},
            "minutes belong to quiet and out_of",
        ),
        ({"set_c": 170}, "unknown field 'set_c'; leave it out"),
        ({"schema_version": 2}, "schema_version = 2"),
    ],
)
def test_what_is_wrong_is_said(changes: dict[str, object], says: str) -> None:
    assert says in refused({**GOOD, **changes})


@pytest.mark.parametrize("minutes", [0.5, 60])
def test_quiet_at_its_limits_is_taken(minutes: float) -> None:
    found = parse({**GOOD, "verb": "quiet", "minutes": minutes, "text": "on it"})
    assert isinstance(found, Command)


@pytest.mark.parametrize("lacking", ["id", "who", "verb"])
def test_what_is_missing_is_said(lacking: str) -> None:
    body = {key: value for key, value in GOOD.items() if key != lacking}
    assert f"the command has no {lacking}" in refused(body)


@pytest.mark.proves("start, reset and presence come only from the buttons")
@pytest.mark.parametrize(
    "verb",
    ["start", "reset", "here", "presence", "attend", "start_button", "reset_button", "HERE_BUTTON"],
)
def test_what_is_wired_is_refused_with_the_reason(verb: str) -> None:
    assert parse({**GOOD, "verb": verb}) == Refusal("p-1", WIRED_ONLY)


@pytest.mark.parametrize("verb", VERBS)
def test_what_is_not_wired_is_not(verb: str) -> None:
    assert not is_wired(verb)


@pytest.mark.parametrize(
    ("payload", "says"),
    [
        (b"", "not JSON"),
        (b"seen", "not JSON"),
        (b"\xff\xfe", "not JSON"),
        (b'{"id": NaN}', "not JSON"),
        (b"[" * 4000, "not JSON"),
        (b"[]", "not a JSON object"),
        (b"null", "not a JSON object"),
        (b'"seen"', "not a JSON object"),
        (b" " * (COMMAND_BYTES_MAX + 1), "more than 4096; shorten the text"),
    ],
)
def test_what_cannot_be_read_is_said(payload: bytes, says: str) -> None:
    found = parse_command(payload, via="mqtt", issued_ns=7)
    assert isinstance(found, Refusal)
    assert says in found.answer
    assert found.id == ""


def test_the_largest_command_is_read() -> None:
    body = json.dumps(GOOD).encode()
    payload = body + b" " * (COMMAND_BYTES_MAX - len(body))
    assert isinstance(parse_command(payload, via="mqtt", issued_ns=7), Command)


@settings(deadline=None)  # a busy computer is no failure
@given(st.binary(max_size=200))
def test_no_bytes_raise(payload: bytes) -> None:
    found = parse_command(payload, via="mqtt", issued_ns=7)
    assert isinstance(found, Refusal)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=5,
)


@settings(deadline=None)  # a busy computer is no failure
@given(
    st.dictionaries(
        st.sampled_from(["id", "verb", "who", "tag", "minutes", "text", "schema_version"]),
        JSON | st.sampled_from([*VERBS, "Ada", "bag.low", 5, 1]),
    )
)
def test_no_fields_raise_and_what_passes_is_whole(body: dict[str, object]) -> None:
    found = parse(body)
    if isinstance(found, Refusal):
        assert found.answer
        return
    assert found.verb in VERBS
    assert found.id
    assert found.who.strip()
    assert 0 <= found.minutes <= 60

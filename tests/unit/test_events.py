"""Every event goes to JSON and back unchanged; a bad body is refused with the reason."""

import json
from dataclasses import fields
from typing import get_args, get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.events import EVENT_TYPES, Event, JsonScalar, RunClosed, as_dict, from_dict

OF_TYPE = {
    str: st.text(),
    int: st.integers(-(2**63), 2**63 - 1),
    float: st.floats(allow_nan=False, allow_infinity=False),
    bool: st.booleans(),
    type(None): st.none(),
}


def _any_of(kind: type[Event]) -> st.SearchStrategy[Event]:
    hints = get_type_hints(kind)
    parts = {
        item.name: st.one_of(
            [OF_TYPE[part] for part in get_args(hints[item.name]) or (hints[item.name],)]
        )
        for item in fields(kind)
    }
    return st.builds(kind, **parts)


ANY_EVENT = st.one_of([_any_of(kind) for kind in EVENT_TYPES.values()])


@given(event=ANY_EVENT)
def test_every_event_survives_json(event):
    body = json.loads(json.dumps(as_dict(event)))
    assert from_dict(body) == event
    assert next(iter(body)) == "event"


def test_no_event_is_missing_from_the_table():
    assert set(EVENT_TYPES.values()) == set(get_args(Event))
    assert all(kind.event == name for name, kind in EVENT_TYPES.items())


@pytest.mark.parametrize("kind", EVENT_TYPES.values(), ids=lambda kind: kind.event)
def test_fields_are_plain_json_and_leave_room_for_the_name(kind):
    hints = get_type_hints(kind)
    for item in fields(kind):
        assert set(get_args(hints[item.name]) or (hints[item.name],)) <= set(get_args(JsonScalar))
        assert item.name != "event"


RUN_CLOSED = as_dict(RunClosed(run=1, outcome="done", hold_s=9000.0, peak_c=141.5))


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"event": "run_eaten"}, "no such event: 'run_eaten'"),
        ({"event": None}, "no such event: None"),
        ({"colour": "red"}, "run_closed: .*colour"),
    ],
)
def test_a_body_that_is_no_event_is_refused(change, complaint):
    with pytest.raises(ValueError, match=complaint):
        from_dict(RUN_CLOSED | change)


def test_a_body_that_lacks_a_field_is_refused_and_says_which():
    lacking = {key: value for key, value in RUN_CLOSED.items() if key != "hold_s"}
    with pytest.raises(ValueError, match=r"run_closed: .*hold_s"):
        from_dict(lacking)

"""Whatever a frame or an event holds comes back from the store's bytes."""

import struct
from dataclasses import fields

from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.store import codec
from daemon.store.chain import decode_event, encode_event
from rules.events import EVENT_TYPES, Event
from rules.frame import Command, Frame, Health, Quality, Reading, Reason

INT64 = st.integers(-(2**63), 2**63 - 1)
FLOATS = st.floats(allow_nan=False)
TRISTATE = st.sampled_from([None, True, False])
NAMES = st.text(st.characters(codec="ascii", categories=["Ll"]), min_size=1, max_size=12)
TEXT = st.text(st.characters(), max_size=20)  # broken surrogates too: JSON can carry them

READINGS = st.builds(
    Reading, st.none() | FLOATS, st.sampled_from(Quality), st.sampled_from(Reason), INT64
)
COMMANDS = st.builds(
    Command, TEXT, TEXT, TEXT, TEXT, st.integers(), tag=TEXT, minutes=FLOATS, text=TEXT
)
FRAMES = st.builds(
    Frame,
    seq=INT64,
    t_ns=INT64,
    wall_ns=INT64,
    wall_trusted=st.booleans(),
    boot_id=TEXT | st.uuids().map(str),
    values=st.dictionaries(NAMES, READINGS, max_size=20),
    readback=st.dictionaries(NAMES, TRISTATE, max_size=6),
    health=st.builds(Health, st.booleans(), TRISTATE, INT64, INT64),
    commands=st.lists(COMMANDS, max_size=2).map(tuple),
    utc_offset_s=st.integers(-(2**31), 2**31 - 1),
    limits_hash=TEXT,
)
FIELDS = {
    str: TEXT,
    int: st.integers(-(2**60), 2**60),
    bool: st.booleans(),
    float: FLOATS,
    float | None: st.none() | FLOATS,
    int | None: st.none() | st.integers(-(2**60), 2**60),
    str | None: st.none() | TEXT,
}
EVENTS: st.SearchStrategy[Event] = st.one_of(
    *(
        st.builds(kind, **{item.name: FIELDS[item.type] for item in fields(kind)})  # type: ignore[index]  # a type that is missing here fails loudly
        for kind in EVENT_TYPES.values()
    )
)


@given(FRAMES)
@settings(max_examples=200, deadline=None)
def test_a_frame_comes_back_equal_to_the_bit(frame: Frame) -> None:
    layout = codec.layout_of(frame)
    found = codec.decode(codec.encode(frame, layout), {layout.key: layout})
    assert found == frame
    assert list(found.values) == list(frame.values)
    assert list(found.readback) == list(frame.readback)
    for name, reading in frame.values.items():
        if reading.value is not None:  # 0.0 == -0.0, but they are not the same bits
            assert struct.pack("d", found.values[name].value) == struct.pack("d", reading.value)


@given(EVENTS)
@settings(max_examples=200, deadline=None)
def test_an_event_comes_back_equal(event: Event) -> None:
    found = decode_event(encode_event(event))
    assert found == event
    for item in fields(event):
        assert type(getattr(found, item.name)) is type(getattr(event, item.name))

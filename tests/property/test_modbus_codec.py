"""Laws of the codec, for any points and any bytes."""

import struct

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.modbus import PointSettings, codec
from drivers.modbus.fake import frame

TABLES = ("input", "holding", "coil", "discrete")
TYPES = ("int16", "uint16", "int32", "float32")
# numpy's own names for the same four layouts, as an outside reference.
NUMPY = {"int16": "i2", "uint16": "u2", "int32": "i4", "float32": "f4"}


@st.composite
def points(draw: st.DrawFn) -> PointSettings:
    table = draw(st.sampled_from(TABLES))
    place = {"unit": draw(st.integers(1, 3)), "table": table, "register": draw(st.integers(0, 300))}
    if table in ("coil", "discrete"):
        return PointSettings.model_validate(place)
    return PointSettings.model_validate(place | {"type": draw(st.sampled_from(TYPES))})


@given(st.dictionaries(st.text(max_size=5), points(), max_size=40))
@settings(max_examples=150, deadline=None)
def test_a_plan_serves_each_point_once_and_reads_nothing_else(
    wanted: dict[str, PointSettings],
) -> None:
    plan = codec.plan(wanted)
    served = {}
    read = set()
    for unit, requests in plan.items():
        for request in requests:
            assert request.unit == unit
            assert 1 <= request.count <= (125 if request.table in ("input", "holding") else 2000)
            read |= {(unit, request.table, request.register + n) for n in range(request.count)}
            for member in request.members:
                assert member.name not in served
                assert member.start + member.width <= request.count
                served[member.name] = (unit, request.table, request.register + member.start)
    assert served == {name: (p.unit, p.table, p.number) for name, p in wanted.items()}
    assert read == {
        (p.unit, p.table, p.number + n) for p in wanted.values() for n in range(p.width)
    }


@given(
    st.sampled_from(TYPES),
    st.sampled_from(("ABCD", "CDAB", "BADC", "DCBA")),
    st.binary(min_size=4, max_size=4),
)
@settings(max_examples=300, deadline=None)
def test_values_agree_with_numpy(kind: str, order: str, wire: bytes) -> None:
    width = int(NUMPY[kind][1])
    order = order if width == 4 else "ABCD"
    # Where each byte of the value, A first, stands on the wire.
    in_order = bytes(wire[order.index(letter)] for letter in "ABCD")[:width]
    (expected,) = np.frombuffer(in_order, dtype=">" + NUMPY[kind])
    point = PointSettings.model_validate(
        {"unit": 1, "table": "input", "register": 0, "type": kind, "order": order}
    )
    found = codec.decode(point, struct.unpack(f">{width // 2}H", wire[:width]))
    if np.isfinite(expected):
        assert (found.value, found.reason) == (float(expected), "")
    else:
        assert (found.value, found.reason) == (None, "not_a_number")


@given(st.binary(max_size=300))
@settings(max_examples=300, deadline=None)
def test_any_bytes_are_a_frame_not_yet_one_or_told_to_be_none(stream: bytes) -> None:
    try:
        head = codec.first_frame(stream)
    except codec.GarbledError:
        # And more bytes never make it one.
        for more in (b"\0", b"\xff" * 300):
            try:
                codec.first_frame(stream + more)
            except codec.GarbledError:
                continue
            raise AssertionError("told to be no frame, then taken for one") from None
        return
    if head is not None:
        assert stream.startswith(head)
        assert 9 <= len(head) <= 260


@given(st.binary(min_size=2, max_size=253), st.integers(0, 255), st.integers(1, 125))
@settings(max_examples=300, deadline=None)
def test_only_an_answer_of_the_right_shape_passes(body: bytes, unit: int, count: int) -> None:
    asked = frame(7, 1, struct.pack(">BHH", 4, 0, count))
    fault = codec.reply_fault(asked, frame(7, unit, body))
    answers = body[:2] == bytes((4, 2 * count)) and len(body) == 2 + 2 * count
    refuses = body[0] == 0x84 and len(body) == 2
    assert (fault == "") == (unit == 1 and (answers or refuses))

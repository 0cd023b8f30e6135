"""Requests, frames and values against the standard's own bytes.

Examples marked V1.1b3 are those of the Modbus Application Protocol
specification V1.1b3, section 6; TCP guide: Modbus Messaging on TCP/IP
Implementation Guide V1.0b, section 3.1.3 (bytes from memory).
"""

import re
import struct
from collections.abc import Callable

import pytest

from drivers.modbus import PointSettings, codec

HEADER = "1501 0000 {length:04x} ff"


def adu(body: str) -> bytes:
    pdu = bytes.fromhex(body)
    return bytes.fromhex(HEADER.format(length=len(pdu) + 1)) + pdu


def register(**settings: object) -> PointSettings:
    base = {"unit": 1, "table": "input", "register": 0, "type": "uint16"}
    return PointSettings.model_validate(base | settings)


def bit(**settings: object) -> PointSettings:
    return PointSettings.model_validate({"unit": 1, "table": "coil", "register": 0} | settings)


STANDARD = [
    ("01 0013 0013", "01 03 cd6b05"),  # V1.1b3, 6.1: coils 20 to 38
    ("02 00c4 0016", "02 03 acdb35"),  # V1.1b3, 6.2: inputs 197 to 218
    ("03 006b 0003", "03 06 022b 0000 0064"),  # V1.1b3, 6.3: registers 108 to 110
    ("04 0008 0001", "04 02 000a"),  # V1.1b3, 6.4: input register 9
    ("05 00ac ff00", "05 00ac ff00"),  # V1.1b3, 6.5: coil 173 on
    ("01 04a1 0001", "81 02"),  # V1.1b3, 7: no such coil
    ("03 0004 0001", "03 02 0005"),  # TCP guide
]


@pytest.mark.parametrize(("question", "answer"), STANDARD)
def test_the_standards_answers_are_answers(question: str, answer: str) -> None:
    assert codec.reply_fault(adu(question), adu(answer)) == ""


@pytest.mark.parametrize(
    ("question", "answer", "says"),
    [
        ("03 006b 0003", "04 06 022b 0000 0064", "asked function 3, function 4 answered"),
        ("03 006b 0003", "84 02", "function 132"),
        ("03 006b 0003", "83 02 00", "exception of 3 bytes"),
        ("03 006b 0003", "03 04 022b 0000", "asked for 6 bytes of data, .* announces 4"),
        ("03 006b 0003", "03 06 022b 0000", "holds 4"),
        ("03 006b 0003", "03 06 022b 0000 0064 00", "holds 7"),
        ("01 0013 0013", "01 02 cd6b", "asked for 3 bytes"),
        ("05 00ac ff00", "05 00ac 0000", "echo"),
        ("05 00ac ff00", "05 00ad ff00", "echo"),
    ],
)
def test_what_is_not_the_answer_is_told(question: str, answer: str, says: str) -> None:
    fault = codec.reply_fault(adu(question), adu(answer))
    assert re.search(says, fault)


def test_another_units_answer_is_told() -> None:
    asked, answered = adu("03 0004 0001"), bytearray(adu("03 02 0005"))
    answered[6] = 7
    assert codec.reply_fault(asked, bytes(answered)) == "asked unit 255, unit 7 answered"


def test_frames_come_out_whole_at_every_cut() -> None:
    stream = adu("03 02 0005") + adu("81 02")
    for cut in range(len(stream) + 1):
        head = codec.first_frame(stream[:cut])
        assert head == (adu("03 02 0005") if cut >= 11 else None)


@pytest.mark.parametrize(
    ("start", "says"),
    [
        ("0001 01", "another protocol"),
        ("0001 0001 0005", "protocol 1"),
        ("0001 0000 0002", "announces 2"),
        ("0001 0000 00ff", "announces 255"),
    ],
)
def test_what_cannot_begin_a_frame_is_told_at_once(start: str, says: str) -> None:
    with pytest.raises(codec.GarbledError, match=says):
        codec.first_frame(bytes.fromhex(start))


@pytest.mark.parametrize(
    ("order", "words"),
    [  # 123456.0 is 0x47F12000, IEEE 754 binary32
        ("ABCD", (0x47F1, 0x2000)),
        ("CDAB", (0x2000, 0x47F1)),
        ("BADC", (0xF147, 0x0020)),
        ("DCBA", (0x0020, 0xF147)),
    ],
)
def test_the_four_orders_of_four_bytes(order: str, words: tuple[int, int]) -> None:
    assert codec.decode(register(type="float32", order=order), words).value == 123456.0
    whole = codec.decode(register(type="int32", order=order), words).value
    assert whole == 0x47F12000


@pytest.mark.parametrize(
    ("settings", "raw", "value"),
    [
        ({"type": "int16", "scale": 0.1}, (0xFFFF,), -0.1),
        ({"type": "uint16"}, (0xFFFF,), 65535.0),
        ({"type": "int32"}, (0xFFFF, 0xFFFE), -2.0),
        ({"type": "int16", "scale": 0.1}, (1400,), 140.0),
        ({"scale": 2.0, "offset": -40.0}, (50,), 60.0),
        ({"range_low": 0.0, "range_high": 5.0}, (5,), 5.0),
    ],
)
def test_values(settings: dict[str, object], raw: tuple[int, ...], value: float) -> None:
    found = codec.decode(register(**settings), raw)
    assert found.reason == ""
    assert found.value == pytest.approx(value, abs=1e-12)


@pytest.mark.parametrize(
    ("settings", "raw", "reason"),
    [
        ({"type": "int16", "open_at": 32767}, (0x7FFF,), "open_circuit"),
        ({"type": "int16", "short_at": -32768}, (0x8000,), "short_circuit"),
        ({"range_low": 10.0}, (9,), "below_range"),
        ({"range_high": 10.0}, (11,), "above_range"),
        ({"type": "float32"}, (0x7FC0, 0x0000), "not_a_number"),  # quiet NaN
        ({"type": "float32"}, (0x7F80, 0x0000), "not_a_number"),  # infinity
        ({"type": "float32"}, (0xFF80, 0x0000), "not_a_number"),
        ({"type": "float32", "scale": 1e300}, (0x7F7F, 0xFFFF), "not_a_number"),
        # 9999.9 is no binary32; the module sends the nearest.
        (
            {"type": "float32", "open_at": 9999.9},
            struct.unpack(">HH", struct.pack(">f", 9999.9)),
            "open_circuit",
        ),
    ],
)
def test_a_reason_never_carries_a_value(
    settings: dict[str, object], raw: tuple[int, ...], reason: str
) -> None:
    assert codec.decode(register(**settings), raw) == codec.Decoded(None, reason)


@pytest.mark.parametrize(
    ("inverted", "state", "value"), [(False, 1, 1.0), (False, 0, 0.0), (True, 1, 0.0), (True, 0, 1)]
)
def test_bits(inverted: bool, state: int, value: float) -> None:
    found = codec.decode(bit(inverted=inverted), (state,))
    assert found == codec.Decoded(value)
    assert isinstance(found.value, float)


def test_neighbours_share_a_request_and_nothing_else_is_read() -> None:
    points = {
        "b": register(register=1),
        "a": register(register=0),
        "long": register(register=2, type="float32"),
        "apart": register(register=5),
        "again": register(register=5, scale=2.0),
        "held": register(register=6, table="holding"),
        "other": register(register=6, unit=2),
    }
    asked = [
        (request.unit, request.table, request.register, request.count)
        for requests in codec.plan(points).values()
        for request in requests
    ]
    assert asked == [
        (1, "holding", 6, 1),
        (1, "input", 0, 4),
        (1, "input", 5, 1),
        (2, "input", 6, 1),
    ]


@pytest.mark.parametrize(
    ("point", "count", "most"), [(register, 126, 125), (bit, 2001, 2000)], ids=["words", "bits"]
)
def test_a_request_stays_within_the_standards_limit(
    point: Callable[..., PointSettings], count: int, most: int
) -> None:
    points = {f"{number:05}": point(register=number) for number in range(count)}
    assert [request.count for request in codec.plan(points)[1]] == [most, 1]


def test_a_request_never_cuts_a_long_value() -> None:
    points = {f"{n:05}": register(register=2 * n, type="float32") for n in range(63)}
    assert [request.count for request in codec.plan(points)[1]] == [124, 2]


def test_no_points_no_requests() -> None:
    assert codec.plan({}) == {}

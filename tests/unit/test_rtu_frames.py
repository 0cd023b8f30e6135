"""Frames of a serial bus: byte examples, one byte at a time, with a tail, in noise."""

import pytest

from drivers.modbus import codec
from drivers.modbus.registers import PointSettings
from drivers.modbus.rtu_frames import (
    ECHO,
    answer_bytes,
    asks,
    body_of,
    crc16,
    framed,
    frames_in,
    hear,
)

NOBODY: set[int] = set()
QUESTION = framed(1, bytes.fromhex("04 0000 0002"))
ANSWER = framed(1, bytes.fromhex("04 04 0578 0579"))
COIL_OFF = framed(3, bytes.fromhex("05 0000 0000"))


@pytest.mark.parametrize(
    ("content", "crc"),
    [  # Modbus over Serial Line V1.02, section 6.2; low byte first
        ("01 03 00 6B 00 03", "74 17"),
        ("11 03 00 6B 00 03", "76 87"),
        ("01 04 00 00 00 02", "71 CB"),
    ],
)
def test_checksums_of_known_frames(content: str, crc: str) -> None:
    data = bytes.fromhex(content)
    assert framed(data[0], data[1:]) == data + bytes.fromhex(crc)
    assert body_of(data + bytes.fromhex(crc)) == data[1:]


def test_the_checksum_of_the_catalogue() -> None:
    """CRC-16/MODBUS of "123456789" is 4B37: catalogue of CRC algorithms, from memory."""
    assert crc16(b"123456789") == 0x4B37


@pytest.mark.parametrize(
    ("registers", "order"),
    [  # 123456.0 is 47F12000, IEEE 754
        ("47F1 2000", "ABCD"),
        ("2000 47F1", "CDAB"),
        ("F147 0020", "BADC"),
        ("0020 F147", "DCBA"),
    ],
)
def test_a_float_comes_through_in_each_order(registers: str, order: str) -> None:
    heard = hear(QUESTION, framed(1, bytes.fromhex("04 04" + registers)), NOBODY)
    words = (int.from_bytes(heard.answer[2:4], "big"), int.from_bytes(heard.answer[4:6], "big"))
    point = PointSettings.model_validate(
        {"unit": 1, "table": "input", "register": 0, "type": "float32", "order": order}
    )
    assert codec.decode(point, words).value == 123456.0


def test_byte_by_byte_the_answer_is_there_with_its_last_and_not_before() -> None:
    for end in range(len(ANSWER)):
        heard = hear(QUESTION, ANSWER[:end], NOBODY)
        assert not heard.settled
        assert heard.silent is (end == 0)
    assert hear(QUESTION, ANSWER, NOBODY).answer == body_of(ANSWER)


@pytest.mark.parametrize("before", [b"", b"\x00", b"\xff\xff", b"\x01", b"\x01\x04", ANSWER[:4]])
@pytest.mark.parametrize("after", [b"", b"\x00", ANSWER[:4]])
def test_noise_around_the_answer_is_skipped(before: bytes, after: bytes) -> None:
    assert frames_in(before + ANSWER + after) == ([ANSWER], [before, after])
    assert hear(QUESTION, before + ANSWER + after, NOBODY).answer == body_of(ANSWER)


def test_a_frame_inside_another_s_data_is_data() -> None:
    inner = framed(2, bytes.fromhex("04 02 0001"))
    outer = framed(1, bytes((4, len(inner) + 1)) + inner + b"\x00")
    assert frames_in(outer)[0] == [outer]


@pytest.mark.parametrize(
    ("frame", "from_a_master"),
    [
        (QUESTION, True),
        (ANSWER, False),
        (framed(1, bytes.fromhex("01 0000 0008")), True),
        (framed(1, bytes.fromhex("01 03 FF FF 01")), False),  # as long as a question
        (COIL_OFF, False),  # cannot be told
        (framed(0, bytes.fromhex("05 0000 0000")), True),  # to all; nobody answers as 0
        (framed(1, bytes.fromhex("10 0000 0001 02 0005")), True),
        (framed(1, bytes.fromhex("10 0000 0001")), False),
        (framed(1, bytes.fromhex("0F 0000 0008 01 FF")), True),
        (framed(1, bytes.fromhex("84 02")), False),
    ],
)
def test_who_can_have_sent_a_frame(frame: bytes, *, from_a_master: bool) -> None:
    assert frames_in(frame)[0] == [frame]
    assert asks(frame) is from_a_master


def test_what_answers_what_is_owed_and_what_nobody_asked_for() -> None:
    other = framed(2, bytes.fromhex("04 04 0001 0002"))
    late = framed(1, bytes.fromhex("03 04 0001 0002"))
    assert hear(QUESTION, other + ANSWER, NOBODY).answer  # another's does not spoil it
    assert hear(QUESTION, other + ANSWER, NOBODY).strangers == (other,)
    assert hear(QUESTION, other + ANSWER, {2}).strangers == ()
    assert hear(QUESTION, other, {2}).silent
    assert "unit 2 answered" in hear(QUESTION, other, NOBODY).instead
    assert hear(QUESTION, late + ANSWER, {1}).answer == body_of(ANSWER)
    assert hear(QUESTION, late + ANSWER, NOBODY).fault == "asked function 4, function 3 answered"
    assert "twice" in hear(QUESTION, ANSWER + ANSWER, {1}).fault
    assert hear(QUESTION, framed(1, b"\x84\x02"), NOBODY).answer == b"\x84\x02"


def test_an_echo_is_no_answer() -> None:
    assert hear(QUESTION, QUESTION, NOBODY).fault == ECHO
    assert hear(QUESTION, QUESTION + ANSWER, NOBODY).fault == ECHO
    assert hear(COIL_OFF, COIL_OFF, NOBODY).answer == body_of(COIL_OFF)  # one cannot tell
    assert ECHO in hear(COIL_OFF, COIL_OFF + COIL_OFF, NOBODY).fault


def test_a_damaged_answer_is_known_by_its_size_and_its_beginning() -> None:
    broken = ANSWER[:-1] + bytes((ANSWER[-1] ^ 1,))
    assert hear(QUESTION, broken, NOBODY).damaged
    assert not hear(QUESTION, broken + b"\x00", NOBODY).settled
    assert not hear(QUESTION, b"\x02" + broken[1:], NOBODY).settled


@pytest.mark.parametrize(
    ("question", "length"),
    [("04 0000 0008", 21), ("01 0000 0008", 6), ("02 0000 0009", 7), ("05 0000 FF00", 8)],
)
def test_how_long_an_answer_is(question: str, length: int) -> None:
    """Modbus Application Protocol V1.1b3, section 6: and unit and checksum around it."""
    assert answer_bytes(bytes.fromhex(question)) == length

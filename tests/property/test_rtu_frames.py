"""Whatever comes over a serial bus: no exception, and nothing but the answer is taken."""

import random
import struct

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from drivers.modbus import codec
from drivers.modbus.fake_rtu import frame as written_elsewhere
from drivers.modbus.rtu_frames import body_of, crc16, framed, frames_in, hear
from tests.contract.stands import bruised

SEED = 20261125
UNITS = st.integers(1, 247)
READS = st.tuples(st.integers(1, 4), st.integers(0, 65535), st.integers(1, 125)).map(
    lambda parts: struct.pack(">BHH", *parts)
)
WRITES = st.tuples(st.integers(5, 6), st.integers(0, 65535), st.integers(0, 65535)).map(
    lambda parts: struct.pack(">BHH", *parts)
)
OWING = st.sets(UNITS, max_size=3)


def answer_to(question: bytes, fill: bytes) -> bytes:
    """Function code and data of a right answer to a read; `fill` are its values."""
    (count,) = struct.unpack(">H", question[3:])
    size = (count + 7) // 8 if question[0] in (1, 2) else 2 * count
    return bytes((question[0], size)) + (fill * size + bytes(size))[:size]


@given(UNITS, st.binary(max_size=252))
def test_two_checksums_written_apart_agree(unit: int, body: bytes) -> None:
    assert framed(unit, body) == written_elsewhere(unit, body)


@given(st.binary(max_size=300))
def test_any_bytes_are_frames_and_what_stands_between(data: bytes) -> None:
    frames, between = frames_in(data)
    together = between[0] + b"".join(map(bytes.__add__, frames, between[1:]))
    assert together == data
    assert all(framed(one[0], body_of(one)) == one for one in frames)


@given(UNITS, READS | WRITES, st.binary(max_size=300), OWING)
def test_any_bytes_are_taken_only_where_they_answer(
    unit: int, question: bytes, data: bytes, owing: set[int]
) -> None:
    heard = hear(framed(unit, question), data, owing)
    if heard.answer:
        assert framed(unit, heard.answer) in data
        assert codec.body_fault(question, heard.answer) == ""


@given(
    UNITS,
    READS,
    st.binary(min_size=1, max_size=8),
    st.integers(0, 10_000),
    st.integers(1, 255),
)
@example(unit=1, question=struct.pack(">BHH", 4, 0, 2), fill=b"\x05", place=0, change=1)
def test_an_answer_with_a_changed_byte_is_not_taken(
    unit: int, question: bytes, fill: bytes, place: int, change: int
) -> None:
    """A checksum of 16 bits finds every burst of up to 16: a changed byte always shows."""
    right = framed(unit, answer_to(question, fill))
    wrong = bytearray(right)
    wrong[place % len(wrong)] ^= change
    asked = framed(unit, question)
    taken = hear(asked, right, set())
    assert taken.answer == body_of(right) or right == asked
    assert not hear(asked, bytes(wrong), set()).answer


@pytest.mark.proves("bad bytes: nothing acted on")
def test_ten_thousand_bruised_answers_give_no_other_value() -> None:
    """Bytes changed, lost, doubled and added; the same ones every time."""
    dice = random.Random(SEED)  # noqa: S311 - seeded so that it can be replayed
    question = struct.pack(">BHH", 4, 0, 2)
    taken = 0
    for turn in range(10_000):
        body = bytes((4, 4)) + dice.randbytes(4)
        heard = hear(framed(1, question), bruised(framed(1, body), dice), set())
        taken += bool(heard.answer)
        assert heard.answer in (b"", body), f"seed {SEED}, turn {turn}"
    # Both ways: a whole frame with noise beside it is read, all else is not.
    assert 100 < taken < 5_000


@given(UNITS, READS, st.binary(min_size=1, max_size=4), st.binary(max_size=40), OWING)
def test_noise_before_an_answer_changes_no_value(
    unit: int, question: bytes, fill: bytes, noise: bytes, owing: set[int]
) -> None:
    body = answer_to(question, fill)
    heard = hear(framed(unit, question), noise + framed(unit, body), owing)
    assert heard.answer in (b"", body)


@given(UNITS, READS, st.binary(min_size=1, max_size=4), st.data())
def test_an_answer_to_another_size_is_not_taken(
    unit: int, question: bytes, fill: bytes, data: st.DataObject
) -> None:
    (count,) = struct.unpack(">H", question[3:])
    other = data.draw(st.integers(1, 125).filter(lambda one: (one + 7) // 8 != (count + 7) // 8))
    body = answer_to(question[:3] + struct.pack(">H", other), fill)
    assert not hear(framed(unit, question), framed(unit, body), set()).answer


@given(st.binary(max_size=40), st.integers(0, 255))
def test_the_checksum_of_a_frame_with_its_checksum_is_nothing(data: bytes, unit: int) -> None:
    """Modbus over Serial Line V1.02, section 6.2: a property of the polynomial."""
    assert crc16(framed(unit, data)) == 0

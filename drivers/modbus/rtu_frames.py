"""Frames on a serial bus, and what of all that was heard answers a question; nothing waits.

A frame here has no number and no length of its own: what a byte string says is
known only by its checksum and by what was asked. So what came is searched for
every whole frame, noise between them skipped, and each is an answer, an echo, a
late answer, or a stranger: something that nobody here asked for.

Source:
    Modbus over Serial Line V1.02, section 2.5.1 (frame, silent intervals) and
    6.2 (CRC, low byte first); Modbus Application Protocol V1.1b3, section 6
    (sizes of requests and answers).
"""

import struct
from collections.abc import Container, Iterable
from dataclasses import dataclass

from drivers.modbus import codec

FRAME_BYTES_MAX = 256
REQUEST_BYTES = 8  # of functions 1 to 6
_SHORTEST, _CRC_BYTES = 5, 2
EVERYBODY = 0
_UNIT_LAST = 247
_READS = (*codec.READ_BITS, *codec.READ_REGISTERS)
_WRITE_MANY = (15, 16)
_KNOWN = (*_READS, *codec.WRITES, *_WRITE_MANY)
_EXCEPTIONS = frozenset(function | codec.EXCEPTION_FLAG for function in _KNOWN)
_POLYNOMIAL = 0xA001  # x^16 + x^15 + x^2 + 1, lowest bit first

TWICE = "the module answers twice, or another master asks it too"
ECHO = "the adapter echoes what is sent; switch its echo off"
STRANGER = "another master on this bus, or a module that answers twice, too late or as another"


def _table_entry(index: int) -> int:
    for _ in range(8):
        index = (index >> 1) ^ (_POLYNOMIAL if index & 1 else 0)
    return index


_TABLE = tuple(_table_entry(index) for index in range(256))


@dataclass(frozen=True, slots=True)
class Heard:
    """What came after a question.

    Attributes:
        answer: function code and data of the one answer; empty: none.
        fault: why nothing that came may be taken for an answer; empty: nothing
            speaks against it.
        instead: what came in its place, in words, should no answer come.
        strangers: whole frames that nobody here asked for.
        damaged: the answer, by its size and its beginning, with a wrong checksum.
        silent: not a byte came that may have been part of an answer.
    """

    answer: bytes = b""
    fault: str = ""
    instead: str = ""
    strangers: tuple[bytes, ...] = ()
    damaged: bool = False
    silent: bool = False

    @property
    def settled(self) -> bool:
        """Nothing more is to be waited for, but for the line to fall quiet."""
        return bool(self.answer or self.fault or self.damaged)


def crc16(data: bytes) -> int:
    """The checksum of a frame without it; it travels low byte first."""
    crc = 0xFFFF
    for byte in data:
        crc = (crc >> 8) ^ _TABLE[(crc ^ byte) & 0xFF]
    return crc


def framed(unit: int, body: bytes) -> bytes:
    """A whole frame around function code and data."""
    content = bytes((unit,)) + body
    return content + struct.pack("<H", crc16(content))


def body_of(frame: bytes) -> bytes:
    """Function code and data of a whole frame."""
    return frame[1:-_CRC_BYTES]


def answer_bytes(question: bytes) -> int:
    """How long a frame is that answers a question, given by function code and data."""
    function = question[0]
    if function in codec.WRITES:
        return REQUEST_BYTES
    count = int.from_bytes(question[3:5], "big")
    return 5 + ((count + 7) // 8 if function in codec.READ_BITS else 2 * count)


def frames_in(data: bytes) -> tuple[list[bytes], list[bytes]]:
    """Every whole frame in what was heard, and what stood around them.

    Args:
        data: as it came, with noise and parts of frames.

    Returns:
        The frames, each with a right checksum, in order; and the bytes before
        each and after the last, one more than frames.
    """
    frames: list[bytes] = []
    between: list[bytes] = []
    start = used = 0
    while start + _SHORTEST <= len(data):
        length = _length_at(data, start)
        if length:
            between.append(data[used:start])
            frames.append(data[start : start + length])
            start = used = start + length
        else:
            start += 1
    between.append(data[used:])
    return frames, between


def asks(frame: bytes) -> bool:
    """Whether a whole frame can only have come from a master.

    A write of one coil or register is answered by itself, and cannot be told.
    """
    unit, function, data = frame[:3]
    if unit == EVERYBODY:
        return True
    if function in _READS:
        return len(frame) == REQUEST_BYTES and data != REQUEST_BYTES - 5
    return function in _WRITE_MANY and len(frame) > REQUEST_BYTES


def hear(question: bytes, data: bytes, owing: Container[int]) -> Heard:
    """What came after a question.

    Args:
        question: the whole frame sent.
        data: all that came since.
        owing: units that may still answer an earlier question; what they say is
            thrown away, unless it answers this one.
    """
    frames, between = frames_in(data)
    reading = question[1] not in codec.WRITES
    if reading and question in frames:
        # Few answers can look like it (17 to 24 bits from 768 on), and none is worth the risk.
        return Heard(fault=ECHO)
    answers = [body_of(frame) for frame in frames if _answers(question, frame)]
    strangers = tuple(
        frame
        for frame in frames
        if asks(frame) or not (_answers(question, frame) or frame[0] in owing)
    )
    fault = _fault(question, strangers)
    if len(answers) > 1 and not fault:
        fault = TWICE if reading else f"{ECHO}; or {TWICE}"
    return Heard(
        answer=answers[0] if answers and not fault else b"",
        fault=fault,
        instead=f"unit {strangers[0][0]} answered: {STRANGER}" if strangers else "",
        strangers=tuple(frame for frame in strangers if asks(frame) or frame[0] != question[0]),
        damaged=not frames and _is_damaged(question, data),
        silent=not any(between),
    )


def _answers(question: bytes, frame: bytes) -> bool:
    same_unit = frame[0] == question[0] and not asks(frame)
    return same_unit and not codec.body_fault(body_of(question), body_of(frame))


def _fault(question: bytes, strangers: Iterable[bytes]) -> str:
    """What speaks against any answer; a frame of another module does not."""
    for frame in strangers:
        if asks(frame):
            return f"unit {frame[0]} was asked by another master; a bus has one only"
    for frame in strangers:
        if frame[0] == question[0]:
            return codec.body_fault(body_of(question), body_of(frame))
    return ""


def _is_damaged(question: bytes, data: bytes) -> bool:
    asked = body_of(question)
    return len(data) == answer_bytes(asked) and data[:2] == question[:2]


def _length_at(data: bytes, start: int) -> int:
    """The length of the whole frame that begins here; 0: none does."""
    if data[start] > _UNIT_LAST:
        return 0
    for length in _lengths(data[start + 1], data[start + 2 : start + 7]):
        end = start + length
        if length <= FRAME_BYTES_MAX and end <= len(data) and _is_whole(data[start:end]):
            return length
    return 0


def _lengths(function: int, data: bytes) -> Iterable[int]:
    """How long a frame may be that goes on like this; answers first."""
    if function in _EXCEPTIONS:
        return (_SHORTEST,)
    if function in _READS:
        return (5 + data[0], REQUEST_BYTES)
    if function in codec.WRITES:
        return (REQUEST_BYTES,)
    if function in _WRITE_MANY:
        return (REQUEST_BYTES, 9 + data[4]) if len(data) > 4 else (REQUEST_BYTES,)
    return ()


def _is_whole(frame: bytes) -> bool:
    return crc16(frame[:-_CRC_BYTES]) == frame[-2] | frame[-1] << 8

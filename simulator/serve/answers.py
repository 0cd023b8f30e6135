"""What really goes out when a module has answered, by its trouble; bytes only.

Source:
    Modbus Messaging on TCP/IP V1.0b, section 3.1.3 (the header); Modbus over
    Serial Line V1.02, section 2.5.1 and 6.2 (the frame and its checksum).
"""

from dataclasses import dataclass

from simulator.serve.checksum import crc16
from simulator.wire import Trouble

# Place of the unit in an answer over TCP, behind transaction, protocol and length.
TCP_UNIT, RTU_UNIT = 6, 0
_TCP_PROTOCOL = 2
_FLIPPED = 0x10
_FOREIGN = 0x08  # another unit's number; modules of a rig differ in the low bits
NOISE = b"\xa5\x5a\x00\xff\x13" * 4


@dataclass(frozen=True, slots=True)
class Sent:
    """What goes out for one answer.

    Attributes:
        now: at once.
        late: after the wire's `late_s`.
    """

    now: bytes = b""
    late: bytes = b""


def over_tcp(trouble: Trouble, right: bytes) -> Sent:
    """What goes out on a socket.

    Args:
        trouble: of the module.
        right: the whole right answer, header first.
    """
    # TCP hands on no bit error: what garbles is the module's own program or a gateway.
    garbled = _flipped(right, _TCP_PROTOCOL)
    foreign = _flipped(right, TCP_UNIT, _FOREIGN)
    return _sent(trouble, right, garbled, foreign)


def over_rtu(trouble: Trouble, right: bytes) -> Sent:
    """What goes out on a serial bus.

    Args:
        trouble: of the module.
        right: the whole right answer, unit first, checksum last.
    """
    garbled = _flipped(right, len(right) // 2)
    foreign = _flipped(right[:-2], RTU_UNIT, _FOREIGN)
    return _sent(trouble, right, garbled, foreign + crc16(foreign).to_bytes(2, "little"))


def _sent(trouble: Trouble, right: bytes, garbled: bytes, foreign: bytes) -> Sent:
    outcomes = {
        Trouble.LATE: Sent(late=right),
        Trouble.GARBLED: Sent(garbled),
        Trouble.TRUNCATED: Sent(right[: len(right) // 2]),
        Trouble.FOREIGN: Sent(foreign),
        Trouble.DOUBLED: Sent(right + right),
        Trouble.BABBLES: Sent(right + NOISE),
        Trouble.SILENT: Sent(),
        Trouble.HANGS_UP: Sent(),
    }
    return outcomes.get(trouble, Sent(right))


def _flipped(data: bytes, place: int, bits: int = _FLIPPED) -> bytes:
    return data[:place] + bytes((data[place] ^ bits,)) + data[place + 1 :]

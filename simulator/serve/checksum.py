"""The checksum of serial frames and of a board's lines.

Source:
    Modbus over Serial Line V1.02, section 6.2: the generating procedure.
"""


def _after_eight_shifts(register: int) -> int:
    for _ in range(8):
        register, out = register >> 1, register & 1
        if out:
            register ^= 0xA001
    return register


# What eight shifts make of each low byte: a board's line is a few hundred bytes.
_SHIFTED = [_after_eight_shifts(byte) for byte in range(256)]


def crc16(data: bytes) -> int:
    """CRC-16 of Modbus: begins with FFFF, bits from the low end, polynomial A001."""
    register = 0xFFFF
    for byte in data:
        register = (register >> 8) ^ _SHIFTED[(register ^ byte) & 0xFF]
    return register

"""The checksum of serial frames and of a board's lines.

Source:
    Modbus over Serial Line V1.02, section 6.2: the generating procedure.
"""


def crc16(data: bytes) -> int:
    """CRC-16 of Modbus: begins with FFFF, bits from the low end, polynomial A001."""
    register = 0xFFFF
    for byte in data:
        register ^= byte
        for _ in range(8):
            register, out = register >> 1, register & 1
            if out:
                register ^= 0xA001
    return register

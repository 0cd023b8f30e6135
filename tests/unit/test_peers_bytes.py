"""The bytes of the standard: what the link sends, and what it takes an answer to mean."""

import asyncio
import struct

import pytest
from umodbus.client.serial.redundancy_check import get_crc

from drivers.base import BadReply
from drivers.modbus import OutputSettings, PointSettings, TcpSettings, open_link
from drivers.modbus.codec import Request
from drivers.modbus.device import connections_to
from tests.unit.peers import Cable, Memory, modbus_tk_rtu
from tests.virtual_clock import VirtualClock

# Modbus Application Protocol V1.1b3, the examples of sections 6.1 to 6.5: the
# bytes of request and answer, and what the text says they mean.
STANDARD = {
    "01 0013 0013": "01 03 cd6b05",
    "02 00c4 0016": "02 03 acdb35",
    "03 006b 0003": "03 06 022b 0000 0064",
    "04 0008 0001": "04 02 000a",
    "05 00ac ff00": "05 00ac ff00",
}
COILS = "1011 0011 1101 0110 101"  # coils 20 to 38, in rising order
INPUTS = "0011 0101 1101 1011 1010 11"  # inputs 197 to 218
REGISTERS = (555, 0, 100)  # registers 108 to 110


def standard_points() -> dict[str, dict[str, object]]:
    word = {"type": "uint16"}
    return {
        **{f"coil {at}": {"table": "coil", "register": at} for at in range(19, 38)},
        **{f"input {at}": {"table": "discrete", "register": at} for at in range(196, 218)},
        **{f"held {at}": {"table": "holding", "register": at} | word for at in range(107, 110)},
        "analog": {"table": "input", "register": 8} | word,
    }


def states(text: str) -> list[float]:
    return [float(state) for state in text.replace(" ", "")]


async def test_the_bytes_of_the_standard() -> None:
    """Requests must match to the byte, or there is no answer at all."""
    answers = {bytes.fromhex(ask): bytes.fromhex(answer) for ask, answer in STANDARD.items()}
    missed: list[str] = []
    served: list[asyncio.Task[None]] = []

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        served.append(asyncio.current_task())
        while header := await reader.read(7):
            question = await reader.readexactly(struct.unpack(">H", header[4:6])[0] - 1)
            missed.extend([question.hex()] if question not in answers else [])
            answer = answers.get(question, bytes((question[0] | 0x80, 2)))
            writer.write(header[:4] + struct.pack(">HB", len(answer) + 1, header[6]) + answer)
        writer.close()
        await writer.wait_closed()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    try:
        port = server.sockets[0].getsockname()[1]
        link = open_link(
            "standard",
            TcpSettings(host="127.0.0.1", port=port),
            {
                name: PointSettings.model_validate({"unit": 255} | one)
                for name, one in standard_points().items()
            },
            {"coil 172": OutputSettings(unit=255, register=172, token="bay-1")},
            VirtualClock(),
        )
        await link.poll_once()
        found = {name: sample.value for name, sample in link.snapshot().items()}
        await link.write("coil 172", on=True)
        with pytest.raises(BadReply, match="exception 2"):
            await link.write("coil 172", on=False)
        await link.close()
    finally:
        server.close()
        await server.wait_closed()
        await asyncio.gather(*served)
    assert [found[f"coil {at}"] for at in range(19, 38)] == states(COILS)
    assert [found[f"input {at}"] for at in range(196, 218)] == states(INPUTS)
    assert [found[f"held {at}"] for at in range(107, 110)] == list(REGISTERS)
    assert found["analog"] == 10.0
    assert missed == ["0100ac0001", "0500ac0000"]  # the read-back, and the write refused


# On a serial bus, with the unit before and the checksum after, low byte first:
# Modbus over Serial Line V1.02, section 2.5.1 and 6.2. These three are known whole.
SERIAL = {
    Request(1, "holding", 0x6B, 3, ()): "01 03 006B 0003 7417",
    Request(17, "holding", 0x6B, 3, ()): "11 03 006B 0003 7687",
    Request(1, "input", 0, 2, ()): "01 04 0000 0002 71CB",
}
# What the examples of the Application Protocol V1.1b3 answer, sections 6.3 and 6.4.
SERIAL_MEMORY: Memory = {
    (1, "holding"): (0x6B, REGISTERS),
    (17, "holding"): (0x6B, REGISTERS),
    (1, "input"): (0, (0x000A, 0x8000)),
}
SERIAL_ANSWERS = {
    "01 03 006B 0003 7417": "01 03 06 022B 0000 0064",
    "11 03 006B 0003 7687": "11 03 06 022B 0000 0064",
    "01 04 0000 0002 71CB": "01 04 04 000A 8000",
}


def passed(cable: Cable | None) -> tuple[bytes, bytes]:
    """What went each way since the last time, the link's own first."""
    assert cable is not None
    sent, answered = (bytes(one) for one in cable.passed)
    for one in cable.passed:
        one.clear()
    return sent, answered


def test_umodbus_works_out_the_checksum_of_the_standard() -> None:
    """The example of Modbus over Serial Line V1.02, section 6.2.2 (from memory)."""
    assert get_crc(bytes((2, 7))) == bytes((0x41, 0x12))


async def test_the_bytes_of_a_read_on_a_serial_bus() -> None:
    """Asked of modbus-tk, which works out checksums of its own and answers none that is wrong."""
    async with modbus_tk_rtu(SERIAL_MEMORY) as peer:
        connection = connections_to(peer.settings(), VirtualClock())()
        await connection.open()
        try:
            for request, frame in SERIAL.items():
                _, values = SERIAL_MEMORY[request.unit, request.table]
                assert await connection.read(request) == values
                sent, answered = passed(peer.cable)
                assert sent == bytes.fromhex(frame)
                answer = bytes.fromhex(SERIAL_ANSWERS[frame])
                assert answered == answer + get_crc(answer)
        finally:
            connection.close()


async def test_the_bytes_of_every_other_question_on_a_serial_bus() -> None:
    """Functions 1, 2, 5 and 6; the checksums are umodbus's."""
    memory: Memory = {
        (1, "coil"): (0x13, tuple(int(state) for state in states(COILS))),
        (1, "discrete"): (0xC4, tuple(int(state) for state in states(INPUTS))),
        (3, "coil"): (0xAC, (0,)),
        (3, "holding"): (0x0001, (0,)),
    }
    async with modbus_tk_rtu(memory) as peer:
        connection = connections_to(peer.settings(), VirtualClock())()
        await connection.open()
        relay = OutputSettings(unit=3, register=0xAC, token="bay-1")
        try:
            for table, question in (("coil", "01 0013 0013"), ("discrete", "02 00c4 0016")):
                start, values = memory[1, table]
                assert await connection.read(Request(1, table, start, len(values), ())) == values
                answer = STANDARD[question]
                assert passed(peer.cable) == (with_crc(1, question), with_crc(1, answer))
            # V1.1b3, sections 6.5 and 6.6: an echo answers.
            await connection.write(relay, on=True)
            assert passed(peer.cable) == (with_crc(3, "05 00AC FF00"),) * 2
            await connection.write(relay, on=False)
            assert passed(peer.cable) == (with_crc(3, "05 00AC 0000"),) * 2
            await connection.write_register(3, 0x0001, 0x0003)
            assert passed(peer.cable) == (with_crc(3, "06 0001 0003"),) * 2
        finally:
            connection.close()
    assert peer.holds(3, "coil", 0xAC) == 0
    assert peer.holds(3, "holding", 1) == 3


def with_crc(unit: int, body: str) -> bytes:
    content = bytes((unit,)) + bytes.fromhex(body)
    return content + get_crc(content)

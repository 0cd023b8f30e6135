"""The driver against servers it does not know: the standard's bytes, umodbus, pymodbus.

umodbus (PyPI) is an implementation of its own; pymodbus's server shares code
with our client and stands here for its way of answering, not as an oracle.
"""

import asyncio
import struct
import threading
from collections import defaultdict
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from socketserver import TCPServer

import pytest
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice
from umodbus.server.tcp import RequestHandler, get_server

from drivers.base import BadReply, Link
from drivers.modbus import OutputSettings, PointSettings, TcpSettings, open_link
from tests.virtual_clock import VirtualClock, settle

# IEEE 754: 123456.0 in binary32 is 0x47F12000.
WORDS = {0: 0xFF9C, 1: 1400, 2: 0x47F1, 3: 0x2000, 4: 0x2000, 5: 0x47F1, 6: 0x7FC0, 7: 0}
BITS = {0: 1, 1: 0, 2: 1, 8: 1}
POINTS = {
    "cold": {"table": "input", "register": 0, "type": "int16", "scale": 0.1},
    "hot": {"table": "holding", "register": 1, "type": "uint16", "scale": 0.1},
    "float": {"table": "input", "register": 2, "type": "float32"},
    "swapped": {"table": "holding", "register": 4, "type": "float32", "order": "CDAB"},
    "failed": {"table": "input", "register": 6, "type": "float32"},
    "switch": {"table": "discrete", "register": 2},
    "rest": {"table": "discrete", "register": 1, "inverted": True},
    "ninth": {"table": "coil", "register": 8},
}
VALUES = {
    "cold": -10.0,
    "hot": 140.0,
    "float": 123456.0,
    "swapped": 123456.0,
    "failed": None,
    "switch": 1.0,
    "rest": 1.0,
    "ninth": 1.0,
}


@asynccontextmanager
async def link_to(
    port: int, points: dict[str, dict[str, object]], unit: int
) -> AsyncIterator[Link]:
    link = open_link(
        "peer",
        TcpSettings(host="127.0.0.1", port=port),
        {name: PointSettings.model_validate({"unit": unit} | one) for name, one in points.items()},
        {
            "relay": OutputSettings(unit=unit, register=1, token="bay-1"),
            "absent": OutputSettings(unit=unit, register=500, token="bay-1"),
        },
        VirtualClock(),
    )
    try:
        yield link
    finally:
        await link.close()
        await settle()


async def reads_and_writes(link: Link) -> None:
    await link.poll_once()
    found = {name: link.snapshot()[name].value for name in VALUES}
    assert found == {
        name: None if value is None else pytest.approx(value) for name, value in VALUES.items()
    }
    assert link.snapshot()["failed"].reason == "not_a_number"
    assert link.snapshot()["absent"].reason == "refused"
    for on in (True, False):
        await link.write("relay", on=on)
        await link.poll_once()
        assert link.snapshot()["relay"].value == float(on)
    with pytest.raises(BadReply, match="unit 3, coil 500, write on: refused with exception 2"):
        await link.write("absent", on=True)


@contextmanager
def umodbus_server() -> Iterator[int]:
    """umodbus in a thread of its own, which is joined at the end."""
    held: dict[int, dict[int, int]] = defaultdict(dict, {1: dict(BITS), 2: dict(BITS)})
    held |= {3: dict(WORDS), 4: dict(WORDS)}
    server = get_server(TCPServer, ("127.0.0.1", 0), RequestHandler)
    for function in (1, 2, 3, 4):
        numbers = list(held[function])
        server.route(slave_ids=[3], function_codes=[function], addresses=numbers)(
            lambda slave_id, function_code, address: held[function_code][address]
        )

    @server.route(slave_ids=[3], function_codes=[5], addresses=list(BITS))
    def write(slave_id: int, function_code: int, address: int, value: int) -> None:
        held[1][address] = int(bool(value))

    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield server.server_address[1]
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


async def test_against_umodbus() -> None:
    with umodbus_server() as port:
        async with link_to(port, POINTS, 3) as link:
            await reads_and_writes(link)


async def test_against_the_server_of_pymodbus() -> None:
    words = [SimData(at, values=word, datatype=DataType.REGISTERS) for at, word in WORDS.items()]
    bits = [SimData(at, values=bool(bit), datatype=DataType.BITS) for at, bit in BITS.items()]
    server = ModbusTcpServer(
        SimDevice(3, (bits, list(bits), words, list(words))), address=("127.0.0.1", 0)
    )
    await server.serve_forever(background=True)
    try:
        port = server.transport.sockets[0].getsockname()[1]
        async with link_to(port, POINTS, 3) as link:
            await reads_and_writes(link)
    finally:
        await server.shutdown()
        await settle()


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

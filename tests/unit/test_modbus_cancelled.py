"""One TCP connection given up: by a cancellation that comes with the answer, by closing."""

import asyncio

import pytest
from pymodbus.pdu import ModbusPDU
from pymodbus.pdu.register_message import ReadInputRegistersResponse

from drivers.modbus.codec import plan
from drivers.modbus.connection import ConnectionLost
from drivers.modbus.fake import FakeServer, Fault
from drivers.modbus.registers import PointSettings, TcpSettings
from drivers.modbus.tcp import TcpConnection
from tests.virtual_clock import settle

POINT = PointSettings(unit=1, table="input", register=0, type="int16")


async def test_cancelled_as_the_answer_comes_it_leaves() -> None:
    connection = TcpConnection(TcpSettings(host="127.0.0.1", port=9, timeout_s=1.0))
    asked = asyncio.Event()

    async def execute(*, no_response_expected: bool, request: ModbusPDU) -> ModbusPDU:
        # What asyncio.wait_for of Python 3.11 does, below pymodbus: the answer
        # is there, so the cancellation is dropped.
        asked.set()
        try:
            await asyncio.Event().wait()
        except asyncio.CancelledError:
            return ReadInputRegistersResponse(dev_id=1, registers=[1])
        raise AssertionError

    connection._client.execute = execute  # type: ignore[method-assign]  # the race cannot be timed on a socket
    (request,) = plan({"a": POINT})[1]
    reading = asyncio.create_task(connection.read(request))
    await asked.wait()
    reading.cancel()
    with pytest.raises(asyncio.CancelledError):
        await reading
    assert reading.cancelled()
    connection.close()


async def test_closing_ends_the_question_under_way() -> None:
    fake = FakeServer({(1, "input", 0): 5})
    fake.faults = {1: Fault.SILENT}
    await fake.start()
    connection = TcpConnection(
        TcpSettings(host="127.0.0.1", port=fake.port, timeout_s=10.0, period_s=10.0, hold_s=10.0)
    )
    await connection.open()
    (request,) = plan({"a": POINT})[1]
    reading = asyncio.create_task(connection.read(request))
    await fake.seen(lambda server: len(server.asked) == 1)
    connection.close()
    with pytest.raises(ConnectionLost, match="closed by us"):
        await reading
    await fake.stop()
    await settle()

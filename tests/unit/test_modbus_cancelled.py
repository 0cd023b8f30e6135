"""A cancellation that comes in the same instant as the answer is not lost."""

import asyncio

import pytest
from pymodbus.pdu import ModbusPDU
from pymodbus.pdu.register_message import ReadInputRegistersResponse

from drivers.modbus.codec import plan
from drivers.modbus.registers import PointSettings, TcpSettings
from drivers.modbus.tcp import TcpConnection

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

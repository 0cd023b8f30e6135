"""Each driver's stand, for the one suite that all links must pass."""

from collections.abc import AsyncIterator

import pytest
import pytest_asyncio

from tests.contract.stands import ModbusStand, Stand
from tests.virtual_clock import settle


@pytest_asyncio.fixture(params=[ModbusStand], ids=["modbus"])
async def stand(request: pytest.FixtureRequest) -> AsyncIterator[Stand]:
    """A link and its other side, both well."""
    made = request.param()
    await made.start()
    yield made
    await made.stop()
    await settle()

"""Each kind of link, for the one suite that all of them must pass."""

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio

from tests.contract.all_stands import STANDS
from tests.contract.stands import Stand
from tests.virtual_clock import VirtualClock, settle


@pytest_asyncio.fixture
async def stand(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Stand]:
    """A link and its other side, both well; of the kind a test names, else each in turn."""
    made: Stand = request.param(tmp_path, VirtualClock())
    troubled: list[str] = []
    # Told by the loop to nobody but the log; nothing in a link may fail so.
    asyncio.get_running_loop().set_exception_handler(
        lambda _loop, context: troubled.append(f"{context['message']}: {context.get('exception')}")
    )
    await made.start()
    yield made
    await made.stop()
    await settle()
    assert troubled == []


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """A test that takes `stand` runs on every kind of link, unless it names some itself."""
    named = any(
        mark.args[0] in ("stand", ("stand", "how"))
        for mark in metafunc.definition.iter_markers("parametrize")
    )
    if "stand" in metafunc.fixturenames and not named:
        metafunc.parametrize("stand", STANDS, ids=lambda kind: kind.kind, indirect=True)

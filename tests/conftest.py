"""Rules for every test: nothing is left behind, and each proof names what it proves."""

import asyncio
from collections.abc import AsyncIterator, Iterator

import pytest
import pytest_asyncio

from tests.leftovers import held, left_since
from tests.proofs import PROVED, is_whole_run, proofs_of
from tests.virtual_clock import settle


@pytest.fixture(autouse=True)
def nothing_left() -> Iterator[None]:
    """Fail a test that leaves a thread, a child process or an open file.

    What fixtures of a module or the session hold was there before the test and
    does not count.
    """
    before = held()
    yield
    left = left_since(before)
    if left:
        pytest.fail("left behind: " + "; ".join(left), pytrace=False)


@pytest.fixture(autouse=True)
def no_task_left(request: pytest.FixtureRequest, nothing_left: None) -> None:
    """Fail an asyncio test that leaves a task; the loop would cancel it silently."""
    if pytest_asyncio.is_async_test(request.node):
        request.getfixturevalue("_watched_loop")


@pytest_asyncio.fixture
async def _watched_loop() -> AsyncIterator[None]:
    before = asyncio.all_tasks()
    yield
    # A task already cancelled, or on its last line, may finish.
    await settle()
    left = asyncio.all_tasks() - before - {asyncio.current_task()}
    if left:
        names = sorted(f"{task.get_name()} in {task.get_coro()!r}" for task in left)
        pytest.fail("tasks left behind: " + "; ".join(names), pytrace=False)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Gather what the tests say they prove, for `test_tidy_proofs`."""
    proofs = proofs_of(items)
    config.stash[PROVED] = proofs if is_whole_run(config) else None

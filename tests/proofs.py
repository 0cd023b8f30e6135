"""Which hazard tags and failure promises the collected tests say they prove."""

from collections.abc import Iterable, Set

import pytest

PROVED: pytest.StashKey[frozenset[str] | None] = pytest.StashKey()


def is_whole_run(config: pytest.Config) -> bool:
    """All tests were asked for, so that a proof not collected does not exist."""
    narrowed = config.option.keyword or config.option.markexpr
    return not narrowed and config.args == config.getini("testpaths")


def proofs_of(items: Iterable[pytest.Item]) -> frozenset[str]:
    """Every name in a `proves` mark.

    Raises:
        pytest.UsageError: a mark does not name what it proves.
    """
    names: set[str] = set()
    for item in items:
        for mark in item.iter_markers("proves"):
            if mark.kwargs or not mark.args or not all(_is_name(arg) for arg in mark.args):
                raise pytest.UsageError(
                    f"{item.nodeid}: proves(...) takes hazard tags or promise names as text, "
                    f"not {mark.args!r} {mark.kwargs!r}"
                )
            names.update(mark.args)
    return frozenset(names)


def unmatched(tags: set[str], promises: set[str], proved: Set[str]) -> list[str]:
    """What lacks a proof, and proofs of what nobody claims; one line each."""
    lacking = [f"no test is marked proves({name!r})" for name in (tags | promises) - proved]
    strange = [
        f"proves({name!r}) is no hazard tag and is not in docs/promises.md"
        for name in proved - tags - promises
    ]
    return sorted(lacking + strange)


def _is_name(value: object) -> bool:
    return isinstance(value, str) and value.strip() == value != ""

"""Every fault of every wire, made to happen to a cure; what is told of it is what happens."""

from pathlib import Path

import pytest

from tests.contract.all_stands import STANDS
from tests.contract.cure import HEALED_S_MAX, Seen
from tests.contract.stands import Stand
from tests.contract.table import all_seen, document, done_to

PAGE = Path(__file__).parents[2] / "docs" / "wire-faults.md"
# `link.stale`: 5 s and 15 s, told in the first frame after them.
WARNED_S, CUT_S = 6, 16
LINK_REASONS = {"no_reply", "link_down", "bad_reply", "refused"}


@pytest.fixture(scope="module")
def rows() -> list[Seen]:
    return all_seen()


def test_no_wrong_value_is_ever_read(rows: list[Seen]) -> None:
    assert {row: row.wrong for row in rows if row.wrong} == {}


def test_every_wire_heals(rows: list[Seen]) -> None:
    assert [row for row in rows if row.good_s > HEALED_S_MAX] == []


@pytest.mark.parametrize("kind", STANDS, ids=lambda stand: stand.kind)
def test_every_trouble_is_told(rows: list[Seen], kind: type[Stand]) -> None:
    told = [row.done for row in rows if row.kind == kind.kind]
    assert told == done_to(kind)


def test_heat_is_taken_away_only_while_nothing_is_read(rows: list[Seen]) -> None:
    """Both ways: silence of a wire cuts the heat in time, and good readings never do."""
    silent = [row for row in rows if set(row.reasons) <= LINK_REASONS]
    read = [row for row in rows if row.reasons == ("",)]
    assert len(silent) > 40
    assert {(row.warned, row.warned_s) for row in silent} == {("link.stale", WARNED_S)}
    assert {(row.cut, row.cut_s) for row in silent} == {("link.stale", CUT_S)}
    assert len(read) > 4
    assert {(row.warned, row.cut) for row in read} == {("", "")}


def test_the_page_is_fresh(rows: list[Seen]) -> None:
    assert PAGE.read_text() == document(rows), f"{PAGE.name} is stale; run: sh docs/build.sh"

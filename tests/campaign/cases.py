"""What the tests ask of a campaign."""

from collections.abc import Sequence

from tests.campaign.cures import Cured, Struck
from tests.campaign.draws import draw, planned_in
from tests.campaign.known import is_known
from tests.campaign.report import said_of
from tests.campaign.table import Found, again


def assert_none_missed(found: Found) -> None:
    """No fault is missed or late, but for those known."""
    wrong = [item for item in found.wrong if not _is_known(item)]
    assert not wrong, _listed(wrong)


def assert_none_false(found: Found) -> None:
    """Nothing speaks where nothing is wrong."""
    cases: list[Struck | Cured] = [*found.crying, *found.disturbed]
    assert not cases, _listed(cases)
    stuck = [cure for cure in found.cures if cure.ended == "stuck"]
    assert not stuck, _listed(stuck)


def _is_known(item: Struck) -> bool:
    if item.verdict is None:
        return False
    fault = planned_in(item.seed, item.name, draw(item.seed).hold_s).fault
    return is_known(item.name, item.verdict.word, fault, item.mode)


def _listed(cases: Sequence[Struck | Cured]) -> str:
    return "\n" + "\n".join(f"{said_of(case)}\n    {again(case)}" for case in cases)

"""What the tests ask of a campaign, with what is known to be missed and why."""

from collections.abc import Sequence

from tests.campaign.cures import Cured, Struck
from tests.campaign.report import said_of
from tests.campaign.table import Found, again

# Faults that are missed or told late: each with the reason.
KNOWN: dict[str, str] = {
    "horn_contact_sticks_open": "a contact that sticks open shows when the horn is next called; "
    "it is tried whenever heat may come on, not in the middle of a hold",
}


def assert_none_missed(found: Found) -> None:
    """No fault is missed or late, but for those known."""
    wrong = [item for item in found.wrong if item.name not in KNOWN]
    assert not wrong, _listed(wrong)


def assert_none_false(found: Found) -> None:
    """Nothing speaks where nothing is wrong."""
    cases: list[Struck | Cured] = [*found.crying, *found.disturbed]
    assert not cases, _listed(cases)
    stuck = [cure for cure in found.cures if cure.ended == "stuck"]
    assert not stuck, _listed(stuck)


def _listed(cases: Sequence[Struck | Cured]) -> str:
    return "\n" + "\n".join(f"{said_of(case)}\n    {again(case)}" for case in cases)

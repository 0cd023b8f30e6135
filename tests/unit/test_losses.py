"""The hazards obey the table of losses: in every phase, just before and just after.

The times are the hazards' defaults (common practice, no source); traces are invented.
"""

from pathlib import Path

import pytest

from rules.document_losses import losses_page
from rules.events import Level
from rules.facts import RigFacts
from rules.frame import NS_PER_S, Frame, Quality, Reading, Reason
from rules.hazards import HAZARDS
from rules.losses import LOSSES, Lost
from rules.phases import Phase
from rules.view import view_of

BY_NAME = {hazard.name: hazard for hazard in HAZARDS}
SOUND = {
    "pad_inner_c": 90.0,
    "pad_outer_c": 90.0,
    "bag_inner_kpa": 207.0,
    "bag_outer_kpa": 207.0,
    "estop_ok": 1.0,
}
TAKEN = {
    Lost.PAD: {"pad_inner_c": Reason.OPEN_CIRCUIT},
    Lost.BAG: {"bag_inner_kpa": Reason.OPEN_CIRCUIT},
    Lost.BAGS: dict.fromkeys(("bag_inner_kpa", "bag_outer_kpa"), Reason.OPEN_CIRCUIT),
    Lost.SWITCH: {"estop_ok": Reason.FAILURE},
    Lost.LINK: dict.fromkeys(("pad_inner_c", "pad_outer_c"), Reason.NO_REPLY),
}
LOST_AT_S = 60
LONG_S = {Lost.BAG: 640}
SHORT_S = 60
every_loss = pytest.mark.parametrize(
    ("lost", "phase"), list(LOSSES), ids=lambda item: item.name.lower()
)


def levels(
    lost: Lost, phase: Phase, *, heated: bool = True, mended_at_s: int | None = None
) -> list[Level]:
    """What the hazard says in each second since the loss, a frame a second.

    A `LINK` counts its time from the last answer, a second before the first miss.
    """
    hazard = BY_NAME[LOSSES[lost, phase].hazard]
    limits, memory, said = hazard.limits_type(), hazard.memory_type(), []
    for second in range(LOST_AT_S + LONG_S.get(lost, SHORT_S)):
        t_ns = second * NS_PER_S
        answered_ns = (LOST_AT_S - 1) * NS_PER_S if second >= LOST_AT_S else t_ns
        away = TAKEN[lost] if second >= LOST_AT_S else {}
        if mended_at_s is not None and second >= LOST_AT_S + mended_at_s:
            away = {}
        readings = {
            name: Reading(None, Quality.BAD, away[name], answered_ns if lost is Lost.LINK else t_ns)
            if name in away
            else Reading(value + second % 2 / 10, Quality.GOOD, Reason.NONE, t_ns)
            for name, value in SOUND.items()
        }
        view = view_of(
            Frame(second, t_ns, t_ns, True, "losses", readings),
            RigFacts(),
            t_ns,
            dt_s=1.0 if second else 0.0,
            phase=phase,
            run_open=heated,
            permit_granted=heated,
            watch_only=False,
            pressurised=False,
        )
        memory, finding = hazard.judge(limits, memory, view)
        if second >= LOST_AT_S:
            said.append(finding.level)
        else:
            assert finding.level is Level.CLEAR
    return said


def limit_of(lost: Lost, phase: Phase, name: str) -> int:
    loss = LOSSES[lost, phase]
    seconds = float(getattr(BY_NAME[loss.hazard].limits_type(), name))
    # Older than the limit, not as old; the last answer came a second before the loss.
    return int(seconds)


@every_loss
def test_it_is_told_when_the_table_says_and_not_before(lost, phase):
    at_s = limit_of(lost, phase, LOSSES[lost, phase].told_after)
    said = levels(lost, phase)
    assert said[at_s - 1] is Level.CLEAR
    assert said[at_s] is Level.WARN


@every_loss
def test_heat_goes_when_the_table_says_and_not_before(lost, phase):
    loss = LOSSES[lost, phase]
    said = levels(lost, phase)
    if not loss.heat_after:
        assert set(said[10:]) == {Level.WARN}
        return
    at_s = limit_of(lost, phase, loss.heat_after)
    assert said[at_s - 1] is Level.WARN
    assert said[at_s] is Level.TRIP


@every_loss
def test_without_heat_nothing_trips(lost, phase):
    assert max(levels(lost, phase, heated=False)) is Level.WARN


@every_loss
def test_what_is_mended_in_time_never_takes_heat(lost, phase):
    loss = LOSSES[lost, phase]
    if not loss.heat_after:
        return
    at_s = limit_of(lost, phase, loss.heat_after)
    said = levels(lost, phase, mended_at_s=at_s - 1)
    assert max(said) is Level.WARN
    assert said[-1] is Level.CLEAR


def test_the_page_is_fresh():
    """`sh docs/build.sh` writes it anew."""
    page = Path(__file__).parents[2] / "docs" / "lost-sensors.md"
    assert page.read_text(encoding="utf-8") == losses_page()

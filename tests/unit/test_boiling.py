"""Below which temperature air may be let out: against published tables, and in one place."""

import pytest

from rules.atmosphere import atmosphere_kpa
from rules.boiling import boiling_c, opens_below_c
from rules.facts import RigFacts
from rules.frame import Frame
from rules.hazards.common import hot as is_hot
from rules.phases import Phase, PhaseLimits, Place, Scene, next_row
from rules.signals import Now, Signals
from rules.view import view_of


@pytest.mark.parametrize(
    ("pressure_kpa", "boils_k"),
    [
        (100.0, 372.755919),  # IAPWS R7-97(2012), table 36
        (1000.0, 453.035632),  # IAPWS R7-97(2012), table 36
        (10000.0, 584.149488),  # IAPWS R7-97(2012), table 36
    ],
)
def test_boiling_point_against_the_release(pressure_kpa: float, boils_k: float) -> None:
    assert boiling_c(pressure_kpa) + 273.15 == pytest.approx(boils_k, abs=1e-6)


def test_boiling_point_against_known_figures() -> None:
    assert boiling_c(101.325) == pytest.approx(99.97, abs=0.01)  # IAPWS, normal boiling
    # IAPWS steam tables: about 134.5 C at 207 kPa gauge.
    assert boiling_c(101.325 + 206.84) == pytest.approx(134.5, abs=0.1)


@pytest.mark.parametrize(
    ("altitude_m", "pressure_kpa"),
    [(0, 101.325), (1000, 89.8746), (3000, 70.1085), (5000, 54.0199)],  # ISO 2533, from memory
)
def test_standard_atmosphere(altitude_m: float, pressure_kpa: float) -> None:
    assert atmosphere_kpa(altitude_m) == pytest.approx(pressure_kpa, rel=1e-4)


@pytest.mark.parametrize(
    ("altitude_m", "opens_c"),
    [
        (-430, 100.0),  # the trade's figure, where water boils at 101.4: common practice, no source
        (0, 99.97),  # IAPWS, normal boiling point
        (3000, 90.0),  # water boils at about 90 C there, from memory
        (4000, 86.6),  # about 87 C, from memory
    ],
)
def test_a_rig_in_the_mountains_must_cool_further(altitude_m: float, opens_c: float) -> None:
    assert opens_below_c(altitude_m, 100.0) == pytest.approx(opens_c, abs=0.3)


def test_who_asks_for_less_gets_less() -> None:
    assert opens_below_c(0.0, 70.0) == 70.0


@pytest.mark.parametrize("altitude_m", [0, 2000, 4000])
def test_phases_and_hazards_open_below_one_temperature(altitude_m: float) -> None:
    """A let-down is a let-down, or is told as air lost hot: never both, never neither."""
    limit_c = opens_below_c(altitude_m, 100.0)
    for hottest_c, hot in ((limit_c - 0.01, False), (limit_c, True)):
        place = Place(Phase.COOL_DOWN, settled=True, pressurised=True)
        now = Now(hottest_c, hottest_c, 15.0, 15.0, (hottest_c, None), (15.0, None))
        scene = Scene(
            *(PhaseLimits(), Signals(), now, 0, place),
            *(False, False, False, True, False, altitude_m),
        )
        row = next_row(scene)
        assert (row is not None and row.target is Phase.RELEASE) is not hot
        view = view_of(
            Frame(0, 0, 0, True, "case", {}), RigFacts(site_altitude_m=altitude_m), 0, now=now
        )
        assert is_hot(view, 100.0) is hot

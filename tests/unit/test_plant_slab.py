"""The slab against the exact series, and its own heat balance."""

import numpy as np
import pytest
from scipy.optimize import brentq

from simulator.slab import Face, Slab, SlabSettings

MINUTES = (10, 20, 30, 45, 60, 90)
START_C = 20.0
LENGTH_M = 0.040
ALPHA = 1.1e-7
CONDUCTIVITY = 0.25
SLAB_40 = SlabSettings(thickness_mm=40.0, diffusivity_m2_s=ALPHA, conductivity_w_mk=CONDUCTIVITY)


def exact_between_faces(x_m, t_s, left_c, right_c):
    """Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed., ch. 3: faces held from t = 0."""
    n = np.arange(1, 400)
    steady = left_c + (right_c - left_c) * x_m / LENGTH_M
    terms = (
        (2 / (n * np.pi))
        * ((right_c - START_C) * (-1.0) ** n - (left_c - START_C))
        * np.sin(n * np.pi * x_m / LENGTH_M)
        * np.exp(-ALPHA * (n * np.pi / LENGTH_M) ** 2 * t_s)
    )
    return steady + terms.sum()


def exact_convection_middle(t_s, around_c, h_w_m2k):
    """Incropera & DeWitt, sec. 5.5: plane wall, zeta tan zeta = Bi, midplane."""
    half_m = LENGTH_M / 2
    bi = h_w_m2k * half_m / CONDUCTIVITY
    roots = [
        brentq(lambda z: z * np.sin(z) - bi * np.cos(z), k * np.pi, k * np.pi + np.pi / 2)
        for k in range(60)
    ]
    zeta = np.array(roots)
    weight = 4 * np.sin(zeta) / (2 * zeta + np.sin(2 * zeta))
    decay = (weight * np.exp(-(zeta**2) * ALPHA * t_s / half_m**2)).sum()
    return around_c + (START_C - around_c) * decay


def middles(inner, outer, dt_s=0.25):
    slab = Slab(SLAB_40, START_C)
    found = []
    before_s = 0
    for minute in MINUTES:
        for _ in range(round((minute * 60 - before_s) / dt_s)):
            slab.advance(dt_s, inner, outer)
        before_s = minute * 60
        found.append(slab.middle_c)
    return found


def test_the_reference_series_is_the_published_one():
    # check values of the project, computed elsewhere from the same series
    assert exact_between_faces(0.02, 600, 140, 140) == pytest.approx(39.6134181, abs=1e-6)
    assert exact_between_faces(0.02, 5400, 140, 130) == pytest.approx(131.2475612, abs=1e-6)
    assert exact_convection_middle(1800, 140, 200) == pytest.approx(88.4361716, abs=1e-6)
    # Incropera & DeWitt, table 5.1: Bi 10 -> zeta 1.4289
    assert brentq(lambda z: z * np.tan(z) - 10, 1.0, 1.5) == pytest.approx(1.4289, abs=5e-5)


@pytest.mark.parametrize("faces", [(140.0, 140.0), (140.0, 130.0)])
def test_middle_follows_the_fourier_series(faces):
    exact = [exact_between_faces(LENGTH_M / 2, minute * 60, *faces) for minute in MINUTES]
    assert middles(Face(faces[0]), Face(faces[1])) == pytest.approx(exact, abs=0.1)


def test_middle_follows_the_convection_series():
    exact = [exact_convection_middle(minute * 60, 140.0, 200.0) for minute in MINUTES]
    assert middles(Face(140.0, 200.0), Face(140.0, 200.0)) == pytest.approx(exact, abs=0.1)


def test_every_depth_follows_the_series_from_both_faces():
    slab = Slab(SLAB_40, START_C)
    slab.advance(1800.0, Face(140.0), Face(130.0))
    width_m = LENGTH_M / len(slab.cells_c)
    exact = [
        exact_between_faces((place + 0.5) * width_m, 1800.0, 140.0, 130.0)
        for place in range(len(slab.cells_c))
    ]
    assert slab.cells_c == pytest.approx(exact, abs=0.1)


def test_heat_through_the_faces_is_the_heat_stored():
    slab = Slab(SLAB_40, START_C)
    before_j_m2 = slab.stored_j_m2
    for minute in range(120):
        slab.advance(60.0, Face(140.0, 250.0), Face(40.0 + minute, 15.0))
    assert slab.stored_j_m2 - before_j_m2 == pytest.approx(slab.gained_j_m2, rel=1e-9)


def test_returned_flows_add_up_to_what_was_gained():
    slab = Slab(SLAB_40, START_C)
    flows = [slab.advance(60.0, Face(140.0, 250.0), Face(20.0, 9.0)) for _ in range(30)]
    assert sum(map(sum, flows)) * 60 == pytest.approx(slab.gained_j_m2)
    assert flows[0][0] > 0 > flows[-1][1]


@pytest.mark.parametrize("thickness_mm", [1.0, 20.0, 80.0])
def test_long_steps_stay_between_the_sources(thickness_mm):
    slab = Slab(SlabSettings(thickness_mm=thickness_mm), START_C)
    for _ in range(20):
        slab.advance(5.0, Face(140.0), Face(140.0))
        assert all(START_C - 1e-9 <= cell_c <= 140.0 + 1e-9 for cell_c in slab.cells_c)


@pytest.mark.parametrize("wrong", [{"cells": 30}, {"cells": 29}, {"thickness_mm": 0.0}])
def test_what_cannot_be_computed_is_refused(wrong):
    with pytest.raises(ValueError, match="slab"):
        SlabSettings(**wrong)

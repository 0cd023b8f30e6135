"""The repair's cells against exact series, a library's integrator and steady states."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import erfc

from simulator.network import Network
from simulator.slab import Cells, LayerSettings, Slab, SlabSettings, repair_layers

MINUTES = (10, 20, 30, 45, 60, 90)
START_C = 20.0
LENGTH_M = 0.040
ALPHA = 1.1e-7
CONDUCTIVITY = 0.25
MESH_C = 0.1  # what 31 cells are worth; most of it is 0.07 on the steepest part
HELD = np.inf  # a face held at its source's temperature
SLAB_40 = SlabSettings.plain(
    thickness_mm=40.0, diffusivity_m2_s=ALPHA, conductivity_w_mk=CONDUCTIVITY
)
# Two rubbers a long way apart, and one between.
LAYERED = SlabSettings(
    (
        LayerSettings(8.0, 0.40, 1.6e-7),
        LayerSettings(20.0, 0.20, 0.9e-7),
        LayerSettings(12.0, 0.25, 1.1e-7),
    )
)


class Alone:
    """One column of 1 m² between two faces, each a source behind a conductance."""

    def __init__(self, settings, inner_w_m2k=HELD, outer_w_m2k=HELD, dt_s=1.0):
        self.cells = Cells(settings)
        self.column_c = np.full(self.cells.count, START_C)
        network = Network(self.cells.width_m * self.cells.heat_j_m3k, 2)
        self.cells.join_column(network, 0, 1.0)
        half = self.cells.half_m2k_w
        network.join_source(0, 0, 1 / (1 / inner_w_m2k + half[0]))
        network.join_source(self.cells.count - 1, 1, 1 / (1 / outer_w_m2k + half[-1]))
        self._step = network.step(dt_s)
        self._dt_s = dt_s

    def run(self, seconds, inner_c, outer_c):
        for _ in range(round(seconds / self._dt_s)):
            self.column_c = self._step @ np.append(self.column_c, (inner_c, outer_c))
        return self

    @property
    def middle_c(self):
        return np.interp(self.cells.settings.thickness_mm / 2, self.cells.depth_mm, self.column_c)


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


def middles(alone, inner_c, outer_c):
    found = []
    before_s = 0
    for minute in MINUTES:
        found.append(float(alone.run(minute * 60 - before_s, inner_c, outer_c).middle_c))
        before_s = minute * 60
    return found


def integrated(settings, seconds, inner, outer):
    """The layers by a library: nodes on a fine grid, a stiff integrator, faces as
    (source °C, W/(m² K)); returns depths in mm and temperatures."""
    points = 401
    x_m = np.linspace(0, settings.thickness_mm / 1000, points)
    ends_m = np.cumsum([layer.thickness_mm for layer in settings.layers]) / 1000
    between = np.searchsorted(ends_m, (x_m[1:] + x_m[:-1]) / 2)
    conductivity = np.array([layer.conductivity_w_mk for layer in settings.layers])
    diffusivity = np.array([layer.diffusivity_m2_s for layer in settings.layers])
    gap_m = x_m[1] - x_m[0]
    half_j_m2k = (conductivity / diffusivity)[between] * gap_m / 2
    heat_j_m2k = np.append(half_j_m2k, 0) + np.append(0, half_j_m2k)

    def rates(_t, column_c):
        across = conductivity[between] / gap_m * np.diff(column_c)
        into = inner[1] * (inner[0] - column_c[0])
        out = outer[1] * (outer[0] - column_c[-1])
        return (np.append(across, out) - np.append(-into, across)) / heat_j_m2k

    band = solve_ivp(
        rates,
        (0, seconds),
        np.full(points, START_C),
        method="LSODA",
        lband=1,
        uband=1,
        rtol=1e-7,
        atol=1e-6,
    )
    return x_m * 1000, band.y[:, -1]


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
    assert middles(Alone(SLAB_40), *faces) == pytest.approx(exact, abs=MESH_C)


def test_middle_follows_the_convection_series():
    exact = [exact_convection_middle(minute * 60, 140.0, 200.0) for minute in MINUTES]
    assert middles(Alone(SLAB_40, 200.0, 200.0), 140.0, 140.0) == pytest.approx(exact, abs=MESH_C)


def test_every_depth_follows_the_series_from_both_faces():
    alone = Alone(SLAB_40).run(1800, 140.0, 130.0)
    exact = [
        exact_between_faces(depth_mm / 1000, 1800.0, 140.0, 130.0)
        for depth_mm in alone.cells.depth_mm
    ]
    assert alone.column_c == pytest.approx(exact, abs=MESH_C)


@pytest.mark.parametrize(("seconds", "within_c"), [(60, 1.0), (120, 0.5), (300, 0.2)])
def test_early_on_one_face_is_a_half_space(seconds, within_c):
    alone = Alone(SLAB_40).run(seconds, 140.0, START_C)
    # Carslaw & Jaeger, sec. 2.5; a face stepped at once is the hardest start there is
    depth_m = alone.cells.depth_mm / 1000
    exact = START_C + 120.0 * erfc(depth_m / (2 * np.sqrt(ALPHA * seconds)))
    assert alone.column_c == pytest.approx(exact, abs=within_c)
    assert alone.column_c.max() <= 140.0


@pytest.mark.parametrize("outer_w_m2k", [HELD, 10.0])
def test_layers_settle_where_their_resistances_say(outer_w_m2k):
    alone = Alone(LAYERED, 200.0, outer_w_m2k).run(12 * 3600, 140.0, 20.0)
    # steady series resistances, any textbook: 1/200 + L/k of each layer + 1/h
    layers_m2k_w = [0.008 / 0.40, 0.020 / 0.20, 0.012 / 0.25]
    whole_m2k_w = 1 / 200 + sum(layers_m2k_w) + 1 / outer_w_m2k
    flow_w_m2 = 120.0 / whole_m2k_w
    first_c = 140.0 - flow_w_m2 * (1 / 200 + layers_m2k_w[0])
    second_c = first_c - flow_w_m2 * layers_m2k_w[1]
    depth_mm = alone.cells.depth_mm
    exact = np.interp(
        depth_mm,
        [0, 8, 28, 40],
        [140 - flow_w_m2 / 200, first_c, second_c, second_c - flow_w_m2 * layers_m2k_w[2]],
    )
    assert alone.column_c == pytest.approx(exact, abs=MESH_C)


@pytest.mark.parametrize(
    ("settings", "inner", "outer"),
    [
        (LAYERED, (140.0, 250.0), (130.0, 250.0)),
        (LAYERED, (140.0, 250.0), (20.0, 10.0)),
        (SlabSettings.repair(thickness_mm=50.0), (140.0, 250.0), (140.0, 15.0)),
    ],
)
def test_layers_warm_as_a_library_integrates_them(settings, inner, outer):
    alone = Alone(settings, inner[1], outer[1]).run(1800, inner[0], outer[0])
    x_mm, fine_c = integrated(settings, 1800, inner, outer)
    assert alone.column_c == pytest.approx(np.interp(alone.cells.depth_mm, x_mm, fine_c), abs=0.1)


# check values of the project, by explicit differences of 161 nodes: L mm, hottest °C when the
# faces reach 100 °C, and how many minutes more until the hottest depth is at 100 °C
@pytest.mark.parametrize(
    ("thickness_mm", "core_c", "more_min"),
    [(40.0, 129.90, 28.96), (60.0, 137.41, 57.10), (80.0, 139.48, 91.11)],
)
def test_passive_cooling_leaves_the_core_hot(thickness_mm, core_c, more_min):
    alone = Alone(SlabSettings.plain(thickness_mm=thickness_mm, diffusivity_m2_s=ALPHA))
    alone.column_c[:] = 140.0
    at_s = 0.0
    faces_at_100_s = 3600 * np.log(120 / 80)
    core_found_c = None
    while alone.column_c.max() > 100.0:
        face_c = 20 + 120 * np.exp(-(at_s + 0.5) / 3600)
        alone.run(1, face_c, face_c)
        at_s += 1.0
        if core_found_c is None and at_s >= faces_at_100_s:
            core_found_c = alone.column_c.max()
    assert core_found_c == pytest.approx(core_c, abs=0.05)
    assert (at_s - faces_at_100_s) / 60 == pytest.approx(more_min, abs=0.15)


@pytest.mark.parametrize("thickness_mm", [5.0, 20.0, 80.0])
def test_cells_never_overshoot_their_sources_at_the_step_of_the_plant(thickness_mm):
    alone = Alone(SlabSettings.plain(thickness_mm=thickness_mm))
    for _ in range(60):
        alone.run(1, 140.0, 140.0)
        assert alone.column_c.min() >= START_C - 1e-9
        assert alone.column_c.max() <= 140.0 + 1e-9


@pytest.mark.parametrize("settings", [SLAB_40, LAYERED, SlabSettings.repair(thickness_mm=20.0)])
def test_layers_are_cut_whole(settings):
    cells = Cells(settings)
    assert cells.width_m.sum() * 1000 == pytest.approx(settings.thickness_mm)
    in_layers = sum(
        layer.thickness_mm / 1000 * layer.conductivity_w_mk / layer.diffusivity_m2_s
        for layer in settings.layers
    )
    assert (cells.width_m * cells.heat_j_m3k).sum() == pytest.approx(in_layers)
    assert 25 <= cells.count <= 45
    assert np.diff(cells.depth_mm).min() > 0


def test_only_layers_that_cure_are_marked():
    old = LayerSettings(10.0, cures=False)
    cells = Cells(SlabSettings((old, *repair_layers(30.0))))
    assert np.array_equal(cells.cures, cells.depth_mm > 10.0)


def test_middle_is_read_between_cells():
    slab = Slab(SlabSettings.repair(thickness_mm=50.0), START_C)
    slab.cells_c = np.concatenate((slab.depth_mm * 2, slab.depth_mm * 3))
    assert slab.middle_c == pytest.approx(50.0)
    assert slab.edge_c[0] == pytest.approx(1.5 * slab.centre_c[0])
    assert slab.hottest_c == slab.edge_c[-1]
    assert slab.coldest_c == slab.centre_c[0]


def test_stored_heat_is_mass_times_heat_times_degrees():
    settings = SlabSettings.plain(thickness_mm=50.0)
    slab = Slab(settings, 100.0)
    # 0.30 m² of 50 mm at k / alpha = 0.25 / 1.1e-7 J/(m³ K), and the tyre around
    rubber_j_k = 0.30 * 0.050 * 0.25 / 1.1e-7
    assert slab.stored_j == pytest.approx(100.0 * (rubber_j_k + settings.tyre_heat_j_k))


def test_another_tyre_is_cold_and_its_heat_is_counted():
    slab = Slab(SlabSettings(), 90.0)
    before_j = slab.stored_j
    slab.renew(10.0)
    assert (slab.hottest_c, slab.coldest_c, slab.tyre_c) == (10.0, 10.0, 10.0)
    assert slab.brought_j == pytest.approx(slab.stored_j - before_j)
    assert slab.brought_j < 0


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: SlabSettings(()),
        lambda: SlabSettings.plain(thickness_mm=4.0),
        lambda: LayerSettings(0.2),
        lambda: LayerSettings(5.0, conductivity_w_mk=0.0),
        lambda: LayerSettings(5.0, diffusivity_m2_s=-1e-7),
        lambda: SlabSettings.repair(thickness_mm=7.0),
    ],
)
def test_what_cannot_be_computed_is_refused(wrong):
    with pytest.raises(ValueError, match="slab"):
        wrong()

"""The repair between the pads: layers, a centre and an edge column, and the tyre around.

Conduction by finite volumes: each column goes through all layers, heat passes
between the columns and from the edge column into the tyre around, depth by
depth. The edge column lies under the pads' rim: pads that overlap the repair as
they should have none of it there, scant ones have. The tyre around is one lump
that warms slowly and loses to air.
Heat released by the cure reaction is left out.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from simulator.network import Network

CELLS_ABOUT = 31
CELL_MM_MIN = 0.5
THICKNESS_MM_MIN = 5.0

Row = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LayerSettings:
    """One layer of the repair; rubber's figures from memory.

    Attributes:
        thickness_mm: mm.
        conductivity_w_mk: W/(m K).
        diffusivity_m2_s: m²/s; 0.9 to 1.6e-7 is plausible.
        cures: its cure counts; old sidewall was cured long ago.
    """

    thickness_mm: float
    conductivity_w_mk: float = 0.25
    diffusivity_m2_s: float = 1.1e-7
    cures: bool = True

    def __post_init__(self) -> None:
        """Refuse what cannot be computed.

        Raises:
            ValueError: a figure is out of range.
        """
        if self.thickness_mm < CELL_MM_MIN:
            raise ValueError(f"slab: a layer of {self.thickness_mm} mm; use {CELL_MM_MIN} mm or up")
        if min(self.conductivity_w_mk, self.diffusivity_m2_s) <= 0:
            raise ValueError(f"slab: conductivity and diffusivity must be above 0: {self}")


def repair_layers(thickness_mm: float) -> tuple[LayerSettings, ...]:
    """A usual build, inside first: cover, two plies with rubber between, filling.

    Args:
        thickness_mm: of all layers together, mm, above 9.
    """
    ply = LayerSettings(1.5, conductivity_w_mk=0.32, diffusivity_m2_s=1.5e-7)
    inside = (LayerSettings(3.0), ply, LayerSettings(1.0), ply)
    return (*inside, LayerSettings(thickness_mm - sum(layer.thickness_mm for layer in inside)))


@dataclass(frozen=True, slots=True)
class SlabSettings:
    """What the repair is made of and how it lies; figures invented, of a plausible size.

    Attributes:
        layers: inner face first.
        contact_w_m2k: pad to rubber, pressed fully, W/(m² K).
        loose_contact_w_m2k: pad to rubber without pressure.
        gap_w_m2k: what still passes where an air pocket keeps the pad off.
        pressed_fully_kpa: from here more pressure makes no better contact.
        bare_w_m2k: a bare face to still air.
        between_perimeter_m: around the centre column.
        between_path_mm: of rubber from the centre column to the edge column.
        edge_perimeter_m: around the edge column.
        edge_path_mm: of rubber from the edge column to the tyre around; long
            because the tyre is not cold right beside the pads.
        tyre_heat_j_k: of the tyre around as far as it warms, J/K.
        tyre_loss_w_k: from it to still air, W/K.
    """

    layers: tuple[LayerSettings, ...] = repair_layers(50.0)
    contact_w_m2k: float = 250.0
    loose_contact_w_m2k: float = 15.0
    gap_w_m2k: float = 6.0
    pressed_fully_kpa: float = 100.0
    bare_w_m2k: float = 9.0
    between_perimeter_m: float = 1.8
    between_path_mm: float = 100.0
    edge_perimeter_m: float = 2.2
    edge_path_mm: float = 100.0
    tyre_heat_j_k: float = 45_000.0
    tyre_loss_w_k: float = 7.0

    def __post_init__(self) -> None:
        """Refuse what cannot be computed.

        Raises:
            ValueError: the layers together are too thin, or there are none.
        """
        if self.thickness_mm < THICKNESS_MM_MIN:
            raise ValueError(
                f"slab: layers of {self.thickness_mm} mm in all; use {THICKNESS_MM_MIN} mm or up"
            )

    @classmethod
    def plain(
        cls,
        *,
        thickness_mm: float = 50.0,
        conductivity_w_mk: float = 0.25,
        diffusivity_m2_s: float = 1.1e-7,
    ) -> "SlabSettings":
        """One layer of one rubber."""
        return cls((LayerSettings(thickness_mm, conductivity_w_mk, diffusivity_m2_s),))

    @classmethod
    def repair(cls, *, thickness_mm: float) -> "SlabSettings":
        """The usual layers, with as much filling as the thickness asks for."""
        return cls(repair_layers(thickness_mm))

    @property
    def thickness_mm(self) -> float:
        """Of all layers together, mm."""
        return sum(layer.thickness_mm for layer in self.layers)


class Cells:
    """How the layers are cut into cells, and what one cell is like; inner face first.

    Attributes:
        width_m: shape (n,), m.
        conductivity_w_mk: shape (n,), W/(m K).
        heat_j_m3k: shape (n,), J/(m³ K).
        cures: shape (n,).
    """

    def __init__(self, settings: SlabSettings) -> None:
        """Cut each layer evenly, all into cells of about the same width."""
        self.settings = settings
        about_mm = max(CELL_MM_MIN, settings.thickness_mm / CELLS_ABOUT)
        counts = [max(1, round(layer.thickness_mm / about_mm)) for layer in settings.layers]
        layers = settings.layers

        def spread(values: list[float]) -> Row:
            return np.repeat(np.array(values, dtype=float), counts)

        self.width_m = spread(
            [layer.thickness_mm / 1000 / n for layer, n in zip(layers, counts, strict=True)]
        )
        self.conductivity_w_mk = spread([layer.conductivity_w_mk for layer in layers])
        self.heat_j_m3k = spread(
            [layer.conductivity_w_mk / layer.diffusivity_m2_s for layer in layers]
        )
        self.cures = spread([layer.cures for layer in layers]) > 0

    @property
    def count(self) -> int:
        """Cells in one column."""
        return self.width_m.size

    @cached_property
    def depth_mm(self) -> Row:
        """Of each cell's middle below the inner face, shape (n,), mm."""
        return (np.cumsum(self.width_m) - self.width_m / 2) * 1000

    @property
    def half_m2k_w(self) -> Row:
        """Resistance from each cell's middle to its edge, shape (n,), m² K/W."""
        return self.width_m / 2 / self.conductivity_w_mk

    def join_column(self, network: Network, first: int, area_m2: float) -> None:
        """Join the cells of one column, `first` at the inner face, each to the next."""
        here = first + np.arange(self.count - 1)
        half_m2k_w = self.half_m2k_w
        network.join(here, here + 1, area_m2 / (half_m2k_w[:-1] + half_m2k_w[1:]))

    def join_sideways(self, network: Network, centre: int, edge: int, tyre: int) -> None:
        """Join centre to edge column and edge column to tyre; first nodes of each."""
        size = self.settings
        place = np.arange(self.count)
        across_w_m_k = self.conductivity_w_mk * self.width_m
        between_m = size.between_perimeter_m / (size.between_path_mm / 1000)
        edge_m = size.edge_perimeter_m / (size.edge_path_mm / 1000)
        network.join(centre + place, edge + place, across_w_m_k * between_m)
        network.join(edge + place, tyre, across_w_m_k * edge_m)


class Slab:
    """Temperatures of the repair and of the tyre around it.

    Attributes:
        settings: what it is made of.
        cells: how it is cut.
        cells_c: centre column, then edge column, shape (2 n,), °C; replaced at
            each step, never changed in place.
        tyre_c: the tyre around, °C.
        brought_j: heat that came with new tyres, less what went with the old, J.
    """

    def __init__(
        self,
        settings: SlabSettings,
        start_c: float,
        *,
        area_m2: float = 0.30,
        edge_area_share: float = 0.33,
    ) -> None:
        """All at one temperature.

        Args:
            settings: what it is made of.
            start_c: °C.
            area_m2: under the pads, of both columns together, m².
            edge_area_share: of it under the edge column.
        """
        self.settings = settings
        self.cells = Cells(settings)
        self.centre_m2 = area_m2 * (1 - edge_area_share)
        self.edge_m2 = area_m2 * edge_area_share
        self.cells_c = np.full(2 * self.cells.count, start_c)
        self.tyre_c = start_c
        self.brought_j = 0.0
        middle_mm = settings.thickness_mm / 2
        after = int(np.searchsorted(self.cells.depth_mm, middle_mm - 1e-9))
        before_mm, after_mm = self.cells.depth_mm[after - 1 : after + 1]
        self._middle = after
        self._middle_share = float((middle_mm - before_mm) / (after_mm - before_mm))

    @property
    def depth_mm(self) -> Row:
        """Of each cell's middle below the inner face, shape (n,), mm."""
        return self.cells.depth_mm

    @property
    def centre_c(self) -> Row:
        """Centre column, inner face first, shape (n,), °C."""
        return self.cells_c[: self.cells_c.size // 2]

    @property
    def edge_c(self) -> Row:
        """Edge column, inner face first, shape (n,), °C."""
        return self.cells_c[self.cells_c.size // 2 :]

    @property
    def middle_c(self) -> float:
        """Half way through the centre column, °C."""
        before_c, after_c = self.cells_c[self._middle - 1 : self._middle + 1].tolist()
        return float(before_c + (after_c - before_c) * self._middle_share)

    @property
    def hottest_c(self) -> float:
        """The hottest spot of both columns, °C."""
        return float(self.cells_c.max())

    @property
    def coldest_c(self) -> float:
        """The coldest spot of both columns, °C."""
        return float(self.cells_c.min())

    @property
    def stored_j(self) -> float:
        """Heat held above 0 °C by the repair and the tyre around, J."""
        column_j_m2k = self.cells.width_m * self.cells.heat_j_m3k
        columns_c = self.centre_m2 * self.centre_c + self.edge_m2 * self.edge_c
        return float(column_j_m2k @ columns_c) + self.settings.tyre_heat_j_k * self.tyre_c

    def renew(self, start_c: float) -> None:
        """Another tyre, at `start_c` throughout, °C."""
        before_j = self.stored_j
        self.cells_c = np.full_like(self.cells_c, start_c)
        self.tyre_c = start_c
        self.brought_j += self.stored_j - before_j

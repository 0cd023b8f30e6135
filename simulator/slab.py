"""The repair between the pads: conduction in one dimension by finite volumes.

Cell-centred, explicit in time, split into stable sub-steps. A boundary is a
source temperature behind a conductance, so a pad under pressure, a pad lying
loosely and bare rubber in moving air are the same sum with other figures. What
crosses the boundary is counted, so pad and slab share one heat balance.

One dimension only: the edges of the pads are warmer here than in a real tyre.
Heat released by the cure reaction is left out.
"""

from dataclasses import dataclass
from math import ceil, inf

import numpy as np
from numpy.typing import NDArray

CELLS_MIN = 31
# The explicit scheme's first cell is the stiffest: 3 alpha dt / dx^2 <= 1.
STABLE_SHARE = 0.9


@dataclass(frozen=True, slots=True)
class LayerSettings:
    """One layer of the repair.

    Attributes:
        thickness_mm: mm.
        conductivity_w_mk: W/(m K).
        diffusivity_m2_s: m²/s.
        cures: its cure counts.
    """

    thickness_mm: float
    conductivity_w_mk: float = 0.25
    diffusivity_m2_s: float = 1.1e-7
    cures: bool = True


@dataclass(frozen=True, slots=True)
class SlabSettings:
    """What the repair is made of.

    Attributes:
        thickness_mm: between the pad faces, mm.
        conductivity_w_mk: W/(m K); rubber, from memory.
        diffusivity_m2_s: m²/s; rubber, from memory, 0.9 to 1.6e-7 is plausible.
        cells: odd, so that one cell's centre lies on the midplane.
    """

    thickness_mm: float = 50.0
    conductivity_w_mk: float = 0.25
    diffusivity_m2_s: float = 1.1e-7
    cells: int = CELLS_MIN

    @classmethod
    def plain(
        cls,
        *,
        thickness_mm: float = 50.0,
        conductivity_w_mk: float = 0.25,
        diffusivity_m2_s: float = 1.1e-7,
    ) -> "SlabSettings":
        """One plain layer."""
        return cls(thickness_mm, conductivity_w_mk, diffusivity_m2_s)

    def __post_init__(self) -> None:
        """Refuse what cannot be computed.

        Raises:
            ValueError: a figure is not above 0, or cells is even or too few.
        """
        if min(self.thickness_mm, self.conductivity_w_mk, self.diffusivity_m2_s) <= 0:
            raise ValueError(f"slab: thickness, conductivity, diffusivity must be above 0: {self}")
        if self.cells < CELLS_MIN or self.cells % 2 == 0:
            raise ValueError(f"slab: cells = {self.cells}; use an odd number from {CELLS_MIN}")


@dataclass(frozen=True, slots=True)
class Face:
    """What one face of the slab looks at.

    Attributes:
        source_c: temperature behind the conductance, °C.
        conductance_w_m2k: W/(m² K); `inf` puts the face itself at the source's
            temperature.
    """

    source_c: float
    conductance_w_m2k: float = inf


class Slab:
    """Temperatures through the repair, inner face first.

    Attributes:
        cells_c: cell temperatures, length `settings.cells`, °C.
        gained_j_m2: heat taken up through both faces since the start, J/m².
    """

    def __init__(self, settings: SlabSettings, start_c: float) -> None:
        self.settings = settings
        self.cells_c = [start_c] * settings.cells
        self.gained_j_m2 = 0.0
        self._width_m = settings.thickness_mm / 1000 / settings.cells
        self._heat_j_m2k = settings.conductivity_w_mk / settings.diffusivity_m2_s * self._width_m
        self._dt_s_max = STABLE_SHARE * self._width_m**2 / (3 * settings.diffusivity_m2_s)

    @property
    def depth_mm(self) -> NDArray[np.float64]:
        """Depth of each cell from the inner face, shape (n,), mm."""
        return (np.arange(self.settings.cells) + 0.5) * self._width_m * 1000

    @property
    def centre_c(self) -> NDArray[np.float64]:
        """Centre column, shape (n,), °C."""
        return np.array(self.cells_c)

    @property
    def edge_c(self) -> NDArray[np.float64]:
        """Edge column, shape (n,), °C."""
        return np.array(self.cells_c)

    @property
    def hottest_c(self) -> float:
        """Hottest cell, °C."""
        return max(self.cells_c)

    @property
    def coldest_c(self) -> float:
        """Coldest cell, °C."""
        return min(self.cells_c)

    def renew(self, start_c: float) -> None:
        """Another tyre, as cold throughout as `start_c`."""
        self.cells_c = [start_c] * self.settings.cells

    @property
    def middle_c(self) -> float:
        """Temperature at the midplane, °C."""
        return self.cells_c[len(self.cells_c) // 2]

    @property
    def stored_j_m2(self) -> float:
        """Heat held above 0 °C, J/m²."""
        return self._heat_j_m2k * sum(self.cells_c)

    def advance(self, dt_s: float, inner: Face, outer: Face) -> tuple[float, float]:
        """Conduct for `dt_s` with both faces' surroundings held.

        Args:
            dt_s: step, s.
            inner: what the inner face looks at.
            outer: what the outer face looks at.

        Returns:
            Mean heat flow into the slab through the inner and the outer face, W/m².
        """
        steps = max(1, ceil(dt_s / self._dt_s_max))
        step_s = dt_s / steps
        inner_j_m2 = outer_j_m2 = 0.0
        for _ in range(steps):
            inner_w_m2 = self._into(inner, self.cells_c[0])
            outer_w_m2 = self._into(outer, self.cells_c[-1])
            self._step(step_s, inner_w_m2, outer_w_m2)
            inner_j_m2 += inner_w_m2 * step_s
            outer_j_m2 += outer_w_m2 * step_s
        self.gained_j_m2 += inner_j_m2 + outer_j_m2
        return inner_j_m2 / dt_s, outer_j_m2 / dt_s

    def _into(self, face: Face, cell_c: float) -> float:
        half_cell_m2k_w = self._width_m / 2 / self.settings.conductivity_w_mk
        if face.conductance_w_m2k <= 0:
            return 0.0
        return (face.source_c - cell_c) / (1 / face.conductance_w_m2k + half_cell_m2k_w)

    def _step(self, step_s: float, inner_w_m2: float, outer_w_m2: float) -> None:
        cells = self.cells_c
        # Fourier number of a cell, and degrees per W/m² of face flow.
        fo = self.settings.diffusivity_m2_s * step_s / self._width_m**2
        per_flow = step_s / self._heat_j_m2k
        first = cells[0] + per_flow * inner_w_m2 + fo * (cells[1] - cells[0])
        last = cells[-1] + per_flow * outer_w_m2 + fo * (cells[-2] - cells[-1])
        middle = [
            here + fo * (before - 2 * here + after)
            for before, here, after in zip(cells, cells[1:], cells[2:], strict=False)
        ]
        self.cells_c = [first, *middle, last]

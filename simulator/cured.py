"""The hidden truth of cure: minutes' worth at reference, at every depth of both columns.

Arrhenius, summed from the true temperatures. Kept by the plant to judge with,
and never on the wire. Heat released by the reaction is left out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

ZERO_C_K = 273.15
GAS_J_MOL_K = 8.314462618  # CODATA 2018
# Summed this often, from the mean temperature in between.
EVERY_S = 5.0
SLACK_S = 1e-6

Row = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CompoundSettings:
    """The rubber; invented within what is published (activation energies 79 to 155 kJ/mol).

    Attributes:
        reference_c: at which a minute is worth a minute, °C.
        activation_energy_kj_mol: kJ/mol.
    """

    reference_c: float = 140.0
    activation_energy_kj_mol: float = 90.0


class Cured:
    """Equivalent minutes earned.

    Attributes:
        settings: the compound.
    """

    def __init__(self, settings: CompoundSettings, cures: NDArray[np.bool_]) -> None:
        """Begin with nothing earned.

        Args:
            settings: the compound.
            cures: by depth, shape (n,), whether its layer cures.
        """
        self.settings = settings
        self._cures = cures
        self._counts = np.tile(cures, 2)
        self._earned_min = np.zeros(2 * cures.size)
        self._passed: list[tuple[float, Row, Row]] = []
        self._since_s = 0.0

    @property
    def centre_min(self) -> Row:
        """Centre column, shape (n,), minutes; 0 where the layer does not cure."""
        return self._earned_min[: self._cures.size]

    @property
    def edge_min(self) -> Row:
        """Edge column, shape (n,), minutes; 0 where the layer does not cure."""
        return self._earned_min[self._cures.size :]

    @property
    def least_min(self) -> float:
        """The least cured spot of the centre column's layers that cure, minutes."""
        return float(self.centre_min[self._cures].min())

    @property
    def most_min(self) -> float:
        """The most cured spot of the centre column's layers that cure, minutes."""
        return float(self.centre_min[self._cures].max())

    @property
    def edge_least_min(self) -> float:
        """The least cured spot under the pads' rim, minutes.

        Pads that overlap the repair as they should have none of it there.
        """
        return float(self.edge_min[self._cures].min())

    def renew(self) -> None:
        """Another tyre: nothing earned yet."""
        self._earned_min = np.zeros_like(self._earned_min)
        self._passed = []
        self._since_s = 0.0

    def advance(self, dt_s: float, centre_c: Row, edge_c: Row) -> None:
        """Count one step; earn whenever `EVERY_S` have gone by.

        Args:
            dt_s: step, s.
            centre_c: by depth, shape (n,), °C; kept until earned, so not to be
                changed in place.
            edge_c: the same of the edge column.
        """
        self._passed.append((dt_s, centre_c, edge_c))
        self._since_s += dt_s
        if self._since_s >= EVERY_S - SLACK_S:
            self._earn()

    def _earn(self) -> None:
        compound = self.settings
        steps_s = np.array([dt_s for dt_s, _, _ in self._passed])
        rows = [row for _, centre_c, edge_c in self._passed for row in (centre_c, edge_c)]
        sum_c_s = steps_s @ np.concatenate(rows).reshape(steps_s.size, -1)
        mean_k = sum_c_s / self._since_s + ZERO_C_K
        colder_1_k = 1 / mean_k - 1 / (compound.reference_c + ZERO_C_K)
        rate = np.exp(-1000 * compound.activation_energy_kj_mol / GAS_J_MOL_K * colder_1_k)
        self._earned_min = self._earned_min + rate * self._counts * (self._since_s / 60)
        self._passed = []
        self._since_s = 0.0

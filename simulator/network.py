"""Heat capacities joined by conductances, moved by the trapezoidal rule.

What lies outside is a source: a temperature behind a conductance, or watts fed
in. For one step length the whole network is one matrix, from the temperatures
and sources before to the temperatures after.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Matrix = NDArray[np.float64]
Nodes = int | NDArray[np.int_]


class Network:
    """Nodes by number and sources by number, each from 0."""

    def __init__(self, heat_j_k: ArrayLike, sources: int) -> None:
        """Begin with nothing joined.

        Args:
            heat_j_k: of the nodes, shape (n,), J/K, above 0.
            sources: how many.
        """
        self._heat_j_k = np.asarray(heat_j_k, dtype=float)
        nodes = self._heat_j_k.size
        self._between_w_k = np.zeros((nodes, nodes))
        self._outside_w_k = np.zeros(nodes)
        # Watts into each node per unit of each source.
        self._from_sources = np.zeros((nodes, sources))

    def join(self, one: Nodes, other: Nodes, conductance_w_k: ArrayLike) -> None:
        """Let heat pass between nodes, pair by pair; no pair twice in one call."""
        self._between_w_k[one, other] += conductance_w_k
        self._between_w_k[other, one] += conductance_w_k

    def join_source(self, node: int, source: int, conductance_w_k: float) -> None:
        """Let heat pass between a node and a source that is a temperature, °C."""
        self._from_sources[node, source] += conductance_w_k
        self._outside_w_k[node] += conductance_w_k

    def feed(self, node: int, source: int, share: float) -> None:
        """Let a share of a source that is heat, W, flow into a node."""
        self._from_sources[node, source] += share

    def step(self, dt_s: float) -> Matrix:
        """The matrix that moves the network by `dt_s` with its sources held.

        Args:
            dt_s: step, s, above 0. Far above the smallest node's time constant
                the trapezoidal rule stays stable but rings.

        Returns:
            Shape (n, n + sources): temperatures after = matrix @ (before, sources).
        """
        away_w_k = self._between_w_k.sum(axis=1) + self._outside_w_k
        half = (self._between_w_k - np.diag(away_w_k)) / 2
        held = np.diag(self._heat_j_k / dt_s)
        known = np.hstack((held + half, self._from_sources))
        return np.ascontiguousarray(np.linalg.solve(held - half, known))

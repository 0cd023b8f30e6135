"""Heat capacities joined by conductances, moved by the trapezoidal rule.

What lies outside is a source: a temperature behind a conductance, or watts fed
in. For one step length the whole network is one matrix, from the temperatures
and sources before to the temperatures after.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Matrix = NDArray[np.float64]


class Network:
    """Nodes by number and sources by number, each from 0."""

    def __init__(self, heat_j_k: ArrayLike, sources: int) -> None:
        """Begin with nothing joined.

        Args:
            heat_j_k: of the nodes, shape (n,), J/K, above 0.
            sources: how many.
        """
        self._heat_j_k = np.asarray(heat_j_k, dtype=float)
        # Watts into each node, per degree of each node and per unit of each source.
        self._into = np.zeros((self._heat_j_k.size, self._heat_j_k.size + sources))

    def join(self, one: ArrayLike, other: ArrayLike, conductance_w_k: ArrayLike) -> None:
        """Let heat pass between nodes, pair by pair; the arguments broadcast."""
        pairs = np.broadcast_arrays(one, other, conductance_w_k)
        for here, there in ((pairs[0], pairs[1]), (pairs[1], pairs[0])):
            np.add.at(self._into, (here, there), pairs[2])
            np.subtract.at(self._into, (here, here), pairs[2])

    def join_source(self, node: int, source: int, conductance_w_k: float) -> None:
        """Let heat pass between a node and a source that is a temperature, °C."""
        self._into[node, self._heat_j_k.size + source] += conductance_w_k
        self._into[node, node] -= conductance_w_k

    def feed(self, node: int, source: int, share: float) -> None:
        """Let a share of a source that is heat, W, flow into a node."""
        self._into[node, self._heat_j_k.size + source] += share

    def step(self, dt_s: float) -> Matrix:
        """The matrix that moves the network by `dt_s` with its sources held.

        Args:
            dt_s: step, s, above 0. Far above the smallest node's time constant
                the trapezoidal rule stays stable but rings.

        Returns:
            Shape (n, n + sources): temperatures after = matrix @ (before, sources).
        """
        nodes = self._heat_j_k.size
        held = np.diag(self._heat_j_k / dt_s)
        half = self._into[:, :nodes] / 2
        known = np.hstack((held + half, self._into[:, nodes:]))
        return np.ascontiguousarray(np.linalg.solve(held - half, known))

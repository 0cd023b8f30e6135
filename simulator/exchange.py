"""How the parts of one rig exchange heat: its network of nodes, by how they touch.

Conductances that change in use go in notches of 2 %, so that the same few
hundred matrices serve every rig, snapshot and fork.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import exp, log

import numpy as np
from numpy.typing import NDArray

from simulator.network import Network
from simulator.pads import PadSettings
from simulator.slab import Cells, SlabSettings

NOTCH = 0.02
OPERATORS_MAX = 512  # of some 50 kB each; one repair's air up and let down take some 250

# Nodes ahead of the repair's cells: (centre, edge) of both pads, both clamp halves, the tyre.
PADS = ((0, 1), (2, 3))
CLAMPS = (4, 5)
TYRE = 6
FIRST_CELL = 7
# Sources: the air, heat of (centre, edge) of both pads, sunshine.
AIR = 0
HEATERS = ((1, 2), (3, 4))
SUN = 5
SOURCES = 6


@dataclass(frozen=True, slots=True)
class ClampSettings:
    """The pinned clamp: one half behind each pad, the bag between; invented figures.

    Attributes:
        heat_capacity_j_k: of one half: some 40 kg of steel, J/K.
        loss_w_k: of one half to still air, W/K.
        sun_area_m2: of the outer side, turned to the sun, less what it throws back.
        sun_pad_share: of that sunshine, what lands on the outer pad's back.
    """

    heat_capacity_j_k: float = 19_000.0
    loss_w_k: float = 6.0
    sun_area_m2: float = 0.25
    sun_pad_share: float = 0.3


@dataclass(frozen=True, slots=True)
class Touch:
    """How the parts touch, in notches.

    Attributes:
        inner: contact of the inner pad with the rubber.
        outer: contact of the outer pad; both None: the pads are off the tyre.
        draught: factor on every loss to air.
    """

    inner: int | None
    outer: int | None
    draught: int


@dataclass(frozen=True, slots=True, eq=False)
class Operator:
    """One step as matrices.

    Attributes:
        step: shape (nodes, nodes + SOURCES), from before and sources to after.
        flows: shape (3, nodes): W per degree of the mean temperatures, lost to air
            and given by the inner and the outer pad to the repair.
        lost_w_k: all conductances to air together, W/K.
    """

    step: NDArray[np.float64]
    flows: NDArray[np.float64]
    lost_w_k: float


def notch(value: float) -> int:
    """The nearest notch of a conductance or factor above 0."""
    return round(log(value) / NOTCH)


@lru_cache(maxsize=OPERATORS_MAX)
def operator(
    pad: PadSettings, slab: SlabSettings, clamp: ClampSettings, touch: Touch, dt_s: float
) -> Operator:
    """Build one step's matrices.

    Args:
        pad: both pads.
        slab: the repair.
        clamp: the clamp.
        touch: how they touch.
        dt_s: step, s.
    """
    parts = _Parts(pad, slab, clamp, touch)
    cells = parts.cells
    nodes = FIRST_CELL + 2 * cells.count
    network = Network(parts.heat_j_k(), SOURCES)
    flows = np.zeros((3, nodes))
    for column, area_m2 in zip(parts.columns, parts.areas_m2, strict=True):
        cells.join_column(network, column, area_m2)
    cells.join_sideways(network, *parts.columns, TYRE)
    for side, pad_node, cell, conductance_w_k in parts.contacts():
        network.join(pad_node, cell, conductance_w_k)
        flows[1 + side, pad_node] += conductance_w_k
        flows[1 + side, cell] -= conductance_w_k
    parts.join_pads(network)
    for node, conductance_w_k in parts.losses():
        network.join_source(node, AIR, conductance_w_k)
        flows[0, node] += conductance_w_k
    return Operator(network.step(dt_s), flows, float(flows[0].sum()))


class _Parts:
    """The list of what there is and how it touches."""

    def __init__(
        self, pad: PadSettings, slab: SlabSettings, clamp: ClampSettings, touch: Touch
    ) -> None:
        self.pad = pad
        self.slab = slab
        self.clamp = clamp
        self.cells = Cells(slab)
        self.draught = exp(touch.draught * NOTCH)
        self.contact_w_m2k = [
            None if place is None else exp(place * NOTCH) for place in (touch.inner, touch.outer)
        ]
        self.columns = (FIRST_CELL, FIRST_CELL + self.cells.count)
        self.zone_shares = (1 - pad.edge_area_share, pad.edge_area_share)
        self.areas_m2 = tuple(share * pad.area_m2 for share in self.zone_shares)

    def heat_j_k(self) -> NDArray[np.float64]:
        pad_j_k = [share * self.pad.heat_capacity_j_k for share in self.zone_shares]
        clamp_j_k = self.clamp.heat_capacity_j_k
        ahead = [*pad_j_k, *pad_j_k, clamp_j_k, clamp_j_k, self.slab.tyre_heat_j_k]
        column_j_m2k = self.cells.heat_j_m3k * self.cells.width_m
        return np.concatenate([ahead, *(column_j_m2k * area for area in self.areas_m2)])

    def faces(self, side: int) -> Iterator[tuple[int, int, float, float]]:
        """Pad's node, face cell, area and resistance from the face to that cell's middle."""
        last = -1 if side else 0
        for zone, column, area_m2 in zip(PADS[side], self.columns, self.areas_m2, strict=True):
            cell = column + (self.cells.count - 1 if side else 0)
            yield zone, cell, area_m2, float(self.cells.half_m2k_w[last])

    def contacts(self) -> Iterator[tuple[int, int, int, float]]:
        """Side, pad's node, face cell and conductance of each contact there is."""
        for side, contact_w_m2k in enumerate(self.contact_w_m2k):
            if contact_w_m2k is not None:
                for zone, cell, area_m2, half_m2k_w in self.faces(side):
                    yield side, zone, cell, area_m2 / (1 / contact_w_m2k + half_m2k_w)

    def join_pads(self, network: Network) -> None:
        """Zones to each other, heaters and sun into them, backs to the clamp."""
        pad, clamp = self.pad, self.clamp
        for side, zones in enumerate(PADS):
            network.join(*zones, pad.between_w_k)
            for zone, heater, area_m2 in zip(zones, HEATERS[side], self.areas_m2, strict=True):
                network.feed(zone, heater, 1.0)
                if self.contact_w_m2k[side] is not None:
                    back_w_m2k = pad.back_loss_w_m2k * pad.back_clamp_share
                    network.join(zone, CLAMPS[side], back_w_m2k * area_m2)
        network.feed(CLAMPS[1], SUN, 1 - clamp.sun_pad_share)
        for zone, share in zip(PADS[1], self.zone_shares, strict=True):
            network.feed(zone, SUN, clamp.sun_pad_share * share)

    def losses(self) -> Iterator[tuple[int, float]]:
        """Node and conductance to the air of every surface."""
        yield TYRE, self.slab.tyre_loss_w_k * self.draught
        for side, (centre, edge) in enumerate(PADS):
            yield CLAMPS[side], self.clamp.loss_w_k * self.draught
            yield edge, self.pad.edge_loss_w_k * self.draught
            bare = self.contact_w_m2k[side] is None
            for zone, area_m2 in zip((centre, edge), self.areas_m2, strict=True):
                yield zone, self._pad_loss_w_m2k(bare=bare) * area_m2 * self.draught
            if bare:
                bare_w_m2k = self.slab.bare_w_m2k * self.draught
                for _, cell, area_m2, half_m2k_w in self.faces(side):
                    yield cell, area_m2 / (1 / bare_w_m2k + half_m2k_w)

    def _pad_loss_w_m2k(self, *, bare: bool) -> float:
        pad = self.pad
        if bare:
            return pad.back_loss_w_m2k + pad.front_loss_w_m2k
        return pad.back_loss_w_m2k * (1 - pad.back_clamp_share)

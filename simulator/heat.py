"""All the heat of one rig: pads, repair, the tyre around, clamp, and what leaves to air.

One network of finite volumes under the trapezoidal rule. Its step is one dense
matrix, built again only when a conductance has changed by a notch, and shared
by all rigs and snapshots with the same conductances. Losses are summed apart,
from mean temperatures and the list of losses, so that the balance of heat can
be held against what is stored; it is not closed by construction.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.exchange import FIRST_CELL, ClampSettings, Operator, Touch, notch, operator
from simulator.pads import Pad, PadSettings
from simulator.slab import Slab, SlabSettings
from simulator.surroundings import Surroundings

SIDES = ("inner", "outer")
NOTHING_W: Mapping[str, float] = MappingProxyType(dict.fromkeys(SIDES, 0.0))


class Heat:
    """All temperatures of one rig, and the balance of its heat.

    The temperatures themselves live in `pads`, `slab` and here; whoever sets one
    between two steps changes the plant.

    Attributes:
        pads: by side.
        slab: the repair and the tyre around.
        clamp: how the clamp is built.
        clamp_c: by side, °C.
        lost_j: given to the air since the start, J.
        sun_j: taken from the sun since the start, J.
        bags_j: taken by the bags behind the pads since the start, J.
    """

    def __init__(
        self, pad: PadSettings, slab: SlabSettings, clamp: ClampSettings, start_c: float
    ) -> None:
        """Everything at one temperature.

        Args:
            pad: both pads.
            slab: the repair.
            clamp: the clamp.
            start_c: °C.
        """
        self.pads = {side: Pad(pad, start_c) for side in SIDES}
        self.slab = Slab(slab, start_c, area_m2=pad.area_m2, edge_area_share=pad.edge_area_share)
        self.clamp = clamp
        self.clamp_c = dict.fromkeys(SIDES, start_c)
        self.lost_j = 0.0
        self.sun_j = 0.0
        self.bags_j = 0.0
        self._found_for: tuple[object, ...] = ()
        self._operator: Operator | None = None

    def __getstate__(self) -> dict[str, Any]:
        """All but the operator, which any copy finds again by its notches."""
        return {**self.__dict__, "_found_for": (), "_operator": None}

    @property
    def stored_j(self) -> float:
        """Heat held above 0 °C by everything, J."""
        pads_j = sum(
            pad.settings.heat_capacity_j_k * pad.temperature_c for pad in self.pads.values()
        )
        clamp_j = self.clamp.heat_capacity_j_k * sum(self.clamp_c.values())
        return pads_j + clamp_j + self.slab.stored_j

    @property
    def heated_j(self) -> float:
        """Put in by both heaters since the start, J."""
        return sum(pad.heated_j for pad in self.pads.values())

    def advance(
        self,
        dt_s: float,
        *,
        powered: Mapping[str, float],
        mounted: bool,
        pressed: Mapping[str, float],
        surroundings: Surroundings,
        bags_w: Mapping[str, float] = NOTHING_W,
    ) -> None:
        """Switch the heaters by what the pads are now, then move all heat by one step.

        Args:
            dt_s: step, s; meant for 1.
            powered: by side, effective voltage at the pad's thermostat as a share of
                nominal; 0 is a contactor open or a pad unplugged.
            mounted: the pads are on the tyre, in the clamp.
            pressed: by side, the bag's pressure, kPa gauge.
            surroundings: the place now.
            bags_w: by side, what the bag takes from the pad before it to warm itself;
                what goes on through it to the air is among the pad's losses.
        """
        moved_by = self._find_operator(dt_s, pressed if mounted else None, surroundings.draught)
        air_c = surroundings.ambient_c
        sun_w = surroundings.sun_w_m2 * self.clamp.sun_area_m2
        inner, outer = self.pads["inner"], self.pads["outer"]
        inner_w = inner.switch(dt_s, powered["inner"], air_c)
        outer_w = outer.switch(dt_s, powered["outer"], air_c)
        nodes, columns = moved_by.step.shape
        before = np.empty(columns)
        before[:FIRST_CELL] = (
            inner.centre_c,
            inner.edge_c,
            outer.centre_c,
            outer.edge_c,
            self.clamp_c["inner"],
            self.clamp_c["outer"],
            self.slab.tyre_c,
        )
        before[FIRST_CELL:nodes] = self.slab.cells_c
        before[nodes:] = (
            air_c,
            *_less(inner_w, bags_w["inner"], inner.settings.edge_area_share),
            *_less(outer_w, bags_w["outer"], outer.settings.edge_area_share),
            sun_w,
        )
        after = moved_by.step.dot(before)
        self._keep(after)
        mean_c = (before[:nodes] + after) / 2
        lost_w, inner_given_w, outer_given_w = moved_by.flows.dot(mean_c).tolist()
        self.lost_j += (lost_w - moved_by.lost_w_k * air_c) * dt_s
        self.sun_j += sun_w * dt_s
        self.bags_j += (bags_w["inner"] + bags_w["outer"]) * dt_s
        inner.given_j += inner_given_w * dt_s
        outer.given_j += outer_given_w * dt_s

    def _keep(self, after: NDArray[np.float64]) -> None:
        inner, outer = self.pads["inner"], self.pads["outer"]
        (
            inner.centre_c,
            inner.edge_c,
            outer.centre_c,
            outer.edge_c,
            self.clamp_c["inner"],
            self.clamp_c["outer"],
            self.slab.tyre_c,
        ) = after[:FIRST_CELL].tolist()
        self.slab.cells_c = after[FIRST_CELL:]

    def _find_operator(
        self, dt_s: float, pressed: Mapping[str, float] | None, draught: float
    ) -> Operator:
        found_for = (
            dt_s,
            draught,
            None if pressed is None else self._contact_notch("inner", pressed),
            None if pressed is None else self._contact_notch("outer", pressed),
        )
        if self._operator is None or found_for != self._found_for:
            self._found_for = found_for
            touch = Touch(found_for[2], found_for[3], notch(draught))
            pad, slab = self.pads["inner"].settings, self.slab.settings
            self._operator = operator(pad, slab, self.clamp, touch, dt_s)
        return self._operator

    def _contact_notch(self, side: str, pressed: Mapping[str, float]) -> int:
        size = self.slab.settings
        pressed_share = min(1.0, max(0.0, pressed[side]) / size.pressed_fully_kpa)
        loose_w_m2k = size.loose_contact_w_m2k
        whole_w_m2k = loose_w_m2k + (size.contact_w_m2k - loose_w_m2k) * pressed_share
        contact_share = self.pads[side].contact_share
        contact_w_m2k = size.gap_w_m2k + (whole_w_m2k - size.gap_w_m2k) * contact_share
        return notch(contact_w_m2k)


def _less(
    zones_w: tuple[float, float], taken_w: float, edge_area_share: float
) -> tuple[float, float]:
    """What is left for the centre and the edge zone of a pad from whose back some is taken, W."""
    return zones_w[0] - taken_w * (1 - edge_area_share), zones_w[1] - taken_w * edge_area_share

"""The cures of the test command: short ones, run whole, and all of the catalogue struck on forks.

Eight carry all faults and disturbances between them, everything fitted; six more,
with less fitted, carry nothing. With the forks that makes some 130 courses.
"""

from dataclasses import replace

from tests.campaign import batch
from tests.campaign.batch import Order
from tests.campaign.draws import DISTURBANCES, FAULTS, draw

SEED = 6
DRAWN = 160  # of which the shortest are taken
CARRYING = 8
LESS_FITTED = ("usual", "few") * 3


def short_cures() -> list[Order]:
    """All of them, those that carry first."""
    drawn = batch.orders(DRAWN, SEED, faults=0, disturbances=0)
    shortest = sorted(drawn, key=_length_s)[: CARRYING + len(LESS_FITTED)]
    faults, disturbances = -(-len(FAULTS) // CARRYING), -(-len(DISTURBANCES) // CARRYING)
    loads = batch.orders(CARRYING, SEED, faults=faults, disturbances=disturbances)
    carrying = [
        replace(order, names=load.names, mode=load.mode, fittings="all")
        for order, load in zip(shortest, loads, strict=False)
    ]
    # No seed among them happens to draw it; what these carry is told in any mode.
    carrying[6] = replace(carrying[6], mode="locked_off")
    less = [
        replace(order, fittings=fittings)
        for order, fittings in zip(shortest[CARRYING:], LESS_FITTED, strict=True)
    ]
    return [*carrying, *less]


def half(number: int) -> list[Order]:
    """Every other one, so that two processes share them."""
    return short_cures()[number::2]


def _length_s(order: Order) -> float:
    plans = draw(order.seed).scenario.plans
    return sum(plan.hold_s + plan.start_after_s + plan.preheat_s_min for plan in plans) + (
        14_000.0 * len(plans)
    )

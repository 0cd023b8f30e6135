"""The forty cures of the test command: the shortest that a seed gives, the catalogue in turn.

A third of them run whole, nothing broken, for false alarms; the others carry
what breaks, and end when the last of it is settled.
"""

from dataclasses import replace

from tests.campaign import batch
from tests.campaign.batch import Order
from tests.campaign.draws import DISTURBANCES, FAULTS, draw

SEED = 6
CURES, DRAWN = 40, 160
WHOLE = 13
# So that each of the catalogue is struck at least once.
FAULTS_EACH = -(-len(FAULTS) // (CURES - WHOLE))
DISTURBANCES_EACH = -(-len(DISTURBANCES) // (CURES - WHOLE))


def forty() -> list[Order]:
    """All of them, whole ones first."""
    shortest = sorted(batch.orders(DRAWN, SEED, faults=0, disturbances=0), key=_length_s)[:CURES]
    carried = batch.orders(CURES - WHOLE, SEED, faults=FAULTS_EACH, disturbances=DISTURBANCES_EACH)
    carrying = [
        replace(order, names=more.names, mode=more.mode, fittings="all", whole=False)
        for order, more in zip(shortest[WHOLE:], carried, strict=True)
    ]
    return [*shortest[:WHOLE], *carrying]


def half(number: int) -> list[Order]:
    """Every other one, so that two processes share them."""
    return forty()[number::2]


def _length_s(order: Order) -> float:
    plans = draw(order.seed).scenario.plans
    return sum(plan.hold_s + plan.start_after_s + plan.preheat_s_min for plan in plans) + (
        14_000.0 * len(plans)
    )

"""Many cures, on several processors, each with its share of what may break."""

import sys
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import repeat

from tests.campaign.cures import Cured, run_cure
from tests.campaign.draws import DISTURBANCES, FAULTS, ON_RELIEVING
from tests.campaign.table import Found

SEEDS_A_CAMPAIGN = 100_000
BAR = 30


@dataclass(frozen=True, slots=True)
class Order:
    """One cure to run.

    Attributes:
        seed: of it.
        names: what is struck in forks of it.
        mode: how the air is held; None: as drawn.
        fittings: what is fitted; None: as drawn.
        whole: go on to the end of the cure.
    """

    seed: int
    names: tuple[str, ...]
    mode: str | None = None
    fittings: str | None = None
    whole: bool = True


def orders(cures: int, seed: int, *, faults: int, disturbances: int) -> list[Order]:
    """What each cure of a campaign carries: all of the catalogue in turn.

    Args:
        cures: how many.
        seed: of the campaign; each cure has its own from it.
        faults: in each cure.
        disturbances: in each cure.
    """
    made = []
    faulty = _round(FAULTS, faults)
    disturbed = _round(DISTURBANCES, disturbances)
    for number in range(cures):
        names = (*next(faulty), *next(disturbed))
        mode = "relieving" if ON_RELIEVING & set(names) else None
        made.append(Order(seed * SEEDS_A_CAMPAIGN + number, names, mode))
    return made


def _round(names: Iterable[str], count: int) -> Iterator[tuple[str, ...]]:
    """Groups of `count` names, round and round."""
    listed = list(names)
    start = 0
    for _ in repeat(None):
        yield tuple(listed[(start + place) % len(listed)] for place in range(count))
        start = (start + count) % len(listed)


def run_order(order: Order) -> Cured:
    """Run one."""
    return run_cure(
        order.seed, order.names, mode=order.mode, fittings=order.fittings, whole=order.whole
    )


def run(made: list[Order], *, jobs: int, tell: Callable[[int], None] = lambda done: None) -> Found:
    """Run all.

    Args:
        made: the cures.
        jobs: how many processes; 1 is this one.
        tell: called with the count of those done.
    """
    cures = []
    with _mapped(made, jobs) as results:
        for done, cure in enumerate(results, 1):
            cures.append(cure)
            tell(done)
    return Found(tuple(cures))


@contextmanager
def _mapped(made: list[Order], jobs: int) -> Iterator[Iterable[Cured]]:
    if jobs == 1:
        yield map(run_order, made)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield pool.map(run_order, made)


def bar(of: int) -> Callable[[int], None]:
    """A progress bar on a terminal, nothing elsewhere."""
    if not sys.stderr.isatty():
        return lambda done: None

    def draw(done: int) -> None:
        full = BAR * done // of
        sys.stderr.write(f"\r[{'#' * full}{'.' * (BAR - full)}] {done}/{of} cures")
        sys.stderr.write("\n" if done == of else "")
        sys.stderr.flush()

    return draw

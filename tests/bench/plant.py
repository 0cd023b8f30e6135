"""The simulated plant: CPU for an hour of it, and for a fork, against its floor in numpy.

The floor is what no plant with that many nodes can go below: one dense product
of its heat operator's size each second, and nothing else.
"""

import copy
from collections.abc import Callable
from time import process_time

import numpy as np

from simulator.countdown import CountdownYard
from simulator.exchange import FIRST_CELL
from simulator.scenarios import find_scenario
from simulator.yard import Yard
from tests.bench.figures import Row, to_bare

CURE_S = 6 * 3600
HOUR_S = 3600
INTO_HOLD_S = 3 * HOUR_S
FORKS = 20
CURE_MS = 1200  # about, for the progress bar


def measured(count: int, tell: Callable[[int], None]) -> list[Row]:
    """Some rounds of a whole cure, a fork, and the floor."""
    ours_ms, bare_ms, fork_ms, copy_ms = [], [], [], []
    for number in range(count):
        run = CountdownYard(Yard(find_scenario("whole_cure"), rigs=1, seed=number))
        began_s = process_time()
        run.run_until(INTO_HOLD_S)
        hold_s = process_time()
        fork_ms.append(_each_ms(run.yard.fork, FORKS))
        nodes = FIRST_CELL + run.yard.rigs[0].slab.cells_c.size
        state = np.zeros(nodes)
        copy_ms.append(_each_ms(lambda state=state: copy.deepcopy(state), FORKS))
        again_s = process_time()
        run.run_until(CURE_S)
        spent_s = process_time() - again_s + hold_s - began_s
        ours_ms.append(1000 * spent_s * HOUR_S / run.yard.now_s)
        bare_ms.append(_floor_ms(nodes))
        tell(CURE_MS)
    six_hours_s = sorted(ours_ms)[len(ours_ms) // 2] * 6 / 1000
    return [
        to_bare(
            "plant: an hour of a cure at 1 Hz",
            "ms",
            ours_ms,
            bare_ms,
            f"a cure of 6 h: {six_hours_s:.2f} s; aim 1 s",
        ),
        to_bare("plant: a fork in the hold", "ms", fork_ms, copy_ms, "bare: one array copied"),
    ]


def _floor_ms(nodes: int) -> float:
    operator, state = np.eye(nodes), np.ones(nodes)
    began_s = process_time()
    for _ in range(HOUR_S):
        state = operator @ state
    return 1000 * (process_time() - began_s)


def _each_ms(work: Callable[[], object], times: int) -> float:
    began_s = process_time()
    for _ in range(times):
        work()
    return 1000 * (process_time() - began_s) / times

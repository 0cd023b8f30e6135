"""A run with no daemon: the plant, its crew and a countdown, as fast as it goes.

For a trace to judge, for a picture, and to see what a fault does when nothing is
done. Nothing is served, nothing waits, and the same seed gives the same bytes.
"""

from collections.abc import Callable, Sequence

from simulator.countdown import CountdownYard
from simulator.yard import Yard

TELL_EVERY_S = 300.0


def run_alone(
    yard: Yard,
    notes: Sequence[Callable[[], None]],
    tell: Callable[[float], None],
    stop: Callable[[], bool],
) -> None:
    """Run until the scenario is over or someone wants it to stop.

    Args:
        yard: to move.
        notes: called after every step.
        tell: called now and then with the plant time, s.
        stop: asked after every step.
    """
    run = CountdownYard(yard)
    told_s = 0.0
    while not (yard.over or stop()):
        run.advance()
        for note in notes:
            note()
        if yard.now_s - told_s >= TELL_EVERY_S:
            told_s = yard.now_s
            tell(told_s)
    tell(yard.now_s)

"""How long a reading may stand still: learned from the instrument's own flicker.

A sound instrument flickers in its last digit; a frozen one does not. How often it
does hangs on its resolution, its filter and how steady the thing itself is, so it is
learned: from the runs of equal samples between two changes, their mean and their
longest. An instrument that has not been seen to flicker (coarse steps on a steady
pad, a drawn straight line) is never called frozen by this; other evidence must do.

Source:
    Own method. Equal samples of an instrument that flickers follow one another by
    chance with some probability p, so that a run of n has the chance p to the n
    (Bernoulli trials); the rest is common practice, no source.
"""

from typing import NamedTuple

# Below 1e-6 by chance for samples that stand still up to two times in three.
RUNS_MEAN = 10.0
RUNS_LONGEST = 3.0
SAMPLES_MIN = 9.0
# Seen to flicker: so often changed, and so often turned round.
CHANGES_MIN = 30
TURNS_MIN = 6
SHARE = 1 / 16
FADES = 0.995


class Stillness(NamedTuple):
    """One reading's samples, taken at equal times.

    Attributes:
        value: the newest, in its unit; None before the first.
        still: samples since it last changed.
        mean_count: mean samples from change to change, newer ones counting more.
        longest_count: longest run from change to change; fades with each change.
        changes: changes seen, counted to `CHANGES_MIN`.
        turns: changes against the one before, counted to `TURNS_MIN`.
        rising: the last change was upward.
    """

    value: float | None = None
    still: int = 0
    mean_count: float = 1.0
    longest_count: float = 0.0
    changes: int = 0
    turns: int = 0
    rising: bool = False


UNSEEN = Stillness()


def follow(was: Stillness, value: float) -> Stillness:
    """The stillness after one more sample.

    Args:
        was: so far.
        value: the sample, as shown to its last digit.

    Source:
        Own method; O(1), compared in tests with plain recomputation.
    """
    if was.value is None:
        return was._replace(value=value)
    if value == was.value:
        return was._replace(still=was.still + 1)
    run, rising = was.still + 1, value > was.value
    turned = was.changes > 0 and rising is not was.rising
    return Stillness(
        value,
        0,
        was.mean_count + SHARE * (run - was.mean_count),
        max(float(run), was.longest_count * FADES),
        min(was.changes + 1, CHANGES_MIN),
        min(was.turns + turned, TURNS_MIN),
        rising,
    )


def flickers(still: Stillness) -> bool:
    """The instrument has been seen to flicker.

    Source:
        Own method.
    """
    return still.changes >= CHANGES_MIN and still.turns >= TURNS_MIN


def stands_still(still: Stillness) -> bool:
    """It has shown one value for longer than chance lets an instrument that flickers.

    Source:
        Own method.
    """
    if not flickers(still):
        return False
    return still.still >= max(
        SAMPLES_MIN, RUNS_MEAN * still.mean_count, RUNS_LONGEST * still.longest_count
    )

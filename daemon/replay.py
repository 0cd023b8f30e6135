"""Judging again what was recorded: a stored run, or a CSV trace.

Each frame says by the hash which limits it was judged by, so that a run that
saw a restart with other limits is judged again exactly as it was.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from pydantic import ValidationError

from daemon.csv_trace import Trace
from daemon.store.errors import StoreDamaged, StoreVersion
from daemon.store.reader import StoreReader
from rules.checkpoint import load
from rules.events import Decision
from rules.frame import NS_PER_S, Frame
from rules.limits import Limits, LimitsBase
from rules.state import State
from rules.step import step

LimitsOf = Callable[[str], LimitsBase]


@dataclass(frozen=True, slots=True)
class Folded:
    """One frame, judged again.

    Attributes:
        t_s: time since the first frame, s.
        frame: the frame.
        state: after it.
        decision: what it led to.
    """

    t_s: float
    frame: Frame
    state: State
    decision: Decision


def fold(limits_of: LimitsOf, state: State, frames: Iterable[Frame]) -> Iterator[Folded]:
    """Fold frames, each under the limits it names.

    Args:
        limits_of: limits by their hash.
        state: from which to fold; `State()` for a trace.
        frames: in order.

    Yields:
        Each frame with the state after it and its decision.
    """
    begin_ns: int | None = None
    for frame in frames:
        state, decision = step(limits_of(frame.limits_hash), state, frame)
        begin_ns = state.now_ns if begin_ns is None else begin_ns
        yield Folded((state.now_ns - begin_ns) / NS_PER_S, frame, state, decision)


def fold_trace(trace: Trace, limits: LimitsBase | None) -> Iterator[Folded]:
    """Judge a trace by the given limits, or the defaults, at its own frame period."""
    base = limits if limits is not None else Limits()
    facts = base.facts.model_copy(update={"frame_period_s": trace.period_s})
    used = base.model_copy(update={"facts": facts})
    return fold(lambda _: used, State(), trace.frames)


def fold_run(reader: StoreReader, run_id: int) -> Iterator[Folded]:
    """Judge a stored run again, from the state in which it opened.

    Raises:
        KeyError: there is no such run.
        StoreDamaged: the state in which it opened, or its limits, are missing.
        CheckpointError: that state was made by other rules.
    """
    opening = reader.opening_checkpoint(run_id)
    if opening is None:
        raise StoreDamaged(f"run {run_id}: the state in which it opened is missing")
    return fold(limits_book(reader.limits_by_hash), load(opening.body), reader.frames(run_id))


def limits_book(body_of: Callable[[str], str]) -> LimitsOf:
    """Limits by hash, each read and checked once.

    Args:
        body_of: their stored JSON by hash.
    """
    known: dict[str, LimitsBase] = {}

    def limits_of(limits_hash: str) -> LimitsBase:
        if limits_hash not in known:
            try:
                known[limits_hash] = Limits.model_validate_json(body_of(limits_hash))
            except ValidationError as error:
                raise StoreVersion(
                    f"the limits {limits_hash[:12]} were made by another version; "
                    "judge this run with that version"
                ) from error
        return known[limits_hash]

    return limits_of

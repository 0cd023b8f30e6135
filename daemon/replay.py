"""Judging again what was recorded: a stored run, or a CSV trace."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from rules.events import Event
from rules.frame import NS_PER_S, Frame
from rules.limits import Limits, LimitsBase
from rules.state import State
from rules.step import step

from daemon.trace import Trace


@dataclass(frozen=True, slots=True)
class Told:
    """One event of a replay.

    Attributes:
        t_s: time since the first frame, s.
        frame: the frame that led to it.
        event: what was told.
    """

    t_s: float
    frame: Frame
    event: Event


def replay(limits: LimitsBase, state: State, frames: Iterable[Frame]) -> Iterator[Told]:
    """Fold frames and tell every event in order.

    Args:
        limits: facts and limits.
        state: from which to fold; `State()` for a trace.
        frames: in order.

    Yields:
        Events, as live supervision would have told them.
    """
    begin_ns: int | None = None
    for frame in frames:
        state, decision = step(limits, state, frame)
        if begin_ns is None:
            begin_ns = state.now_ns
        t_s = (state.now_ns - begin_ns) / NS_PER_S
        for event in decision.events:
            yield Told(t_s, frame, event)


def limits_for(trace: Trace, limits: LimitsBase | None) -> LimitsBase:
    """Limits for judging a trace: the given ones, or the defaults, at its own period."""
    base = limits if limits is not None else Limits()
    facts = base.facts.model_copy(update={"frame_period_s": trace.period_s})
    return base.model_copy(update={"facts": facts})

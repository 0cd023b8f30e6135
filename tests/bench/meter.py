"""CPU of this process, whole or of one function where it is really called."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from time import process_time_ns, thread_time_ns
from typing import Any

from daemon.clock import RealClock

NS_PER_US = 1000
PAUSE_NS = 5_000_000
_REAL = RealClock()


@dataclass
class Cpu:
    """CPU used, all threads of this process, kernel included; ns."""

    ns: int = 0

    def us_each(self, count: int) -> float:
        """Per item, microseconds."""
        return self.ns / NS_PER_US / count


@contextmanager
def process_cpu() -> Iterator[Cpu]:
    """Measure what the block uses; take away from `ns` what is not to count."""
    gc.collect()
    used = Cpu()
    began_ns = process_time_ns()
    try:
        yield used
    finally:
        used.ns += process_time_ns() - began_ns


@contextmanager
def calls_timed(owner: Any, name: str) -> Iterator[Cpu]:
    """Measure one function of a module or class during the block, in whatever thread."""
    real = getattr(owner, name)
    used = Cpu()

    def timed(*args: Any, **kwargs: Any) -> Any:
        began_ns = thread_time_ns()
        try:
            return real(*args, **kwargs)
        finally:
            used.ns += thread_time_ns() - began_ns

    setattr(owner, name, timed)
    try:
        yield used
    finally:
        setattr(owner, name, real)


async def pause(ns: int = PAUSE_NS) -> None:
    """Let everything come to rest, as it does between two frames of a real rig.

    Without it caches stay warm and messages pile up, and nothing costs what it
    costs in the field.
    """
    await _REAL.sleep_until(_REAL.now_ns() + ns)

"""Times in whole nanoseconds, and the grid on which links poll."""

NS_PER_S = 1_000_000_000


def next_due_ns(due_ns: int, period_ns: int, now_ns: int) -> int:
    """The next time on the grid: not before now, and never the same again.

    Args:
        due_ns: the time that was due, ns.
        period_ns: of the grid, ns, above 0.
        now_ns: now, ns.

    Returns:
        `due_ns` and a whole number of periods, at least one.
    """
    late_periods = -((due_ns - now_ns) // period_ns)
    return due_ns + period_ns * max(1, late_periods)

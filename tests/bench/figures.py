"""Figures of several rounds, and the one table they are shown in."""

import os
import platform
import sqlite3
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version

NAME_WIDTH = 42
LIBRARIES = ("pymodbus", "aiomqtt", "paho-mqtt", "pydantic")


@dataclass(frozen=True)
class Row:
    """One thing measured; a value for each round.

    Attributes:
        name: what.
        unit: of `ours` and `bare`.
        ours: by curehold.
        bare: the same work by the bare libraries; None where there is none.
        ratio: ours to bare, or to what `against` says.
        against: what the ratio is to.
        note: how to read it.
    """

    name: str
    unit: str
    ours: Sequence[float]
    bare: Sequence[float] | None
    ratio: Sequence[float]
    against: str
    note: str


def to_bare(
    name: str, unit: str, ours: Sequence[float], bare: Sequence[float], note: str = ""
) -> Row:
    """A row whose ratio is ours to bare, round by round."""
    ratio = [one / other for one, other in zip(ours, bare, strict=True)]
    return Row(name, unit, ours, bare, ratio, "bare", note)


def share_of_path(
    name: str,
    ours_us: Sequence[float],
    path_us: Sequence[float],
    note: str = "",
    *,
    bare_us: Sequence[float] | None = None,
) -> Row:
    """A row whose ratio is its share of the whole path's CPU."""
    ratio = [one / whole for one, whole in zip(ours_us, path_us, strict=True)]
    return Row(name, "us", ours_us, bare_us, ratio, "path", note)


def percentile(values: Sequence[float], percent: float) -> float:
    """The smallest value that at least so many percent of all do not exceed."""
    ordered = sorted(values)
    return ordered[max(0, -int(-percent * len(ordered) // 100) - 1)]


def shown(rows: Sequence[Row]) -> str:
    """The table, with the notes below it."""
    head = f"{'':{NAME_WIDTH}} {'bare':>9} {'curehold':>9} {'':5} {'ratio: min median max':>24}  to"
    lines = [head, "-" * len(head)]
    lines += [_line(row) for row in rows]
    lines.append("")
    lines += [f"{row.name.strip()}: {row.note}" for row in rows if row.note]
    return "\n".join(lines)


def _line(row: Row) -> str:
    bare = "-" if row.bare is None else _short(statistics.median(row.bare))
    ours = _short(statistics.median(row.ours))
    spread = (min(row.ratio), statistics.median(row.ratio), max(row.ratio))
    ratio = " ".join(f"{_short(value):>7}" for value in spread)
    return f"{row.name:{NAME_WIDTH}} {bare:>9} {ours:>9} {row.unit:5} {ratio:>24}  {row.against}"


def _short(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def machine() -> str:
    """On what this was measured, and how busy it was before."""
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    return (
        f"{platform.machine()}, {os.cpu_count()} cores, {platform.system()} {platform.release()}, "
        f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, {libraries}. "
        f"Load average before: {os.getloadavg()[0]:.1f}. Other load on the machine disturbs all "
        "figures, times more than ratios."
    )

"""A CSV trace as frames: for judging a recorded cure without a rig.

The format is in `docs/replay.md`: `time_utc` or `time_s`, then one column per
channel; an empty cell is a missing reading; a channel without a column is not
fitted.
"""

import csv
import itertools
import math
import re
import statistics
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from rules.channels import BY_NAME, PADS, Kind
from rules.frame import NS_PER_S, Frame, Quality, Reading, Reason

ALIASES = {"attend_button": "here_button"}
FAULTS_MAX = 20
PERIOD_S_MIN, PERIOD_S_MAX = 0.1, 3600.0
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
ROWS_MAX = 200_000  # read whole, at about 2 kB a row
TIME_S_MAX = 1e10
SHOWN_CHARACTERS_MAX = 40
# Python's own readers of numbers and times take more than a trace may hold.
NUMBER = re.compile(
    r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?|[+-]?(?:nan|inf|infinity)", re.I | re.A
)
RFC_3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(?:\.\d+)?(?:[Zz]|[+-]\d\d:\d\d)", re.A)


class TraceError(Exception):
    """A trace that cannot be judged; whoever made it can mend it.

    Attributes:
        faults: every mistake found, up to a limit, with file, line and column.
    """

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class Trace:
    """A trace, read whole.

    Attributes:
        frames: one per row.
        period_s: the median interval, s.
        channels: fitted, in column order.
        ignored: columns that are no channel.
        has_wall: rows carry UTC.
    """

    frames: tuple[Frame, ...]
    period_s: float
    channels: tuple[str, ...]
    ignored: tuple[str, ...]
    has_wall: bool


@dataclass(frozen=True, slots=True)
class _Columns:
    """What each column of the file is."""

    seconds_index: int | None
    utc_index: int | None
    channels: dict[int, str]
    ignored: tuple[str, ...]


@dataclass(slots=True)
class _Faults:
    """Mistakes found so far, told with file and line."""

    path: Path
    found: list[str]

    def add(self, line: int, what: str) -> None:
        if len(self.found) < FAULTS_MAX:
            self.found.append(f"{self.path.name}:{line}: {what}")
        elif len(self.found) == FAULTS_MAX:
            self.found.append(f"{self.path.name}: more mistakes follow; mend these first")


def read_trace(path: Path) -> Trace:
    """Read a CSV trace.

    Args:
        path: the file; UTF-8, comma-separated, with a header row.

    Raises:
        TraceError: with every mistake found.
    """
    faults = _Faults(path, [])
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            trace = _read(faults, file)
    except OSError as error:
        raise TraceError([f"{path}: cannot be read: {error.strerror or error}"]) from error
    except UnicodeDecodeError as error:
        raise TraceError(
            [*faults.found, f"{path.name}: not UTF-8 text; save it as CSV in UTF-8"]
        ) from error
    if trace is None:
        raise TraceError(faults.found)
    return trace


def _read(faults: _Faults, file: Iterable[str]) -> Trace | None:
    """The trace, or None when there are faults."""
    rows = _rows(faults, file)
    header = next(rows, (1, []))[1]
    columns = _columns(faults, header)
    if columns is None:
        return None
    times: list[tuple[int, int]] = []
    cells: list[dict[str, float | None]] = []
    for line, row in rows:
        if len(row) != len(header):
            faults.add(line, f"{len(row)} cells, the header has {len(header)}; mend the row")
            continue
        moment = _moment(faults, line, row, columns)
        values = _cells(faults, line, row, columns)
        if moment is None:
            continue
        if times and moment[0] <= times[-1][0]:
            faults.add(line, "time does not rise; sort the rows, one row a time")
        times.append(moment)
        cells.append(values)
        if len(times) > ROWS_MAX:
            faults.add(line, f"more than {ROWS_MAX} rows; part the trace")
            break
    if not times and not faults.found:
        faults.found.append(f"{faults.path.name}: no rows below the header; add the readings")
    if faults.found:
        return None
    return Trace(
        tuple(_frames(times, cells, columns)),
        _period_s(times),
        tuple(columns.channels.values()),
        columns.ignored,
        columns.utc_index is not None,
    )


def _rows(faults: _Faults, file: Iterable[str]) -> Iterator[tuple[int, list[str]]]:
    """Rows that are not blank, with the line on which each ends."""
    reader = csv.reader(file, strict=True)
    while True:
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            faults.add(reader.line_num, f"not CSV: {error}; look at the quotes before it")
            return
        if any(cell.strip() for cell in row):
            yield reader.line_num, row


def _columns(faults: _Faults, header: list[str]) -> _Columns | None:
    names = [ALIASES.get(name.strip(), name.strip()) for name in header]
    if not names:
        faults.add(1, "empty; the first row names the columns")
        return None
    parted = [sign for sign in (";", "\t") if len(names) == 1 and sign in names[0]]
    if parted:
        faults.add(1, f"cells are parted by {parted[0]!r}; save the file with commas")
        return None
    times = [name for name in ("time_utc", "time_s") if name in names]
    if not times:
        faults.add(1, "no column time_utc (RFC 3339) or time_s (seconds); add one")
    doubled = sorted({name for name in names if name and names.count(name) > 1})
    if doubled:
        faults.add(1, f"column {', '.join(doubled)} stands twice; keep one")
    channels = {index: name for index, name in enumerate(names) if name in BY_NAME}
    if not channels:
        faults.add(1, "no column is a channel; known are " + ", ".join(BY_NAME))
    if faults.found:
        return None
    ignored = tuple(name for name in names if name and name not in BY_NAME and name not in times)
    seconds_index = names.index("time_s") if "time_s" in times else None
    utc_index = names.index("time_utc") if "time_utc" in times else None
    return _Columns(seconds_index, utc_index, channels, ignored)


def _moment(
    faults: _Faults, line: int, row: list[str], columns: _Columns
) -> tuple[int, int] | None:
    """A row's steady time and wall time, ns; where only one is given, it is both."""
    steady_ns = wall_ns = None
    if columns.utc_index is not None:
        wall_ns = steady_ns = _utc_ns(faults, line, row[columns.utc_index].strip())
    if columns.seconds_index is not None:
        steady_ns = _seconds_ns(faults, line, row[columns.seconds_index].strip())
        wall_ns = steady_ns if columns.utc_index is None else wall_ns
    return None if steady_ns is None or wall_ns is None else (steady_ns, wall_ns)


def _seconds_ns(faults: _Faults, line: int, text: str) -> int | None:
    value_s = _number(text)
    if value_s is not None and abs(value_s) <= TIME_S_MAX:  # neither NaN nor infinite passes
        return round(value_s * NS_PER_S)
    faults.add(line, f"time_s = {_shown(text)} is no time; give a number of seconds")
    return None


def _utc_ns(faults: _Faults, line: int, text: str) -> int | None:
    try:
        if RFC_3339.fullmatch(text):
            since = datetime.fromisoformat(text.upper()).astimezone(UTC) - EPOCH
            return (since.days * 86400 + since.seconds) * NS_PER_S + since.microseconds * 1000
    except (ValueError, OverflowError):
        pass  # well written, and yet no day or hour there is
    faults.add(
        line, f"time_utc = {_shown(text)} is no time; write it like 2026-03-14T07:00:00Z (RFC 3339)"
    )
    return None


def _number(text: str) -> float | None:
    return float(text) if NUMBER.fullmatch(text) else None


def _shown(text: str) -> str:
    return repr(text if len(text) <= SHOWN_CHARACTERS_MAX else text[:SHOWN_CHARACTERS_MAX] + "...")


def _cells(
    faults: _Faults, line: int, row: list[str], columns: _Columns
) -> dict[str, float | None]:
    found: dict[str, float | None] = {}
    for index, name in columns.channels.items():
        text = row[index].strip()
        value = _number(text) if text else math.nan
        if value is None:
            faults.add(line, f"{name} = {_shown(text)} is no number; leave it empty if unknown")
            continue
        if BY_NAME[name].kind is Kind.SWITCH and value not in (0.0, 1.0) and not math.isnan(value):
            faults.add(line, f"{name} = {_shown(text)}: a switch is 0 or 1, or empty")
            continue
        found[name] = value if math.isfinite(value) else None
    return found


def _period_s(times: list[tuple[int, int]]) -> float:
    steps = [(after[0] - before[0]) / NS_PER_S for before, after in itertools.pairwise(times)]
    period_s = statistics.median(steps) if steps else 1.0
    return min(max(period_s, PERIOD_S_MIN), PERIOD_S_MAX)


def _frames(
    times: list[tuple[int, int]], cells: list[dict[str, float | None]], columns: _Columns
) -> Iterator[Frame]:
    origin_ns = times[0][0]
    seen = dict.fromkeys(columns.channels.values(), 0)
    trusted = columns.utc_index is not None
    for seq, ((steady_ns, wall_ns), row) in enumerate(zip(times, cells, strict=True), start=1):
        t_ns = steady_ns - origin_ns
        silent = all(value is None for value in row.values())
        values = {}
        for name, value in row.items():
            if value is not None:
                seen[name] = t_ns
                values[name] = Reading(value, Quality.GOOD, Reason.NONE, t_ns)
                continue
            # A whole row without values is a dead link. A pad's empty cell in a
            # row with others is its sensor's fault, judged as one; any other
            # channel's is an answer that did not come.
            reason = Reason.NO_REPLY if silent else Reason.MISSING
            at_ns = t_ns if name in PADS and not silent else seen[name]
            values[name] = Reading(None, Quality.BAD, reason, at_ns)
        yield Frame(seq, t_ns, wall_ns, trusted, "trace", values)

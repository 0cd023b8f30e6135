"""Showing things in a terminal: tables, bars and times, for tired eyes."""

import json
import math
import shutil
import sys
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from rules.frame import NS_PER_S

BAR_WIDTH = 20


def say(text: str = "") -> None:
    """One line on standard output, at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def complain(text: str) -> None:
    """One line on standard error, at once."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


def say_json(body: object) -> None:
    """One JSON document on one line."""
    say(json_text(body))


def json_text(body: object) -> str:
    """JSON as the standard has it: what is no number there becomes null.

    Source:
        RFC 8259, section 6: infinite values and NaN are not permitted.
    """
    return json.dumps(_finite(body), ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _finite(body: object) -> object:
    if isinstance(body, float):
        return body if math.isfinite(body) else None
    if isinstance(body, Mapping):
        return {key: _finite(value) for key, value in body.items()}
    if isinstance(body, list | tuple):
        return [_finite(value) for value in body]
    return body


def say_wrapped(text: str, *, indent: str, hang: str) -> None:
    """A long line, broken between words where the terminal ends.

    Args:
        text: one line.
        indent: before its first part.
        hang: before each further part.
    """
    width = max(40, shutil.get_terminal_size().columns - 1)
    for line in textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=hang):
        say(line)


def table(head: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """A plain table, columns as wide as needed, no line longer than it must be."""
    cells = [[str(cell) for cell in row] for row in rows]
    widths = [
        max([len(name), *(len(row[index]) for row in cells)]) for index, name in enumerate(head)
    ]
    for row in [list(head), *cells]:
        padded = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        say("  ".join(padded).rstrip())


def bar(share: float, width: int = BAR_WIDTH) -> str:
    """A progress bar; `share` from 0 to 1."""
    full = round(min(max(share, 0.0), 1.0) * width)
    return "[" + "#" * full + "." * (width - full) + "]"


class Progress:
    """A bar on standard error while long work goes on; silent without a terminal."""

    def __init__(self, what: str, total: int) -> None:
        """Show the bar.

        Args:
            what: in a word or two.
            total: how much there is to do.
        """
        self._what = what
        self._total = max(total, 1)
        self._shown = -1
        self._on = sys.stderr.isatty()

    def reached(self, count: int) -> None:
        """So much is done."""
        percent = 100 * count // self._total
        if self._on and percent != self._shown:
            self._shown = percent
            sys.stderr.write(f"\r{self._what} {bar(percent / 100)} {percent} %")
            sys.stderr.flush()

    def done(self) -> None:
        """Clear the bar away."""
        if self._on and self._shown >= 0:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()


def local_time(wall_ns: int) -> datetime:
    """A wall time as this computer's clocks on the wall show it.

    Args:
        wall_ns: since 1970, ns.
    """
    return datetime.fromtimestamp(wall_ns // NS_PER_S, UTC).astimezone()


def number(value: float | None, unit: str = "") -> str:
    """A measured value for people; a dash when there is none."""
    if value is None:
        return "-"
    shown = f"{value:.0f}" if abs(value) >= 100 or value == int(value) else f"{value:.1f}"
    return f"{shown} {unit}".rstrip()


def duration(seconds: float) -> str:
    """A time span for people: `4 h 10 min`, `12 min`, `8 s`."""
    if seconds < 60:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"

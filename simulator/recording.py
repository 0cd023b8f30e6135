"""What is written of a simulated run: the trace as measured, and apart from it the truth.

The trace holds what instruments and switches showed, a row a second, in the
columns `curehold replay` reads. The truth holds what no wire carries; it has a
row every `TRUTH_EVERY_S` and one whenever something is struck, mended, switched
or begun. Both are plain CSV (RFC 4180, lines ending in LF), the same bytes for
the same seed.
"""

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from simulator.crew import Crew
from simulator.plant import Rig
from simulator.yard import STRIKES_FIRST_RIG, Yard

TRACE_EVERY_S = 1.0
TRUTH_EVERY_S = 10.0
SLACK_S = 1e-6


class TraceFile:
    """What the first rig's instruments and switches showed; an instrument that failed is empty."""

    def __init__(self, path: Path, yard: Yard) -> None:
        self._yard = yard
        self._file: TextIO = path.open("w", newline="", encoding="utf-8")
        self._rows = csv.writer(self._file, lineterminator="\n")
        self._next_s = 0.0
        shown = yard.rigs[STRIKES_FIRST_RIG].measured()
        self._rows.writerow(["time_s", *shown])

    def note(self) -> None:
        """Write the row that is due."""
        now_s = self._yard.now_s
        if now_s < self._next_s - SLACK_S:
            return
        self._next_s = now_s + TRACE_EVERY_S
        shown = self._yard.rigs[STRIKES_FIRST_RIG].measured()
        self._rows.writerow([f"{now_s:g}", *map(_cell, shown.values())])

    def close(self) -> None:
        """Finish the file."""
        self._file.close()


class TruthFile:
    """What really is on every rig, and what is broken, from when to when."""

    def __init__(self, path: Path, yard: Yard) -> None:
        self._yard = yard
        self._file: TextIO = path.open("w", newline="", encoding="utf-8")
        self._rows = csv.writer(self._file, lineterminator="\n")
        self._next_s = 0.0
        self._marks: list[tuple[object, ...]] = [()] * len(yard.rigs)
        names = [*yard.rigs[0].truth(), *dict(_through(yard.rigs[0]))]
        self._rows.writerow(["time_s", "rig", "stage", "broken", *names])

    def note(self) -> None:
        """Write the rows that are due."""
        now_s = self._yard.now_s
        due = now_s >= self._next_s - SLACK_S
        if due:
            self._next_s = now_s + TRUTH_EVERY_S
        for number, (rig, crew) in enumerate(zip(self._yard.rigs, self._yard.crews, strict=True)):
            marks = self._marks_of(number, rig, crew)
            if due or marks != self._marks[number]:
                self._marks[number] = marks
                self._write(now_s, number, rig, crew)

    def close(self) -> None:
        """Finish the file."""
        self._file.close()

    def _broken(self, number: int) -> str:
        return " ".join(self._yard.struck()) if number == STRIKES_FIRST_RIG else ""

    def _marks_of(self, number: int, rig: Rig, crew: Crew) -> tuple[object, ...]:
        """What is worth a row as soon as it changes."""
        permit = rig.relays.contact("heat_permit")
        switched = (rig.controls.pins_in, rig.controls.mounted, permit, rig.heat_on)
        return (crew.repair, crew.stage, self._broken(number), *switched)

    def _write(self, now_s: float, number: int, rig: Rig, crew: Crew) -> None:
        numbers = [*rig.truth().values(), *(value for _, value in _through(rig))]
        true = [f"{value:.3f}" for value in numbers]
        self._rows.writerow([f"{now_s:g}", number + 1, crew.stage, self._broken(number), *true])


def _through(rig: Rig) -> Iterator[tuple[str, float]]:
    """Temperature and cure at every depth, centre and edge."""
    columns = (
        ("centre", rig.slab.centre_c, rig.cured.centre_min),
        ("edge", rig.slab.edge_c, rig.cured.edge_min),
    )
    for place, temperatures_c, cured_min in columns:
        for depth_mm, warmth_c in zip(rig.slab.depth_mm, temperatures_c, strict=True):
            yield f"true_{place}_{depth_mm:.1f}_mm_c", float(warmth_c)
        for depth_mm, earned_min in zip(rig.slab.depth_mm, cured_min, strict=True):
            yield f"true_{place}_{depth_mm:.1f}_mm_cured_min", float(earned_min)


def _cell(value: float | None) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(int(value))
    return f"{value:.2f}"

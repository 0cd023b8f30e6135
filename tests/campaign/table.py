"""The table of faults against hazards, and how often nothing was wrong and something spoke."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf
from statistics import median

from scipy.stats import binomtest

from tests.campaign.cures import Cured, FalseAlarm, Struck
from tests.campaign.draws import FAULTS
from tests.campaign.verdict import not_built

WAITING = "waits for its hazard"
NOTHING = "-"
SURE = 0.95


@dataclass(frozen=True, slots=True)
class Row:
    """One fault over all the cures in which it struck, everything fitted.

    Attributes:
        name: the fault.
        times: it struck.
        by: tags that spoke first, the most frequent first, each with how often.
        delays_s: sorted, of those found.
        deadline_s: the shortest and the longest.
        past: found after the deadline and, by the truth, before any harm.
        late: found after the harm, or after the deadline where none can be measured.
        missed: not found.
        harmed: the harm was done before anybody was told.
    """

    name: str
    times: int
    by: tuple[tuple[str, int], ...]
    delays_s: tuple[float, ...]
    deadline_s: tuple[float, float]
    past: int
    late: int
    missed: int
    harmed: int

    @property
    def waits(self) -> bool:
        """None of its hazards is built yet."""
        return not_built(FAULTS[self.name].wakes)

    @property
    def median_s(self) -> float | None:
        """Median delay of those found, s."""
        return median(self.delays_s) if self.delays_s else None

    @property
    def worst_s(self) -> float | None:
        """Longest delay of those found, s."""
        return self.delays_s[-1] if self.delays_s else None


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many, with an exact interval.

    Attributes:
        hits: so many.
        of: of so many.
        low: lower bound of the share.
        high: upper bound of the share.
    """

    hits: int
    of: int
    low: float
    high: float


def share_of(hits: int, of: int) -> Share:
    """A share with its exact (Clopper and Pearson) interval of 95 %; 0 to 1 when of nothing."""
    if of == 0:
        return Share(0, 0, 0.0, 1.0)
    interval = binomtest(hits, of).proportion_ci(SURE, method="exact")
    return Share(hits, of, float(interval.low), float(interval.high))


def rows_of(struck: Iterable[Struck]) -> list[Row]:
    """A row for each fault, in the catalogue's order."""
    by_name: dict[str, list[Struck]] = {}
    for item in struck:
        if item.verdict is not None and item.verdict.struck:
            by_name.setdefault(item.name, []).append(item)
    return [_row(name, by_name[name]) for name in FAULTS if name in by_name]


def _row(name: str, items: Sequence[Struck]) -> Row:
    verdicts = [item.verdict for item in items if item.verdict is not None]
    found = [verdict.found for verdict in verdicts if verdict.found is not None]
    deadlines_s = [verdict.deadline_s for verdict in verdicts]
    first = [
        verdict
        for verdict in verdicts
        if (verdict.harmed_s or inf) < (verdict.found.delay_s if verdict.found else inf)
    ]
    return Row(
        name,
        len(verdicts),
        tuple(Counter(alarm.tag for alarm in found).most_common()),
        tuple(sorted(alarm.delay_s for alarm in found)),
        (min(deadlines_s), max(deadlines_s)),
        sum(verdict.word == "past" for verdict in verdicts),
        sum(verdict.word == "late" for verdict in verdicts),
        sum(verdict.word == "missed" for verdict in verdicts),
        len(first),
    )


@dataclass(frozen=True, slots=True)
class Found:
    """What a campaign found.

    Attributes:
        cures: all of them.
    """

    cures: tuple[Cured, ...]

    @property
    def struck(self) -> list[Struck]:
        """All forks."""
        return [item for cure in self.cures for item in cure.struck]

    @property
    def rows(self) -> list[Row]:
        """A row for each fault that struck where everything is fitted."""
        return rows_of(item for item in self.struck if item.fittings == "all")

    def rows_with(self, fittings: str) -> list[Row]:
        """The same where less is fitted."""
        return rows_of(item for item in self.struck if item.fittings == fittings)

    @property
    def wrong(self) -> list[Struck]:
        """Faults missed or late where everything is fitted, but for those that wait."""
        return [
            item
            for item in self.struck
            if item.fittings == "all"
            and item.verdict is not None
            and item.verdict.word in ("late", "missed")
            and not not_built(FAULTS[item.name].wakes)
        ]

    @property
    def past(self) -> list[Struck]:
        """Faults found after the deadline but before the harm, everything fitted."""
        return [
            item
            for item in self.struck
            if item.fittings == "all" and item.verdict is not None and item.verdict.word == "past"
        ]

    @property
    def disturbed(self) -> list[Struck]:
        """Forks in which a disturbance woke what it may not."""
        return [item for item in self.struck if item.false]

    @property
    def crying(self) -> list[Cured]:
        """Cures with a false alarm while nothing was broken."""
        return [cure for cure in self.cures if cure.false]

    @property
    def false_share(self) -> Share:
        """Whole healthy cures with a false alarm, of all."""
        whole = [cure for cure in self.cures if cure.ended != "settled"]
        return share_of(sum(bool(cure.false) for cure in whole), len(whole))

    @property
    def disturbed_share(self) -> Share:
        """Disturbances with an alarm, of all."""
        of = sum(item.verdict is None for item in self.struck)
        return share_of(len(self.disturbed), of)

    @property
    def false(self) -> list[FalseAlarm]:
        """All false alarms of healthy cures."""
        return [alarm for cure in self.cures for alarm in cure.false]

    @property
    def prompts(self) -> Counter[str]:
        """Prompts in healthy cures, by hazard."""
        counted: Counter[str] = Counter()
        for cure in self.cures:
            counted.update(dict(cure.prompts))
        return counted


def shown_s(seconds: float | None) -> str:
    """A time as people say it."""
    if seconds is None:
        return NOTHING
    if seconds == inf:
        return "none"
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"


def table(rows: Iterable[Row]) -> list[list[str]]:
    """Cells of the table of faults, with its head."""
    head = ["fault", "found by", "struck", "median", "worst", "deadline", "past", "late", "missed"]
    cells = [head]
    for row in rows:
        by = ", ".join(f"{tag} {n}" if len(row.by) > 1 else tag for tag, n in row.by)
        low, high = (shown_s(end) for end in row.deadline_s)
        cells.append(
            [
                row.name,
                WAITING if row.waits else by or "nothing",
                str(row.times),
                shown_s(row.median_s),
                shown_s(row.worst_s),
                low if low == high else f"{low} to {high}",
                str(row.past),
                str(row.late),
                NOTHING if row.waits else str(row.missed),
            ]
        )
    return cells


def again(item: Struck | Cured) -> str:
    """The one command that repeats a case alone."""
    command = f"python -m tests.campaign --cure {item.seed} --fittings {item.fittings}"
    command += f" --mode {item.mode}"
    if isinstance(item, Cured):
        return command
    return f"{command} --{'fault' if item.verdict is not None else 'disturbance'} {item.name}"

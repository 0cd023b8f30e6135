"""What a campaign found, for a terminal and for docs/detection.md."""

from collections import Counter
from collections.abc import Iterable

from simulator.faults import area_of
from tests.campaign.cures import Cured, Struck
from tests.campaign.draws import FAULTS
from tests.campaign.known import KNOWN
from tests.campaign.table import Found, Row, Share, again, table

CURES = 1000
CASES_SHOWN = 40


def summary(found: Found) -> str:
    """Table, false alarms, and how to repeat what is wrong."""
    lines = _aligned(table(found.rows))
    lines += ["", *_counts(found), ""]
    lines += _cases(found)
    return "\n".join(lines) + "\n"


def _aligned(cells: list[list[str]]) -> list[str]:
    widths = [max(len(row[place]) for row in cells) for place in range(len(cells[0]))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in cells
    ]


def _counts(found: Found) -> list[str]:
    alarms = Counter(f"{alarm.tag} {alarm.state}" for alarm in found.false)
    prompts = ", ".join(f"{tag} {count}" for tag, count in sorted(found.prompts.items()))
    hours = sum(cure.hours for cure in found.cures)
    not_home = [cure for cure in found.cures if cure.ended not in ("home", "settled")]
    return [
        f"whole cures, nothing broken: {found.false_share.of}; {hours:.0f} h of plant time in all; "
        f"not ended at home: {len(not_home)}",
        f"with a false alarm: {_share(found.false_share)}",
        f"false alarms: {_counted(alarms)}",
        f"disturbances with an alarm they may not wake: {_share(found.disturbed_share)}",
        f"prompts: {prompts or 'none'}",
        f"faults late or missed: {len(found.wrong)} of {_struck_all(found)}",
    ]


def _struck_all(found: Found) -> int:
    return sum(row.times for row in found.rows if not row.waits)


def _counted(alarms: Counter[str]) -> str:
    return ", ".join(f"{name} {count}" for name, count in alarms.most_common()) or "none"


def _share(share: Share) -> str:
    if not share.of:
        return "none tried"
    rate, low, high = (100 * part for part in (share.hits / share.of, share.low, share.high))
    return (
        f"{share.hits} of {share.of}, {rate:.2f} per 100, "
        f"exact interval of 95 %: {low:.2f} to {high:.2f}"
    )


def _cases(found: Found) -> list[str]:
    cases: list[Struck | Cured] = [*found.wrong, *found.crying, *found.disturbed, *found.past]
    lines = [f"{said_of(case)}\n    {again(case)}" for case in cases[:CASES_SHOWN]]
    if len(cases) > CASES_SHOWN:
        lines.append(f"and {len(cases) - CASES_SHOWN} more")
    return lines


def said_of(case: Struck | Cured) -> str:
    """One case in a line: what was said, when, and by when it should have been."""
    if case.false:
        what = "healthy cure" if isinstance(case, Cured) else case.name
        said = "; ".join(
            f"{alarm.tag} {alarm.state} at {alarm.at_s:.0f} s: {alarm.said}"
            for alarm in case.false[:4]
        )
        return f"FALSE {what}: {said}"
    if isinstance(case, Cured) or case.verdict is None:
        return case.mode
    verdict = case.verdict
    by = "nothing said"
    if verdict.found is not None:
        by = f"{verdict.found.tag} {verdict.found.state} after {verdict.found.delay_s:.0f} s"
    harm = "" if verdict.harmed_s is None else f", harm after {verdict.harmed_s:.0f} s"
    wakes = ", ".join(FAULTS[case.name].wakes)
    return (
        f"{verdict.word.upper()} {case.name}: {by}, deadline {verdict.deadline_s:.0f} s{harm}; "
        f"should wake {wakes}"
    )


def page(found: Found, seed: int) -> str:
    """docs/detection.md: the same seed and cures give the same page."""
    by_area: dict[str, list[Row]] = {}
    for row in found.rows:
        by_area.setdefault(area_of(FAULTS[row.name]), []).append(row)
    parts = [HEAD.format(seed=seed, cures=len(found.cures))]
    parts += ["## Healthy cures", "", *(f"- {line}" for line in _counts(found)), ""]
    parts += ["## What broke, everything fitted", "", HOW_TO_READ]
    for area, rows in sorted(by_area.items()):
        parts += [f"### {area.capitalize()}", "", *_markdown(table(rows)), ""]
    parts += ["## With less fitted", "", LESS, *_markdown(_less(found)), ""]
    parts += ["## Known to be missed or late", ""]
    parts += [f"- `{item.name}`, {item.word} at the worst: {item.why}." for item in KNOWN]
    parts += ["", NOT_PROVED]
    return "\n".join(parts)


def _markdown(cells: list[list[str]]) -> list[str]:
    head, *rows = (f"| {' | '.join(row)} |" for row in cells)
    return [head, "|" + "---|" * len(cells[0]), *rows]


def _less(found: Found) -> list[list[str]]:
    cells = [["fitted", "faults struck", "found", "late", "missed", "missed every time"]]
    for fittings in ("usual", "few"):
        rows = found.rows_with(fittings)
        blind = [row.name for row in rows if row.missed == row.times and not row.waits]
        cells.append(
            [
                fittings,
                *_sums(row for row in rows if not row.waits),
                ", ".join(blind) or "none",
            ]
        )
    return cells


def _sums(rows: Iterable[Row]) -> list[str]:
    counted = list(rows)
    times = sum(row.times for row in counted)
    late, missed = sum(row.late for row in counted), sum(row.missed for row in counted)
    return [str(times), str(times - late - missed), str(late), str(missed)]


HEAD = """# What is found, how soon, and how often nothing was wrong

Generated by `python -m tests.campaign --report` (seed {seed}, {cures} cures); run it again
after a change of rules or plant. Everything in it happened on a pretend rig, all of whose
figures are invented and of a plausible size. **It proves nothing about your rig.**

Each cure is drawn by its seed: pads, bags, repair of 20 to 80 mm, air of -15 to 40 °C, up to
3,000 m, three ways to hold the air, noise, a second repair on warm pads, people who come late,
go for coffee or press another button first. It runs whole, nothing broken, against the rules
that the daemon runs, with heat permit, horn and lamps in the loop. At its onset each fault is
struck on a copy of the cure as it then is; its size is drawn between its bounds.
"""

HOW_TO_READ = """A fault is **found** when one of the hazards named for it in
[faults.md](faults.md) warns or trips; a prompt does not count unless prompting is all that
the hazard does. It is **late** when that comes after the harm by the plant's own truth or,
where no plant can measure the harm, after the fault's deadline: when harm could be done at
the earliest if nobody did anything. **Past** the deadline, and by the truth before any harm,
is counted apart. Delays are from the strike. `waits for its hazard`: that hazard needs the
estimate of the cure or the records, which are not built yet.
"""

LESS = """`all` above is every channel there is. `usual` is the example configuration: no
currents, no wall, no contact of contactor, cut-out or horn. `few` is two pads, two bags, the
buttons and the relays, and nothing else. What is not fitted is not judged: these are
missed because nothing on the rig tells.
"""

NOT_PROVED = """## What this does not prove

- The plant is ours, and so are its faults: a fault nobody thought of is in neither.
- It leaves out the heat of the cure reaction, moisture and steam, the tyre's curve and cords,
  a third dimension beyond middle and edge, movement when pins are out, earth leakage, smoke
  and fire ([simulator.md](simulator.md)).
- One fault at a time. Two at once are scenarios of their own.
- The wires are shortened: frames are made as the drivers would make them, but no driver,
  store or broker takes part. The promises on time from frame to relay are held elsewhere.
- The interval counts chance over the draws, not how far the draws are from a real workshop.
- Found means that a person could hear of it, not that the person comes.
"""

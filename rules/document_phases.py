"""Writes `docs/phases.md`: the phases and the ways between them, from the table.

`python -m rules.document_phases` prints it; `docs/build.sh` puts it in its place.

Source:
    Own layout; the rows are those of `rules.phases.TABLE`.
"""

import sys

from rules.phases import BETWEEN_RUNS, TABLE, TITLES, Phase, Row

HEAD = """# Phases

Made from `rules/phases.py` by `python -m rules.document_phases`; change it there,
not here.

The phase is worked out from good readings of the pads and bags that are fitted.
In each frame the rows for the present phase are tried from top to bottom, and
the first that holds is taken; so at most one way is gone per frame. The figures
are in `[phases]` of a rig's limits. A press of start that allows heat between
two runs enters preheat by itself. Where the past is not known (a new record, or
no frames for over 10 min), the phase is found from one frame and marked so.

"Empty" means that the gauges show next to nothing. It does not mean that a bag is
soft: feel it by hand before a pin is touched.

| phase | shown as | a run is open |
|---|---|---|
"""


def phases_page(table: tuple[Row, ...] = TABLE) -> str:
    """The whole page, in Markdown.

    Args:
        table: in the order in which it is tried.

    Source:
        Own layout.
    """
    phases = "".join(
        f"| `{phase}` | {TITLES[phase]} | {'no' if phase in BETWEEN_RUNS else 'yes'} |\n"
        for phase in Phase
    )
    rows = "".join(f"| {_names(row)} | `{row.target}` | {row.why} |\n" for row in table)
    return f"{HEAD}{phases}\n| from | to | when |\n|---|---|---|\n{rows}\n{_diagram(table)}"


def _names(row: Row) -> str:
    return ", ".join(f"`{phase}`" for phase in Phase if phase in row.sources)


def _diagram(table: tuple[Row, ...]) -> str:
    ways = [
        f"    {phase} --> {row.target}" for row in table for phase in Phase if phase in row.sources
    ]
    lines = ["```mermaid", "stateDiagram-v2", "    [*] --> idle", *dict.fromkeys(ways), "```", ""]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(phases_page())

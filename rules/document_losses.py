"""Writes `docs/lost-sensors.md`: what may go on when a sensor is lost, from the code.

`python -m rules.document_losses` prints it; `docs/build.sh` puts it in its place.

Source:
    Own layout; the texts are those of `rules.losses`, the times the hazards' defaults.
"""

import sys

from rules.hazards import HAZARDS
from rules.losses import LOSSES, Loss, Lost
from rules.phases import Phase

BY_NAME = {hazard.name: hazard for hazard in HAZARDS}
COLUMNS = ("phase", "told after", "heat goes after", "what may go on", "looked at instead")

HEAD = """# When a sensor is lost

Made from `rules/losses.py` by `python -m rules.document_losses`; change it there, not
here.

What cannot be read is unknown from the first moment on: the last good value is never
gone by. What may go on, for how long, and what is looked at instead, in each phase. The
times are defaults and can be set. Heat goes off only where it is on; to *keep the air on*
is right everywhere. A channel that is not fitted is not lost: it is not judged.

No sensor stands in for another pad's: what the inner pad has says nothing of the outer
one. Without ambient temperature the air's model takes `air.ambient_c` and says nothing;
without a measured supply `supply.low` is not judged. This is supervision, no certified
safety function.
"""


def losses_page() -> str:
    """The whole page, in Markdown.

    Source:
        Own layout.
    """
    return HEAD + "".join(_section(lost) for lost in Lost)


def _section(lost: Lost) -> str:
    rows = "".join(_row(names, loss) for names, loss in _alike(lost))
    tag = BY_NAME[LOSSES[lost, Phase.CURE].hazard].row.tag
    heading = f"\n## {lost.value[0].upper()}{lost.value[1:]}\n\nTold by [`{tag}`](alarms.md).\n\n"
    return f"{heading}| {' | '.join(COLUMNS)} |\n|{'---|' * len(COLUMNS)}\n{rows}"


def _alike(lost: Lost) -> list[tuple[str, Loss]]:
    """Phases in which the same goes, together, in the order of the phases."""
    found: dict[Loss, list[str]] = {}
    for phase in Phase:
        found.setdefault(LOSSES[lost, phase], []).append(phase.value.replace("_", " "))
    return [(", ".join(names), loss) for loss, names in found.items()]


def _row(names: str, loss: Loss) -> str:
    limits = BY_NAME[loss.hazard].limits_type()
    told = f"{getattr(limits, loss.told_after):g} s"
    heat = f"{getattr(limits, loss.heat_after):g} s" if loss.heat_after else "not for this"
    if loss.sooner:
        heat += f"; at once when {loss.sooner}"
    cells = (names, told, heat, loss.goes_on, loss.evidence or "nothing can stand in")
    return f"| {' | '.join(cells)} |\n"


if __name__ == "__main__":
    sys.stdout.write(losses_page())

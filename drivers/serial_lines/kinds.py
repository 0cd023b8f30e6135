"""Serial lines as a configuration names them, and what is wrong with a link as a whole."""

from collections.abc import Iterator, Mapping
from typing import Any

from drivers.base import LinkKind
from drivers.serial_lines.device import open_link
from drivers.serial_lines.registers import LinesSettings, PointSettings


def faults(
    settings: LinesSettings, points: Mapping[str, PointSettings], outputs: Mapping[str, Any]
) -> Iterator[str]:
    """What is wrong with a link as a whole, in words."""
    for name in outputs:
        yield f"{name}: a board that sends lines only reads; put outputs on another kind of link"
    if settings.form == "csv":
        for name, point in points.items():
            if point.key not in settings.columns:
                yield (
                    f"{name}: key = {point.key!r} is none of the columns "
                    f"({', '.join(settings.columns)}); correct key, or add it to columns in its "
                    "place"
                )


KINDS = (
    LinkKind(
        name="serial_lines",
        title="Lines from a board on a serial port",
        settings=LinesSettings,
        point=PointSettings,
        output=None,
        open=open_link,
        address=LinesSettings.where,
        place=lambda point: f"key {point.key}",
        claims=lambda point: (point.key,),
        fill_in=lambda _link, entry, _folder: dict(entry),
        fill_in_link=lambda link, _folder: dict(link),
        faults=faults,
    ),
)

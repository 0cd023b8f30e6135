"""The kernel's sensors as a configuration names them."""

from collections.abc import Iterator, Mapping
from typing import Any

from drivers.base import LinkKind
from drivers.linux_iio.device import open_link
from drivers.linux_iio.registers import PointSettings, SysfsSettings


def faults(
    settings: SysfsSettings, points: Mapping[str, PointSettings], outputs: Mapping[str, Any]
) -> Iterator[str]:
    """What is wrong with a link as a whole, in words."""
    for name in outputs:
        yield f"{name}: the kernel's sensors are only read; put outputs on another kind of link"


KINDS = (
    LinkKind(
        name="linux_iio",
        title="Sensors the kernel drives (IIO and hwmon)",
        settings=SysfsSettings,
        point=PointSettings,
        output=None,
        open=open_link,
        address=lambda settings: settings.sysfs,
        place=lambda point: f"{point.found_by} {point.attribute}",
        claims=lambda point: ((point.found_by, point.attribute),),
        fill_in=lambda _link, entry, _folder: dict(entry),
        fill_in_link=lambda link, _folder: dict(link),
        faults=faults,
    ),
)

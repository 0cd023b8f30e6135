"""Modbus as a configuration names it: the two wires, and what is wrong with a link as a whole."""

from collections.abc import Iterator, Mapping

from drivers.base import LinkKind
from drivers.modbus.device import open_link
from drivers.modbus.modules import fill_in, fill_in_link
from drivers.modbus.registers import (
    Addressed,
    OutputSettings,
    PointSettings,
    PollSettings,
    RtuSettings,
    TcpSettings,
)
from drivers.modbus.schedule import fits

# A module's own time-out guards against a dead computer; much longer than what
# guards against a hung rig, it would guard against little.
WATCHDOG_HOLDS_MAX = 3
EVERYBODY = 0
NO_UNITS_BEHIND = 255

Points = Mapping[str, PointSettings]
Outputs = Mapping[str, OutputSettings]


def place(entry: Addressed) -> str:
    """Where a point or an output is, in a few words."""
    return f"unit {entry.unit} {_table(entry)} {entry.number}"


def claims(entry: Addressed) -> set[tuple[int, str, int]]:
    """The registers or bits a point or an output takes for itself."""
    width = entry.width if isinstance(entry, PointSettings) else 1
    table = _table(entry)
    return {(entry.unit, table, entry.number + step) for step in range(width)}


def _table(entry: Addressed) -> str:
    return entry.table if isinstance(entry, PointSettings) else "coil"


def tcp_faults(settings: TcpSettings, points: Points, outputs: Outputs) -> Iterator[str]:
    """What is wrong with a link over TCP as a whole, in words."""
    yield from _watchdog_faults(settings)


def rtu_faults(settings: RtuSettings, points: Points, outputs: Outputs) -> Iterator[str]:
    """What is wrong with a serial bus as a whole, in words."""
    too_short_or_long = list(_watchdog_faults(settings))
    yield from too_short_or_long or _lost_answer_faults(settings)
    named = {f"units.{unit}": int(unit) for unit in settings.units}
    named |= {name: entry.unit for name, entry in {**points, **outputs}.items()}
    for name, unit in named.items():
        if unit in (EVERYBODY, NO_UNITS_BEHIND):
            yield f"{name}: no module on a serial bus has unit {unit}; give 1 to 247"
    yield from fits(settings, points, outputs)


def _watchdog_faults(settings: PollSettings) -> Iterator[str]:
    least_s = settings.period_s + settings.timeout_s
    most_s = WATCHDOG_HOLDS_MAX * settings.hold_s
    for unit, known in settings.units.items():
        if known.watchdog_s is None:
            continue
        key = f"units.{unit}.watchdog_s = {known.watchdog_s:g}"
        if known.watchdog_s <= least_s:
            yield (
                f"{key} is not above period_s + timeout_s = {least_s:g}, so the module would let "
                "go between two polls; raise watchdog_s or lower period_s"
            )
        elif known.watchdog_s > most_s:
            yield (
                f"{key} is above {WATCHDOG_HOLDS_MAX} x hold_s = {most_s:g}, so the module would "
                "keep heat on long after this program died; lower watchdog_s"
            )


def _lost_answer_faults(settings: RtuSettings) -> Iterator[str]:
    """Time-outs that one lost answer would let run out, as its module is then left alone."""
    # At exactly `late_s` it may be a hair's breadth too early: then one period more.
    periods = 2 + int(settings.late_s / settings.period_s)
    least_s = periods * settings.period_s + settings.timeout_s
    for unit, known in settings.units.items():
        if known.watchdog_s is not None and known.watchdog_s <= least_s:
            yield (
                f"units.{unit}.watchdog_s = {known.watchdog_s:g} is not above {least_s:g}, and one "
                f"lost answer would open its relays: after it the module is not asked for late_s = "
                f"{settings.late_s:g}; raise watchdog_s, or lower late_s or period_s"
            )


KINDS = (
    LinkKind(
        name="modbus_tcp",
        title="Modbus over TCP",
        settings=TcpSettings,
        point=PointSettings,
        output=OutputSettings,
        open=open_link,
        address=lambda settings: (settings.host, settings.port),
        place=place,
        claims=claims,
        fill_in=fill_in,
        fill_in_link=fill_in_link,
        faults=tcp_faults,
    ),
    LinkKind(
        name="modbus_rtu",
        title="Modbus on a serial bus",
        settings=RtuSettings,
        point=PointSettings,
        output=OutputSettings,
        open=open_link,
        address=RtuSettings.where,
        place=place,
        claims=claims,
        fill_in=fill_in,
        fill_in_link=fill_in_link,
        faults=rtu_faults,
    ),
)

"""`curehold check`: is the configuration right, and does every wire answer?"""

import asyncio
import shutil
from collections.abc import Iterator, Mapping, Sequence
from importlib.metadata import PackageNotFoundError, distribution
from importlib.util import find_spec
from pathlib import Path

from daemon.clock import RealClock
from daemon.config import Config, RigConfig
from daemon.inputs import sample_of
from daemon.tools.broker import broker_faults
from daemon.tools.show import complain, say, say_json, say_wrapped, table
from daemon.wiring import ChannelConfig
from drivers.base import Link, Sample
from drivers.sensors import SIGNAL_UNITS
from rules.channels import BY_NAME, OUTPUTS_BY_NAME, Kind

# Far above what the links' own time-outs add up to.
LINK_S_MAX = 120.0
PACKAGES = ("daemon", "drivers", "rules", "simulator")


def misplaced_packages() -> list[str]:
    """Those of our packages that Python would take from somewhere else."""
    try:
        ours = {str(file) for file in distribution("curehold").files or ()}
        root = Path(str(distribution("curehold").locate_file(""))).resolve()
    except PackageNotFoundError:
        return ["curehold is not installed: install it in an environment of its own"]
    found = []
    for name in PACKAGES:
        spec = find_spec(name)
        place = Path(spec.origin).resolve() if spec and spec.origin else None
        installed = f"{name}/__init__.py" in ours and place == root / name / "__init__.py"
        editable = place is not None and place.parent.parent == Path(__file__).resolve().parents[2]
        if not installed and not editable:
            found.append(
                f"package {name} comes from {place}, not from curehold; "
                "install curehold in an environment of its own"
            )
    return found


async def read_once(config: Config) -> tuple[dict[str, Sample], list[str]]:
    """Every configured point, read once over its real link, and what the links remark."""
    found: dict[str, Sample] = {}
    remarks: list[str] = []
    for name, link in config.open_links(RealClock()).items():
        try:
            try:
                async with asyncio.timeout(LINK_S_MAX):
                    await link.poll_once()
            except TimeoutError:
                remarks.append(
                    f"link {name}: not read to its end within {LINK_S_MAX:g} s; pull the adapter "
                    "or the network plug, put it back and try again"
                )
            found |= link.snapshot()
            remarks += _remarks(name, link)
        finally:
            await link.close()
    return found, remarks


def _remarks(name: str, link: Link) -> Iterator[str]:
    """What the link remarks, each by its name."""
    own = f"link {name}: "
    yield from (remark if remark.startswith(own) else own + remark for remark in link.remarks())


def show_channels(config: Config, *, as_json: bool, offline: bool) -> int:
    """Show what every channel reads now.

    Args:
        config: already found valid.
        as_json: one JSON document a channel.
        offline: do not touch the wires.

    Returns:
        0 when all is well, 1 when a channel cannot be read, a link remarks
        something, a package is not ours, or a file for the broker is not as it
        must be.
    """
    faults = misplaced_packages() + broker_faults(config)
    for fault in faults:
        complain(fault)
    counted = {"rigs": len(config.rigs), "links": len(config.links)}
    if offline:
        if as_json:
            say_json({"configuration": "right", **counted, "faults": faults})
        else:
            also = " What else is wrong is told above." if faults else ""
            say("Configuration is right: {rigs} rig(s), {links} link(s).".format(**counted) + also)
        return 1 if faults else 0
    samples, remarks = asyncio.run(read_once(config))
    rows = list(_rows(config, samples))
    bad = sum(row["quality"] != "good" for row in rows)
    if as_json:
        for row in rows:
            say_json(row)
        for remark in remarks:
            say_json({"remark": remark})
    else:
        _show(config, rows)
        for remark in remarks:
            say_wrapped(remark, indent="", hang="  ")
        also = " What else is wrong is told above." if faults or remarks else ""
        read = f"{len(rows)} read, {f'{bad} of them not' if bad else 'all'} good."
        say_wrapped(read + also, indent="", hang="  ")
    return 1 if bad or faults or remarks else 0


def _show(config: Config, rows: list[dict[str, object]]) -> None:
    for rig in config.rigs:
        say(f"{rig.limits.facts.title} ({rig.name})")
        own = [row for row in rows if row["rig"] == rig.name]
        extra = [name for name in ("signal", "correction") if any(row.get(name) for row in own)]
        head = ("channel", "reads", *extra, "state", "link", "place")
        cells = [[str(row.get(name, "")) for name in head] for row in own]
        if _width(head, cells) < shutil.get_terminal_size().columns:
            table(head, cells)
        else:
            _show_narrow(head, cells)
        say_wrapped(heat_words(rig), indent="", hang="  ")
        say()


def _width(head: Sequence[str], cells: Sequence[Sequence[str]]) -> int:
    columns = zip(head, *cells, strict=True)
    return sum(max(map(len, column)) + 2 for column in columns) - 2


def _show_narrow(head: Sequence[str], cells: Sequence[Sequence[str]]) -> None:
    """Link and place of each channel on a line of their own; the terminal is too narrow."""
    widths = [max(map(len, column)) for column in zip(head, *cells, strict=True)]
    for row in (head, *cells):
        padded = (cell.ljust(width) for cell, width in zip(row[:-2], widths, strict=False))
        say("  ".join(padded).rstrip())
        say(f"    {row[-2]}, {row[-1]}")


def heat_words(rig: RigConfig) -> str:
    """What this program can do about the heat of a rig."""
    lacking = [
        what
        for name, fitted, what in (
            ("heat_permit", rig.outputs, "heat_permit relay"),
            ("start_button", rig.channels, "start_button"),
        )
        if name not in fitted
    ]
    if lacking:
        return f"WATCH-ONLY: no {' and no '.join(lacking)} is configured; heat is not cut here."
    return "Heat: this program can take it away, and allows it only after start is pressed."


def _rows(config: Config, samples: Mapping[str, Sample]) -> Iterator[dict[str, object]]:
    for rig in config.rigs:
        for name, channel in rig.channels.items():
            key = f"{rig.name}/{name}"
            place = config.links[channel.link].kind.place(channel.point)
            read = sample_of(key, channel, samples)
            row = _row((rig.name, name), read, (channel.link, place))
            yield row | _signal(channel, samples[key], samples.get(f"{key}.cold_junction"))
        for name, output in rig.outputs.items():
            place = config.links[output.link].kind.place(output.output)
            read = samples[f"{rig.name}/{name}"]
            yield _row((rig.name, name), read, (output.link, place))


def _signal(channel: ChannelConfig, sample: Sample, terminals: Sample | None) -> dict[str, object]:
    """What came over the wire, for whoever looks for a fault in the wiring."""
    if channel.sensor is None:
        return {"signal": "", "correction": _corrected_on(channel)}
    unit = SIGNAL_UNITS[channel.sensor.signal]
    shown = "-" if sample.value is None else f"{sample.value:.4g} {unit}"
    if terminals is not None:  # ten times too much or too little looks like a value, but not here
        shown += " at " + ("-" if terminals.value is None else f"{terminals.value:.1f} °C")
    return {"signal": shown, "correction": _corrected_on(channel)}


def _corrected_on(channel: ChannelConfig) -> str:
    return "" if channel.correction is None else channel.correction.on.isoformat()


def _row(whose: tuple[str, str], sample: Sample, where: tuple[str, str]) -> dict[str, object]:
    rig, name = whose
    link, place = where
    channel = BY_NAME.get(name) or OUTPUTS_BY_NAME[name]
    if sample.value is None:
        reads = "-"
    elif channel.kind in (Kind.SWITCH, Kind.OUTPUT):
        reads = "on" if sample.value else "off"
    else:  # always with tenths: who compares with a reference writes down what stands here
        reads = f"{sample.value:.1f} {channel.unit}"
    return {
        "rig": rig,
        "channel": name,
        "reads": reads,
        "value": sample.value,
        "quality": sample.quality,
        "reason": sample.reason,
        "state": sample.reason.replace("_", " ") or sample.quality,
        "link": link,
        "place": place,
    }

"""`curehold export`: a stored run as CSV for a spreadsheet, or as JSON Lines."""

import csv
import json
import math
from collections.abc import Iterator
from dataclasses import asdict
from typing import IO

from daemon.notify.messages import utc_text
from daemon.replay import Folded, fold_run
from daemon.store.reader import StoreReader
from daemon.store.records import RunRecord
from daemon.tools.show import Progress, json_text
from rules.channels import BY_NAME, CHANNELS, Kind
from rules.events import as_dict
from rules.frame import NS_PER_S, Quality, Reading

EXTRA = ("seq", "phase", "permit", "hold_s", "not_good", "alarms")


def export_csv(reader: StoreReader, run_id: int, out: IO[str]) -> int:
    """Write a run as RFC 4180 CSV; it can be replayed as a trace.

    A reading that is not good leaves its cell empty; the column `not_good`
    says why.

    Returns:
        Rows written.
    """
    record = reader.run(run_id)
    writer = csv.writer(out)
    rows = 0
    names: list[str] = []
    for folded in _folded(reader, record):
        if not rows:
            names = [item.name for item in CHANNELS if item.name in folded.frame.values]
            writer.writerow(["time_utc", "time_s", *names, *EXTRA])
        writer.writerow(_row(folded, names))
        rows += 1
    return rows


def export_jsonl(reader: StoreReader, run_id: int, out: IO[str]) -> int:
    """Write a run as JSON Lines: its header, then frames and events in order.

    Returns:
        Lines written.
    """
    record = reader.run(run_id)
    events: dict[int, list[dict[str, object]]] = {}
    for item in reader.events(run_id):
        events.setdefault(item.seq, []).append(
            {"kind": "event", "n": item.n, "hash": item.hash, **as_dict(item.event)}
        )
    lines = 0
    for body in _bodies(reader, record, events):
        out.write(json_text(body) + "\n")
        lines += 1
    return lines


def _bodies(
    reader: StoreReader, record: RunRecord, events: dict[int, list[dict[str, object]]]
) -> Iterator[dict[str, object]]:
    limits = json.loads(reader.limits(record.id))
    yield {"kind": "run", "schema_version": 1, **asdict(record), "limits": limits}
    for folded in _folded(reader, record):
        frame, state, t_s = folded.frame, folded.state, folded.t_s
        values = {
            name: {
                "value": reading.value,
                "quality": reading.quality.value,
                "reason": reading.reason.value,
                "age_s": (frame.t_ns - reading.at_ns) / NS_PER_S,
            }
            for name, reading in frame.values.items()
        }
        yield {
            "kind": "frame",
            "t_s": t_s,
            "time_utc": utc_text(frame.wall_ns),
            "seq": frame.seq,
            "phase": state.place.phase.value,
            "permit": state.permit.state.value,
            "hold_s": state.hold.held_s,
            "values": values,
            "readback": dict(frame.readback),
        }
        for event in events.get(frame.seq, ()):
            yield {**event, "t_s": t_s, "time_utc": utc_text(frame.wall_ns), "seq": frame.seq}


def _folded(reader: StoreReader, record: RunRecord) -> Iterator[Folded]:
    newest = record.closed_seq or record.opened_seq
    progress = Progress("exporting", newest - record.opened_seq)
    for folded in fold_run(reader, record.id):
        progress.reached(folded.frame.seq - record.opened_seq)
        yield folded
    progress.done()


def _usable(reading: Reading) -> bool:
    value = reading.value
    return reading.quality is Quality.GOOD and value is not None and math.isfinite(value)


def _row(folded: Folded, names: list[str]) -> list[str]:
    frame, state = folded.frame, folded.state
    cells = []
    not_good = []
    for name in names:
        reading = frame.values.get(name)
        if reading is None or not _usable(reading):
            cells.append("")
            if reading is not None:
                not_good.append(f"{name}:{reading.reason.value or reading.quality.value}")
        elif BY_NAME[name].kind is Kind.SWITCH:
            cells.append(f"{reading.value:.0f}")
        else:
            cells.append(repr(reading.value))
    alarms = " ".join(item.tag for item in state.alarms.standing)
    return [
        utc_text(frame.wall_ns),
        repr(folded.t_s),
        *cells,
        str(frame.seq),
        state.place.phase.value,
        state.permit.state.value,
        f"{state.hold.held_s:.1f}",
        " ".join(not_good),
        alarms,
    ]

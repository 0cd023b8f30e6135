"""`curehold runs` and `curehold alarms`: what the record holds."""

from dataclasses import asdict

from daemon.notify.messages import utc_text
from daemon.store.reader import StoreReader
from daemon.tools.show import duration, say, say_json, say_wrapped, table
from rules.events import AlarmChanged, as_dict


def show_runs(reader: StoreReader, *, as_json: bool) -> int:
    """Every run, oldest first; 0."""
    runs = reader.runs()
    if as_json:
        for run in runs:
            say_json(asdict(run))
        return 0
    if not runs:
        say("No run is on record yet.")
        return 0
    rows = [
        (
            run.id,
            run.rig,
            utc_text(run.opened_wall_ns)[:16].replace("T", " "),
            "open" if run.outcome is None else run.outcome,
            "-" if run.hold_s is None else duration(run.hold_s),
        )
        for run in runs
    ]
    table(("run", "rig", "opened (UTC)", "outcome", "hold"), rows)
    return 0


def show_alarms(
    reader: StoreReader, *, rig: str | None, run_id: int | None, rows_max: int, as_json: bool
) -> int:
    """Changes of alarms, of a run or the newest of all, in order of time; 0."""
    if run_id is not None:
        found = [item for item in reader.events(run_id) if item.event.event == "alarm"]
    else:
        found = list(reversed(reader.alarms(rig=rig, rows_max=rows_max)))
    if as_json:
        for item in found:
            say_json({"rig": item.rig, "time_utc": utc_text(item.wall_ns), **as_dict(item.event)})
        return 0
    if not found:
        say("No alarm is on record here.")
    for item in found:
        if isinstance(item.event, AlarmChanged):
            when = utc_text(item.wall_ns)[:19].replace("T", " ")
            say(f"{when}  {item.event.state.upper():5} {item.event.tag}")
            say_wrapped(item.event.text, indent="    ", hang="    ")
    return 0

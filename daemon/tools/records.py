"""`curehold runs`: which runs the record holds."""

from dataclasses import asdict

from daemon.notify.messages import utc_text
from daemon.store.reader import StoreReader
from daemon.tools.show import duration, say, say_json, table


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

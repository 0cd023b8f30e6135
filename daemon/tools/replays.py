"""`curehold replay`: judge a stored run or a CSV trace again."""

from pathlib import Path

from daemon.csv_trace import read_trace
from daemon.notify.messages import utc_text
from daemon.replay import Folded, fold_run, fold_trace
from daemon.store.reader import StoreReader
from daemon.tools.journal_words import event_lines
from daemon.tools.show import Progress, complain, say, say_json, say_wrapped
from rules.events import AlarmChanged, Event, as_dict
from rules.limits import LimitsBase
from rules.state import RULES_VERSION


def replay_trace(path: Path, limits: LimitsBase | None, whose: str, *, as_json: bool) -> int:
    """Judge a CSV trace and print its events; 0.

    Args:
        path: the trace.
        limits: to judge by; None: the defaults.
        whose: they are, in words.
        as_json: one JSON document an event.
    """
    trace = read_trace(path)
    if trace.ignored:
        complain(f"{path.name}: ignored, for they are no channels: {', '.join(trace.ignored)}")
    progress = Progress("judging", len(trace.frames))
    count = 0
    for folded in fold_trace(trace, limits):
        progress.reached(folded.frame.seq)
        count += len(folded.decision.events)
        _print(folded, as_json=as_json, wall=trace.has_wall)
    progress.done()
    if not as_json:
        rows = len(trace.frames)
        say_wrapped(
            f"{count} events in {rows} rows, one each {trace.period_s:g} s. Limits: {whose}.",
            indent="",
            hang="  ",
        )
        fitted = ", ".join(trace.channels)
        say_wrapped(f"Fitted: {fitted}. What is not fitted was not judged.", indent="", hang="  ")
    return 0


def replay_run(reader: StoreReader, run_id: int, *, as_json: bool) -> int:
    """Judge a stored run again and hold its events against the stored ones.

    Returns:
        0 when they are equal to the bit, else 1.
    """
    record = reader.run(run_id)
    stored = [(item.seq, item.event) for item in reader.events(run_id)]
    judged: list[tuple[int, Event]] = []
    for folded in fold_run(reader, run_id):
        judged += [(folded.frame.seq, event) for event in folded.decision.events]
        _print(folded, as_json=as_json, wall=True)
    # Of an open run the newest frames may be in one list and not in the other.
    last_seq = min(judged[-1][0], stored[-1][0]) if judged and stored else 0
    if record.outcome is None:
        judged = [item for item in judged if item[0] <= last_seq]
        stored = [item for item in stored if item[0] <= last_seq]
    equal = stored == judged
    if as_json:
        return 0 if equal else 1
    if equal:
        say(f"Run {run_id}: {len(judged)} events, equal to the record to the bit.")
        return 0
    say(f"Run {run_id}: {len(judged)} events now, {len(stored)} on record: NOT equal.")
    if record.rules_version != str(RULES_VERSION):
        say(f"It was judged by rules version {record.rules_version}; these are {RULES_VERSION}.")
    return 1


def _print(folded: Folded, *, as_json: bool, wall: bool) -> None:
    for event in folded.decision.events:
        if as_json:
            body: dict[str, object] = {"t_s": folded.t_s}
            if wall:
                body["time_utc"] = utc_text(folded.frame.wall_ns)
            say_json({**body, **as_dict(event)})
        elif text := words(event):
            say_wrapped(text, indent=f"{clock_of(folded.t_s):>8}  ", hang=" " * 10)


def clock_of(t_s: float) -> str:
    """Time into a run, `h:mm:ss`."""
    minutes, seconds = divmod(int(t_s), 60)
    return f"{minutes // 60}:{minutes % 60:02d}:{seconds:02d}"


def words(event: Event) -> str:
    """One event in words, an alarm's as people are told; empty for what another one tells."""
    if isinstance(event, AlarmChanged):
        return f"{event.state.upper():5} {event.tag}: {event.text}"
    return ": ".join(event_lines(event))

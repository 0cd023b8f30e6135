"""`curehold alarms`: what stands now and what to do, and what people say to it."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

from daemon.notify.messages import AlarmNow, StateMessage
from daemon.tools.live import states_of
from daemon.tools.show import say_json, say_wrapped
from rules.hazards import BY_TAG
from rules.lifecycle import Life


def show_standing(socket: Path, rig: str | None, *, as_json: bool) -> int:
    """What stands, oldest first; 0 when nothing does, else 1."""
    states = [state for state in states_of(socket) if rig in (None, state.rig)]
    for state in states:
        if as_json:
            for body in _bodies(state):
                say_json(body)
            continue
        for line in standing_lines(state):
            lead = line[: len(line) - len(line.lstrip())]
            say_wrapped(line.strip(), indent=lead, hang=lead + "  ")
    return 1 if any(state.alarms for state in states) else 0


def standing_lines(state: StateMessage) -> Iterator[str]:
    """One rig's alarms in short lines, in the order in which they began."""
    run = f"run {state.run}" if state.run else "no run"
    pretend = " (pretend rig)" if state.pretend else ""
    yield f"{state.title}{pretend}: {state.phase_title}, {run}, heat {state.permit}"
    if not state.alarms:
        yield "No alarm stands."
    if state.flood:
        yield "A FLOOD of alarms: begin with the first, it brought the others."
    for alarm, brought in folded(state.alarms):
        yield from _alarm_lines(alarm, state)
        for other in brought:
            yield f"  with it {other.tag}: {other.said}"
    for over in state.over_unseen:
        when = f"{_clock(over.since)} to {_clock(over.over)}"
        yield f"OVER, NOT SEEN {over.tag}, {over.worst}, {when}"
        yield f"  {over.said}"
    for out in state.out_of_service:
        yield f"OUT OF SERVICE {out.tag}, by {out.who} until {_day(out.until)}: {out.why}"


def _alarm_lines(alarm: AlarmNow, state: StateMessage) -> Iterator[str]:
    yield (
        f"{alarm.order} {alarm.state.upper()} {alarm.tag}, {alarm.priority} priority, "
        f"since {_clock(alarm.since)}"
    )
    if alarm.life is Life.SUPPRESSED:
        why = BY_TAG[alarm.tag].row.silent_in.get(state.phase, "") if alarm.tag in BY_TAG else ""
        yield f"  suppressed by design: {why or 'not told in this phase'}"
        yield f"  {alarm.said}"
        return
    yield f"  {alarm.text}"
    yield f"  {_who(alarm)}"
    if alarm.quiet_until is not None:
        yield f"  quiet until {_clock(alarm.quiet_until)}: {alarm.quiet_why}"
    if alarm.life is Life.OUT_OF_SERVICE:
        yield "  out of service: nobody is told of a warning"
    if alarm.comes_and_goes:
        yield "  comes and goes; it stands until it has stayed away"


def _who(alarm: AlarmNow) -> str:
    """Who knows and who comes, in words."""
    seen = f"seen by {alarm.seen_by}" if alarm.seen_by else "NOBODY HAS SEEN IT"
    going = f"{alarm.going_by} is going" if alarm.going_by else "nobody is going"
    words = [seen, going]
    if alarm.attended:
        words.append("someone pressed at the rig")
    if alarm.escalated:
        words.append(f"escalated, step {alarm.escalated}")
    return ", ".join(words)


def folded(alarms: Sequence[AlarmNow]) -> list[tuple[AlarmNow, list[AlarmNow]]]:
    """Each alarm that speaks for itself, with those told with it; none is lost."""
    leader_of = {alarm.tag: alarm.follows for alarm in alarms}

    def root(tag: str) -> str:
        chain = [tag]
        while (leader := leader_of[chain[-1]]) in leader_of and leader not in chain:
            chain.append(leader)
        return chain[-1]

    roots = {alarm.tag: root(alarm.tag) for alarm in alarms}
    leading = [alarm for alarm in alarms if alarm.tag in roots.values()]
    return [
        (
            alarm,
            [other for other in alarms if roots[other.tag] == alarm.tag and other is not alarm],
        )
        for alarm in leading
    ]


def _bodies(state: StateMessage) -> Iterator[dict[str, object]]:
    lists = (
        ("standing", state.alarms),
        ("over_unseen", state.over_unseen),
        ("out_of_service", state.out_of_service),
    )
    for name, items in lists:
        for item in items:
            yield {"rig": state.rig, "list": name, **item.model_dump(mode="json")}


def _clock(utc: str) -> str:
    """A message's time as the clocks on the wall here show it."""
    return f"{datetime.fromisoformat(utc).astimezone():%H:%M}"


def _day(utc: str) -> str:
    return f"{datetime.fromisoformat(utc).astimezone():%Y-%m-%d %H:%M}"

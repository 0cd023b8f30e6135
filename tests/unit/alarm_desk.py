"""Alarms of invented hazards, frame by frame, as somebody at a desk would follow them.

All hazards, figures and names here are invented for the tests.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import pytest

from rules.alarms import AlarmLimits, Alarms, Standing
from rules.annunciator import update
from rules.commands import carry_out
from rules.events import CommandAnswered, Event, Horn, Level
from rules.facts import RigFacts
from rules.following import DEPTH
from rules.frame import NS_PER_S, Command, Frame
from rules.hazards import BY_TAG
from rules.hazards.base import Finding, Priority, Row, Urgency
from rules.messages import telling_of
from rules.phases import Phase
from rules.view import View

WALL_0 = 1_773_471_600 * NS_PER_S
WARN = Finding(Level.WARN, "seen")
TRIP = Finding(Level.TRIP, "seen")
PROMPT = Finding(Level.PROMPT, "press here", Horn.SILENT)


def row(tag: str, priority: Priority, **more: Any) -> Row:
    words = {"title": tag.partition(".")[2], "consequence": "none, it is invented"}
    return Row(tag=f"{tag}", priority=priority, **{**words, "warn_do": "Look.", **more})


ROWS = (
    row("demo.high", Priority.HIGH, trip_do="KEEP AIR ON."),
    row("demo.medium", Priority.MEDIUM, trip_do="KEEP AIR ON."),
    row("demo.low", Priority.LOW, trip_do="KEEP AIR ON."),
    row("demo.morning", Priority.HIGH, trip_do="Wait.", warn_urgency=Urgency.MORNING),
    row("demo.phased", Priority.HIGH, trip_do="Wait.", silent_in={Phase.PREHEAT: "cold"}),
    row("demo.trips", Priority.HIGH, warn_do="", trip_do="Run.", trip_horn=Horn.STAND_CLEAR),
    row("demo.cause", Priority.HIGH, trip_do="CLOSE AIR."),
    row("demo.brought", Priority.HIGH, trip_do="REFILL.", follows=("demo.cause",)),
    row("demo.after", Priority.HIGH, trip_do="REFILL.", follows=("demo.brought", "demo.cause")),
    row("demo.urgent", Priority.HIGH, trip_do="RUN.", follows=("demo.medium", "demo.morning")),
    row("demo.this", Priority.HIGH, trip_do="RUN.", follows=("demo.that",)),
    row("demo.that", Priority.HIGH, trip_do="RUN.", follows=("demo.this",)),
    row("demo.sooner", Priority.HIGH, trip_do="FILL.", follows=("demo.later",)),
    row("demo.later", Priority.HIGH, trip_do="REFILL.", told_with=("demo.sooner",)),
    row("demo.clear", Priority.HIGH, trip_do="RUN.", follows=("demo.cause",)),
    *(row(f"demo.n{number}", Priority.LOW, trip_do="Wait.") for number in range(14)),
)
DEMO_DEPTH = {
    "demo.brought": 1,
    "demo.after": 2,
    "demo.urgent": 1,
    "demo.this": 1,
    "demo.that": 1,
    "demo.sooner": 1,
    "demo.clear": 1,
}


@contextmanager
def demo_hazards() -> Iterator[None]:
    """The invented hazards are in the alarm table meanwhile."""
    with pytest.MonkeyPatch.context() as patch:
        for item in ROWS:
            patch.setitem(BY_TAG, item.tag, SimpleNamespace(row=item))
            patch.setitem(DEPTH, item.tag, DEMO_DEPTH.get(item.tag, 0))
        yield


@dataclass
class Desk:
    """Alarms as they go on; `told` is what the newest call told."""

    limits: AlarmLimits = field(default_factory=AlarmLimits)
    alarms: Alarms = field(default_factory=Alarms)
    now_s: float = 0.0
    phase: Phase = Phase.CURE
    found: dict[str, Finding] = field(default_factory=dict)
    told: list[Event] = field(default_factory=list)
    commands: int = 0

    def see(self, after_s: float = 1.0, *, pressed: bool = False, **found: Finding) -> "Desk":
        """One frame, some time after the last one, with exactly these findings.

        Tags are written with `__` for the dot.
        """
        self.found = {tag.replace("__", "."): finding for tag, finding in found.items()}
        return self._frame(after_s, pressed=pressed)

    def on(self, after_s: float = 1.0) -> "Desk":
        """One frame in which all is found as before."""
        return self._frame(after_s, pressed=False)

    def press(self, after_s: float = 1.0) -> "Desk":
        """Someone presses a button at the rig; all is found as before."""
        return self._frame(after_s, pressed=True)

    def during(self, seconds: float, every_s: float = 10.0) -> "Desk":
        """Frames for a while, all found as before; `told` has everything of it."""
        everything: list[Event] = []
        for _ in range(round(seconds / every_s)):
            everything += self.on(every_s).told
        self.told = everything
        return self

    def _frame(self, after_s: float, *, pressed: bool) -> "Desk":
        self.now_s += after_s
        findings = sorted(self.found.items())
        self.alarms, events = update(self.limits, self.alarms, findings, self.view(pressed))
        self.told = list(events)
        return self

    def view(self, pressed: bool = False) -> View:
        return View(
            self.frame(),
            RigFacts(title="BAY 2"),
            round(self.now_s * NS_PER_S),
            dt_s=1.0,
            phase=self.phase,
            watch_only=False,
            someone_here=pressed,
        )

    def frame(self) -> Frame:
        t_ns = round(self.now_s * NS_PER_S)
        return Frame(1, t_ns, WALL_0 + t_ns, True, "boot", {})

    def ask(self, verb: str, tag: str = "", who: str = "Ada", **more: Any) -> str:
        """Someone afar asks for something: what is answered; `told` has the rest."""
        self.commands += 1
        command = Command(f"c-{self.commands}", verb, who, "socket", 0, tag, **more)
        telling = telling_of("BAY 2", self.frame(), watch_only=False)
        self.alarms, _, events = carry_out(
            self.limits, self.alarms, (), command, round(self.now_s * NS_PER_S), telling
        )
        answer = events[0]
        assert isinstance(answer, CommandAnswered)
        self.told = list(events[1:])
        return f"{'done' if answer.accepted else 'refused'}: {answer.answer}"

    def quiet(self, tag: str = "", minutes: float = 60.0) -> "Desk":
        answer = self.ask("quiet", tag, minutes=minutes, text="busy")
        assert answer.startswith("done: "), answer
        return self

    def out(self, tag: str, minutes: float = 0.0) -> "Desk":
        answer = self.ask("out_of_service", tag, minutes=minutes, text="sensor ordered")
        assert answer.startswith("done: "), answer
        return self

    def item(self, tag: str) -> Standing:
        return next(item for item in self.alarms.standing if item.tag == tag)

    def life(self, tag: str) -> str:
        return self.alarms.life_of(tag).value

    def short(self) -> list[tuple[str, ...]]:
        """What was told, in short; what is only recorded begins with a dash."""
        return [_short(event) for event in self.told]

    @property
    def sounds(self) -> Horn:
        return self.alarms.sounding


def _short(event: Any) -> tuple[str, ...]:
    if event.event == "alarm":
        return (event.tag, event.state if event.told else f"-{event.state}")
    if event.event == "alarm_life":
        return (event.tag, event.change)
    if event.event == "escalated":
        return (event.tag, f"step {event.step}")
    if event.event == "nuisance":
        return (event.tag, f"{event.kind} {event.state}")
    return (event.tag, event.event)

"""`curehold watch`: follow a site through the broker, a line per happening."""

import asyncio
import json
import shutil
import sys
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from typing import Any

import aiomqtt
from pydantic import ValidationError

from daemon.notify.messages import AlarmMessage, EventMessage, StateMessage
from daemon.notify.settings import MqttSettings
from daemon.notify.topics import Topics
from daemon.tools.live import measured
from daemon.tools.show import bar, duration, say, say_json, say_wrapped
from drivers.cancelling import pass_on_cancellation

SEEN_MAX = 10_000
# Without a terminal a bar cannot move: then a line for each such share of the hold.
PLAIN_SHARE = 0.25
HOLD_BAR = 10
# Longer than this, a text gets a line for each of its sentences.
LONG = 80


class WatchError(Exception):
    """The broker cannot be followed; the message says what to do."""


def on_terminal() -> bool:
    """Standard output is a terminal now."""
    return sys.stdout.isatty()


@dataclass(slots=True)
class Watcher:
    """Turns messages into lines.

    Attributes:
        until: leave after the first event of this kind and value, for
            instance `run_closed`; empty: never.
        terminal: the last line may be drawn again.
    """

    until: str = ""
    terminal: bool = field(default_factory=on_terminal)
    states: dict[str, StateMessage] = field(default_factory=dict)
    # Ids of messages told; the oldest are forgotten first.
    seen: dict[str, None] = field(default_factory=dict)
    share: dict[str, float] = field(default_factory=dict)
    drawn: bool = False

    def take(self, topic: str, payload: bytes) -> bool:
        """One message; True when it is the one to leave after."""
        kind = topic.split("/")[4] if topic.count("/") >= 4 else ""
        try:
            if kind == "state":
                self._state(StateMessage.model_validate_json(payload))
            elif kind == "event":
                return self._event(EventMessage.model_validate_json(payload))
            elif kind == "alarm":
                self._alarm(AlarmMessage.model_validate_json(payload))
        except ValidationError as error:
            self._line(f"a message on {topic} cannot be read: {error.error_count()} faults")
        return False

    def _state(self, state: StateMessage) -> None:
        new = state.rig not in self.states
        self.states[state.rig] = state
        if new:
            what = "PRETEND RIG, nothing is heated" if state.pretend else "watching"
            self._line(f"{state.at[11:16]} {state.title}: {what}. {measured(state)}")
        if state.phase == "cure" and state.hold_min:
            self._hold(state)

    def _hold(self, state: StateMessage) -> None:
        done_min, whole_min = state.hold_s / 60, state.hold_min or 1
        off = state.heat_off_expected_at
        text = (
            f"{state.at[11:16]} HOLD {bar(done_min / whole_min, HOLD_BAR)} "
            f"{done_min:.0f}/{whole_min:.0f} min  {measured(state)}"
            + (f"  off {off[11:16]}" if off else "")
        )
        if self.terminal:
            # A line longer than the terminal could not be drawn over.
            sys.stdout.write(f"\r\x1b[K{text[: shutil.get_terminal_size().columns - 1]}")
            sys.stdout.flush()
            self.drawn = True
            return
        share = done_min / whole_min
        if share >= self.share.get(state.rig, 0.0):
            self.share[state.rig] = (share // PLAIN_SHARE + 1) * PLAIN_SHARE
            self._line(text)

    def _event(self, message: EventMessage) -> bool:
        if not self._is_new(message.message_id):
            return False
        body: dict[str, Any] = dict(message.event)
        state = self.states.get(message.rig)
        barred = body.get("phase") == "cure" and state is not None and state.hold_min is not None
        text = "" if barred else event_words(body)
        if len(text) > LONG:
            self._sentences(message.at, text)
        elif text:
            self._line(f"{message.at[11:16]} {text:38} {measured(state) if state else ''}".rstrip())
        if body.get("event") in ("escalated", "nuisance") and body.get("text"):
            self._line(f"MESSAGE, by the broker: {body['text']}", indent="      ")
        if body.get("event") == "run_opened":
            self.share.pop(message.rig, None)
        return bool(self.until) and body.get("event") == self.until

    def _sentences(self, at: str, text: str) -> None:
        """What takes more than a line: a sentence each, so that a figure is found at a glance."""
        first, *rest = text.removesuffix(".").split(". ")
        self._line(f"{at[11:16]} {first}")
        for sentence in rest:
            self._line(sentence, indent="      ")

    def _alarm(self, message: AlarmMessage) -> None:
        if not self._is_new(message.message_id):
            return
        if message.state == "clear":
            self._line(f"{message.at[11:16]} OVER {message.tag}")
            return
        if message.follows:
            # The leading alarm's message says what to do; a second order would only confuse.
            self._line(f"{message.at[11:16]} with it {message.tag}: {message.said}")
            return
        if not message.told:
            self._line(f"{message.at[11:16]} recorded only {message.tag}: {message.said}")
            return
        self._line(f"{message.at[11:16]} {message.state.upper()} {message.tag}: {message.said}")
        self._line(f"MESSAGE, by the broker: {message.text}", indent="      ")

    def _is_new(self, message_id: str) -> bool:
        if message_id in self.seen:
            return False
        self.seen[message_id] = None
        if len(self.seen) > SEEN_MAX:
            del self.seen[next(iter(self.seen))]
        return True

    def leave(self) -> None:
        """End the line being drawn, so that the next program begins on its own."""
        if self.drawn:
            say()
            self.drawn = False

    def _line(self, text: str, *, indent: str = "") -> None:
        self.leave()
        if self.terminal:
            say_wrapped(text, indent=indent, hang="      ")
        else:
            say(indent + text)


def event_words(body: dict[str, Any]) -> str:
    """One event in a few words; empty for what another line tells, or what is not known."""
    if _told_otherwise(body):
        return ""
    match body:
        case {"event": "pressed", "button": str(button), "did": did} if button != "here_button":
            return f"{button.split('_')[0].upper()} pressed: {did}"
        case {"event": "phase", "phase": str(phase)}:
            return PHASE_WORDS.get(phase, phase)
        case {"event": "prompt", "said": said}:
            return f"PROMPT: {said}"
        case {"event": "permit", "permit": "withdrawn" | "latched", "why": why}:
            return f"HEAT AWAY: {why}"
        case {
            "event": "run_closed",
            "run": run,
            "outcome": outcome,
            "hold_s": int() | float() as hold_s,
        }:
            return f"RUN {run} {str(outcome).upper()}: hold {duration(hold_s)}"
        case {"event": "interrupted", "gap_s": int() | float() as gap_s}:
            return f"NO FRAMES for {duration(gap_s)}"
    return _life_words(body)


def _life_words(body: dict[str, Any]) -> str:
    """How an alarm's life goes on, in a few words; empty for anything else."""
    match body:
        case {"event": "escalated", "tag": tag, "why": why}:
            return f"NOBODY CAME for {tag}: {why}"
        case {"event": "nuisance", "kind": kind, "state": state, "tag": tag}:
            return " ".join(filter(None, (str(kind).upper(), str(tag), str(state))))
        case {"event": "alarm_life", "change": change, "tag": tag, "who": who} if who:
            return f"{str(who).upper()}: {str(change).replace('_', ' ')} {tag}"
    return ""


def _told_otherwise(body: dict[str, Any]) -> bool:
    """A line beside it says the same: the press, the end of the run, the end of the hold."""
    match body:
        case {"event": "phase", "phase": "preheat", "why": "start pressed"}:
            return True
        case {"event": "phase", "phase": "done"}:
            return True
        case {"event": "permit", "permit": "withdrawn", "why": str(why)}:
            return why.startswith("hold complete")
    return False


PHASE_WORDS = {
    "idle": "IDLE",
    "preheat": "PREHEAT begins",
    "fitting": "PREHEAT done: mount clamp, pin it",
    "inflation": "AIR goes in",
    "heat_up": "HEAT UP, air held",
    "cure": "HOLD begins: keep air on",
    "cool_down": "COOL under pressure",
    "release": "LET DOWN, cool enough",
    "done": "DONE, empty",
    "aborted": "ABORTED",
}


@dataclass(slots=True)
class JsonWatcher:
    """Passes messages on as JSON lines.

    Attributes:
        until: as in `Watcher`.
    """

    until: str = ""

    def take(self, topic: str, payload: bytes) -> bool:
        """One message; True when it is the one to leave after."""
        try:
            body = json.loads(payload)
        except ValueError:
            body = None
        say_json({"topic": topic, "message": body})
        event = body.get("event") if isinstance(body, dict) else None
        return bool(self.until) and isinstance(event, dict) and event.get("event") == self.until

    def leave(self) -> None:
        """Nothing is half drawn here."""


async def watch(
    settings: MqttSettings, site: str, rig: str | None, watcher: Watcher | JsonWatcher
) -> None:
    """Follow until the watcher has seen what it waits for.

    Raises:
        WatchError: no broker, or it refuses.
    """
    try:
        async for topic, payload in _messages(settings, site, rig or "+"):
            if watcher.take(topic, payload):
                return
    except aiomqtt.MqttError as error:
        raise WatchError(
            f"the broker at {settings.host}:{settings.port} cannot be followed ({error}); "
            "see that it runs and that user and password are right"
        ) from error


async def _messages(
    settings: MqttSettings, site: str, rig: str
) -> AsyncIterator[tuple[str, bytes]]:
    topics = Topics(site)
    base = topics.daemon.rsplit("/", 1)[0]
    async with aiomqtt.Client(
        settings.host,
        settings.port,
        username=settings.username,
        password=settings.password(),
        protocol=aiomqtt.ProtocolVersion.V5,
        timeout=settings.delivery_timeout_s,
        tls_context=settings.tls(),
    ) as client:
        for kind in ("state", "event", "alarm/+"):
            await client.subscribe(f"{base}/{rig}/{kind}", qos=1)
            pass_on_cancellation()
        async for message in client.messages:
            if isinstance(message.payload, bytes | bytearray):
                yield str(message.topic), bytes(message.payload)


def follow(settings: MqttSettings, site: str, rig: str | None, until: str, *, as_json: bool) -> int:
    """`watch`, from a command line; 0."""
    watcher = JsonWatcher(until) if as_json else Watcher(until)
    try:
        asyncio.run(watch(settings, site, rig, watcher))
    finally:
        watcher.leave()
    return 0

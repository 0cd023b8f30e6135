"""`curehold watch`: follow a site through the broker, a line per happening."""

import asyncio
import sys
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from typing import Any

import aiomqtt
from pydantic import ValidationError

from daemon.notify.messages import AlarmMessage, EventMessage, StateMessage
from daemon.notify.settings import MqttSettings
from daemon.notify.topics import Topics
from daemon.tools.live import hold_line, measured
from daemon.tools.show import duration, say

# Without a terminal a bar cannot move: then a line for each such share of the hold.
PLAIN_SHARE = 0.25


class WatchError(Exception):
    """The broker cannot be followed; the message says what to do."""


@dataclass(slots=True)
class Watcher:
    """Turns messages into lines.

    Attributes:
        until: leave after the first event of this kind and value, for
            instance `run_closed`; empty: never.
        terminal: the last line may be drawn again.
    """

    until: str = ""
    terminal: bool = field(default_factory=sys.stdout.isatty)
    states: dict[str, StateMessage] = field(default_factory=dict)
    seen: set[str] = field(default_factory=set)
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
        text = f"{state.at[11:16]} HOLD {hold_line(state)[5:]}  {measured(state)}"
        if self.terminal:
            sys.stdout.write(f"\r\x1b[K{text[:100]}")
            sys.stdout.flush()
            self.drawn = True
            return
        share = state.hold_s / (state.hold_min or 1) / 60
        if share >= self.share.get(state.rig, 0.0):
            self.share[state.rig] = (share // PLAIN_SHARE + 1) * PLAIN_SHARE
            self._line(text)

    def _event(self, message: EventMessage) -> bool:
        if message.message_id in self.seen:
            return False
        self.seen.add(message.message_id)
        body: dict[str, Any] = dict(message.event)
        text = event_words(body)
        if text:
            state = self.states.get(message.rig)
            self._line(f"{message.at[11:16]} {text:38} {measured(state) if state else ''}".rstrip())
        if body["event"] == "run_opened":
            self.share.pop(message.rig, None)
        return bool(body["event"] == self.until)

    def _alarm(self, message: AlarmMessage) -> None:
        if message.message_id in self.seen or message.state == "clear":
            return
        self.seen.add(message.message_id)
        self._line(f"{message.at[11:16]} {message.state.upper()} {message.tag}: {message.said}")
        self._line(f"      MESSAGE, by the broker: {message.text}")

    def _line(self, text: str) -> None:
        if self.drawn:
            say()
            self.drawn = False
        say(text)


def event_words(body: dict[str, Any]) -> str:
    """One event in a few words; empty for what the watcher shows otherwise."""
    match body["event"]:
        case "pressed" if body["button"] != "here_button":
            return f"{body['button'].split('_')[0].upper()} pressed: {body['did']}"
        case "phase":
            return PHASE_WORDS.get(body["phase"], str(body["phase"]))
        case "prompt":
            return f"{body['said']}"
        case "permit" if body["permit"] in ("withdrawn", "latched"):
            return f"HEAT AWAY: {body['why']}"
        case "run_closed":
            return f"RUN {body['run']} {body['outcome'].upper()}: hold {duration(body['hold_s'])}"
        case "interrupted":
            return f"NO FRAMES for {duration(body['gap_s'])}"
        case _:
            return ""


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


async def watch(settings: MqttSettings, site: str, rig: str | None, watcher: Watcher) -> None:
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
    ) as client:
        for kind in ("state", "event", "alarm/+"):
            await client.subscribe(f"{base}/{rig}/{kind}", qos=1)
        async for message in client.messages:
            if isinstance(message.payload, bytes | bytearray):
                yield str(message.topic), bytes(message.payload)


def follow(settings: MqttSettings, site: str, rig: str | None, until: str) -> int:
    """`watch`, from a command line; 0."""
    asyncio.run(watch(settings, site, rig, Watcher(until=until)))
    return 0

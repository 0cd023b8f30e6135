"""One rig: its frames, its fold, its outputs, and the boundary around its faults."""

import asyncio
import hashlib
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from importlib.metadata import version

import structlog

from daemon.clock import NS_PER_S, SiteClock
from daemon.config import RigConfig
from daemon.frames import make_frame
from daemon.inputs import sample_of
from daemon.notify.compose import compose
from daemon.notify.messages import StateMessage
from daemon.outputs import RigOutputs
from daemon.replay import limits_book
from daemon.status import state_message
from daemon.store.records import Resume
from daemon.store.store import Store
from drivers.base import Link
from rules.checkpoint import CheckpointError, dump, load
from rules.events import CommandAnswered, Decision, RunOpened, as_dict
from rules.frame import Command, Frame, Health
from rules.permit import Permit, PermitState
from rules.placing import patience_s
from rules.state import RULES_VERSION, Run, State
from rules.step import step

log = structlog.get_logger()

# A frame is made a quarter of a period after the links' poll began.
FRAME_PHASE = 0.25
LATE_SHARE = 0.2
CHECKPOINT_NS = 600 * NS_PER_S
STATE_NS = 2 * NS_PER_S
COMMANDS_WAITING_MAX = 100
UNTOLD_MAX = 1000
COMMAND_S_MAX = 10.0
RETRY_S = 5.0
RETRY_S_MAX = 60.0

Tell = Callable[[StateMessage, tuple[dict[str, object], ...]], None]


@dataclass(frozen=True, slots=True)
class _Untold:
    """What is to be told once the frame it comes from is stored."""

    seq: int
    state: StateMessage
    events: tuple[dict[str, object], ...]


@dataclass(slots=True)
class _Waiting:
    """A command on its way through a frame to its commit."""

    command: Command
    answer: "asyncio.Future[CommandAnswered]"
    answered: CommandAnswered | None = None
    seq: int = 0


class RigTask:
    """Supervises one rig until cancelled; its faults stay its own.

    Attributes:
        config: the rig's configuration.
        outputs: the rig's outputs.
        latest: the newest state, or None before the first frame.
        judged: set once the first frame has been judged.
    """

    def __init__(
        self,
        site: str,
        config: RigConfig,
        links: Mapping[str, Link],
        store: Store,
        clock: SiteClock,
        tell: Tell,
        *,
        health: Callable[[], Health],
    ) -> None:
        """Build it; nothing runs yet.

        Args:
            site: name of the site.
            config: the rig's configuration.
            links: links by name.
            store: takes the frames.
            clock: gives the time.
            tell: called with each new state to be shown and its events.
            health: of the supervisor; must not wait.
        """
        self.config = config
        self.latest: StateMessage | None = None
        self.judged = asyncio.Event()
        self._site = site
        self._links = links
        self._store = store
        self._clock = clock
        self._tell = tell
        self._health = health
        self._state = State()
        self._seq = 0
        self._late = 0
        self._missed = 0
        self._commands: deque[_Waiting] = deque()
        self._uncommitted: deque[_Waiting] = deque()
        self._checkpoint_ns = 0
        self._told_ns = -STATE_NS
        self._untold: deque[_Untold] = deque(maxlen=UNTOLD_MAX)
        fitted = {name: output.link for name, output in config.outputs.items()}
        self._links_written = frozenset(fitted.values())
        self._links_used = self._links_written | {item.link for item in config.channels.values()}
        self.outputs = RigOutputs(config.name, links, fitted, clock)
        limits_json = config.limits.model_dump_json()
        self._limits_hash = hashlib.sha256(limits_json.encode()).hexdigest()
        store.register_rig(
            config.name,
            limits_json=limits_json,
            rules_version=str(RULES_VERSION),
            software_version=version("curehold"),
        )

    async def run(self) -> None:
        """Resume, then frame after frame for ever; leaves when cancelled."""
        structlog.contextvars.bind_contextvars(rig=self.config.name)
        retry_s = RETRY_S
        resumed = False
        while True:
            try:
                if not resumed:
                    await self.resume()
                    resumed = True
                await self._tick_for_ever()
            except Exception as error:  # the rig's boundary: heat goes first, then the log
                self.outputs.take_heat_away()
                log.exception("rig.failed", error=repr(error), retry_s=retry_s)
                # Longer than a gap, so that the rules see one and judge it.
                await self._clock.sleep_until(self._clock.now_ns() + int(retry_s * NS_PER_S))
                retry_s = min(retry_s * 2, RETRY_S_MAX)

    async def resume(self) -> None:
        """Fold what is stored: the newest checkpoint, then every frame after it."""
        name = self.config.name
        stands = await self._store.resume(name)
        first_seq, state = stands.first_seq, _blank(stands)
        if stands.checkpoint is not None:
            try:
                state = load(stands.checkpoint.body)
            except CheckpointError as error:
                log.warning("rig.checkpoint_unusable", error=str(error))
                if stands.open_run is not None:
                    first_seq = stands.open_run.opened_seq
                    state = State(run=Run(number=stands.open_run.number - 1))
        limits_of = limits_book(await self._store.limits_bodies())
        async for frame in self._store.frames(name, first_seq):
            state, _ = step(limits_of(frame.limits_hash), state, frame)
        self._state = state
        self._seq = stands.last_seq or 0
        self._checkpoint_ns = state.now_ns
        log.info("rig.resumed", frames=state.frames, phase=state.place.phase.value)

    async def submit(self, command: Command) -> CommandAnswered:
        """Carry a command into the next frame.

        Returns:
            Its answer, once the frame that carried it is durable.

        Raises:
            TimeoutError: no frame was judged and stored in time.
        """
        if len(self._commands) >= COMMANDS_WAITING_MAX:
            raise TimeoutError
        waiting = _Waiting(command, asyncio.get_running_loop().create_future())
        self._commands.append(waiting)
        async with asyncio.timeout(COMMAND_S_MAX):
            return await waiting.answer

    def durable(self, seq: int) -> None:
        """Frames up to `seq` are stored: heat may be granted, events told, answers given."""
        self.outputs.committed(seq)
        while self._untold and self._untold[0].seq <= seq:
            self._tell_now(self._untold.popleft())
        while self._uncommitted and self._uncommitted[0].seq <= seq:
            done = self._uncommitted.popleft()
            if done.answered is not None and not done.answer.done():
                done.answer.set_result(done.answered)

    async def _tick_for_ever(self) -> None:
        period_ns = int(self.config.limits.facts.frame_period_s * NS_PER_S)
        await self._clock.sleep_until(self._gap_seen_ns())
        tick_ns = self._next_tick(period_ns)
        while True:
            await self._clock.sleep_until(tick_ns)
            late_ns = self._clock.now_ns() - tick_ns
            if late_ns > LATE_SHARE * period_ns:
                self._late += 1
            if late_ns >= period_ns:
                self._missed += late_ns // period_ns
                log.warning("rig.late", late_s=late_ns / NS_PER_S, missed=self._missed)
            self.one_frame()
            tick_ns = self._next_tick(period_ns)

    def _gap_seen_ns(self) -> int:
        """When a frame will show the rules that this task was not watching.

        The outputs were opened when it began. Without a gap the rules would think
        the permit still closed, and closing it again would need nobody's press.
        """
        now_ns = self._clock.now_ns()
        state = self._state
        seen_ns = state.t_ns + int(patience_s(self.config.limits) * NS_PER_S) + 1
        if not state.frames or state.boot_id != self._clock.boot_id or state.t_ns > now_ns:
            return now_ns
        return max(now_ns, seen_ns)

    def _next_tick(self, period_ns: int) -> int:
        offset_ns = int(FRAME_PHASE * period_ns)
        return (self._clock.now_ns() - offset_ns) // period_ns * period_ns + period_ns + offset_ns

    def one_frame(self) -> None:
        """Make one frame, judge it, take energy away, store it, tell of it."""
        before = self._state
        waiting = list(self._commands)
        frame = self._make_frame(tuple(item.command for item in waiting))
        after, decision = step(self.config.limits, before, frame)
        self.outputs.apply(frame.seq, decision.outputs)
        self.outputs.check(frame.readback)
        self._keep(frame, decision, before, after)
        # Only now: a frame that could not be kept has not been, and is judged again.
        self._state, self._seq = after, frame.seq
        self._commands.clear()
        self._note_answers(waiting, decision, frame.seq)
        for link in self._links_written:
            self._links[link].renew(self.config.name)
        self._show(frame, decision)
        self.judged.set()

    def _make_frame(self, commands: tuple[Command, ...]) -> Frame:
        health = replace(self._health(), polls_late=self._late, polls_missed=self._missed)
        rig, channels, outputs = self.config.name, self.config.channels, self.config.outputs
        # Once a link, so that all that a frame holds of it is of one moment.
        shown = {link: self._links[link].snapshot() for link in self._links_used}
        return make_frame(
            self._seq + 1,
            self._clock,
            {
                name: sample_of(f"{rig}/{name}", channel, shown[channel.link])
                for name, channel in channels.items()
            },
            {name: shown[output.link][f"{rig}/{name}"] for name, output in outputs.items()},
            health,
            commands,
            self._limits_hash,
        )

    def _note_answers(self, waiting: list[_Waiting], decision: Decision, seq: int) -> None:
        answers = {
            event.id: event for event in decision.events if isinstance(event, CommandAnswered)
        }
        while self._uncommitted and self._uncommitted[0].answer.done():
            self._uncommitted.popleft()  # nobody waits for it any more
        for item in waiting:
            item.answered = answers.get(item.command.id)
            item.seq = seq
            self._uncommitted.append(item)

    def _keep(self, frame: Frame, decision: Decision, before: State, after: State) -> None:
        opening = None
        if any(isinstance(event, RunOpened) for event in decision.events):
            opening = dump(before)
        due = after.now_ns - self._checkpoint_ns >= CHECKPOINT_NS
        checkpoint = None
        if due or self._store.needs_checkpoint(self.config.name):
            checkpoint = dump(after)
        self._store.append(
            self.config.name,
            frame,
            decision,
            outgoing=compose(self._site, self.config.name, decision, frame),
            checkpoint=checkpoint,
            opening=opening,
        )
        if checkpoint is not None:
            self._checkpoint_ns = after.now_ns

    def _show(self, frame: Frame, decision: Decision) -> None:
        if not decision.events and self._state.now_ns - self._told_ns < STATE_NS:
            return
        self._told_ns = self._state.now_ns
        state = state_message(
            self._site,
            self.config.name,
            self.config.limits,
            self._state,
            frame,
            decision,
            pretend=self._clock.pretend,
        )
        events: tuple[dict[str, object], ...] = tuple(
            dict(as_dict(event)) for event in decision.events
        )
        untold = _Untold(frame.seq, state, events)
        if (events or self._untold) and self._store.store_ok:
            self._untold.append(untold)
            return
        # A store that fails must not silence anyone.
        while self._untold:
            self._tell_now(self._untold.popleft())
        self._tell_now(untold)

    def _tell_now(self, untold: _Untold) -> None:
        self.latest = untold.state
        self._tell(untold.state, untold.events)


def _blank(stands: Resume) -> State:
    """The state to fold from where none is stored that can be read; a latch is kept."""
    run = Run(number=stands.run_number_max)
    told = stands.permit
    if told is None or told.permit != PermitState.LATCHED:
        return State(run=run)
    return State(run=run, permit=Permit(PermitState.LATCHED, told.why, told.tag))

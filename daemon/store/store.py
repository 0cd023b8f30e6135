"""The daemon's side of the store: takes frames without waiting, says when they are safe.

Prefix commit: a transaction holds whole frames, always those that waited
longest. Frames wait in a list in memory, never in an open transaction, and go
to the disk together, all rigs' at once: at once when a frame has an event, a
command, a message or a change of outputs; else when 10 s of frame time have
gone by. So an event that is durable has every earlier frame with it, and a
crash loses at most 10 s of frames without events.

When a flush fails the frames stay in memory and the next append tries again;
messages that waited with them are handed to `on_unstored`, because an alarm
must not wait for a disk.
"""

import asyncio
import hashlib
import sqlite3
from collections.abc import AsyncIterator, Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import ParamSpec, TypeVar

import structlog

from daemon.outgoing import Outgoing
from daemon.store import codec, queries
from daemon.store.errors import StoreError, StoreFailing
from daemon.store.files import StoreLock
from daemon.store.records import Delivery, Resume
from daemon.store.waiting import Registration, Waiting, WaitingFrames
from daemon.store.writer import Writer
from rules.events import Decision, Outputs
from rules.frame import NS_PER_S, Frame

log = structlog.get_logger()

FLUSH_NS = 10 * NS_PER_S
HANGING_NS = 30 * NS_PER_S
FRAMES_PER_COMMIT_MAX = 2000

P = ParamSpec("P")
T = TypeVar("T")


@dataclass(slots=True)
class _Rig:
    """What is remembered about one rig between its frames."""

    owner: Registration
    appended_seq: int | None
    outputs: Outputs = Outputs()
    flushed_t_ns: int | None = None
    needs_checkpoint: bool = False


class Store:
    """One open store; the only one that writes it.

    All methods belong to the event loop's thread, and so do the callbacks.

    Attributes:
        on_durable: called with (rig, seq) after each commit, for each rig that
            advanced: all its frames up to seq are on the disk.
        on_unstored: called with messages whose frames could not be stored.
            They are then the receiver's alone and do not enter the outbox
            (save when a disk that had hung for 30 s comes back: then both
            copies bear the same id). Without it they wait with their frames.
    """

    def __init__(
        self,
        path: Path,
        lock: StoreLock,
        writer: Writer,
        thread: ThreadPoolExecutor,
        *,
        waiting_frames_max: int,
    ) -> None:
        """Use `Store.open`."""
        self.on_durable: Callable[[str, int], None] | None = None
        self.on_unstored: Callable[[Sequence[Outgoing]], None] | None = None
        self._path = path
        self._lock = lock
        self._writer = writer
        self._thread = thread
        self._waiting = WaitingFrames(waiting_frames_max)
        self._rigs: dict[str, _Rig] = {}
        self._durable = writer.last_seqs()
        self._appended = 0
        self._committed = 0
        self._commit: asyncio.Future[None] | None = None
        self._commit_t_ns = 0
        self._flush_again = False
        self._failure: BaseException | None = None
        self._news: dict[str, asyncio.Event] = {}
        self._closed = False

    @classmethod
    async def open(
        cls, path: Path, *, outbox_rows_max: int = 20_000, waiting_frames_max: int = 20_000
    ) -> "Store":
        """Open the store for writing, making or migrating it as needed.

        Args:
            path: of the database; `.lock` and `.reserve` are kept beside it.
            outbox_rows_max: messages waiting for delivery; beyond it the oldest
                are given up and counted in the log.
            waiting_frames_max: frames held in memory while the disk refuses.

        Raises:
            StoreLocked: another daemon writes it.
            StoreVersion: a newer program made it.
            StoreDamaged: it is not a store, or cannot be read.
            StoreError: it cannot be made or written.
        """
        lock = StoreLock(path)
        thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="store-writer")
        make = partial(Writer, path, outbox_rows_max=outbox_rows_max)
        try:
            writer = await asyncio.get_running_loop().run_in_executor(thread, make)
        except BaseException:
            thread.shutdown()
            lock.release()
            raise
        log.info("store.opened", path=str(path))
        return cls(path, lock, writer, thread, waiting_frames_max=waiting_frames_max)

    @property
    def store_ok(self) -> bool:
        """The last flush succeeded and the disk space kept back is untouched."""
        return self._failure is None and self._writer.reserve.held

    def register_rig(
        self, rig: str, *, limits_json: str, rules_version: str, software_version: str
    ) -> None:
        """Say what is the same for every frame of a rig; before its first `append`.

        Args:
            rig: name of the rig; its chain of events hangs on it.
            limits_json: the limits in force; stored once, by the SHA-256 of this text.
            rules_version: of the rules; also the version of its checkpoints.
            software_version: of this program.
        """
        limits_hash = hashlib.sha256(limits_json.encode()).hexdigest()
        owner = Registration(rig, limits_json, limits_hash, rules_version, software_version)
        known = self._rigs.get(rig)
        if known is None:
            self._rigs[rig] = _Rig(owner, self._durable.get(rig))
        else:
            known.owner = owner

    def append(
        self,
        rig: str,
        frame: Frame,
        decision: Decision,
        *,
        outgoing: Sequence[Outgoing] = (),
        checkpoint: bytes | None = None,
        opening: bytes | None = None,
    ) -> None:
        """Take a frame and what it led to; never waits.

        Args:
            rig: a registered rig.
            frame: the next of that rig.
            decision: of this frame; its `RunOpened` and `RunClosed` open and
                close the runs of the store.
            outgoing: messages this frame led to, in order of sending.
            checkpoint: the state after this frame, when it is to be saved.
            opening: the state before this frame, when it opens a run; kept as
                long as the run.

        Raises:
            ValueError: the frame is not newer than the last one of the rig, or
                a number in it does not fit.
            StoreError: the store is closed, or the rig is not registered.
        """
        state = self._state_of(rig)
        if state.appended_seq is not None and frame.seq <= state.appended_seq:
            raise ValueError(
                f"rig {rig}: frame {frame.seq} comes after frame {state.appended_seq} in the "
                "store; go on counting from Resume.last_seq"
            )
        layout = codec.layout_of(frame)
        body = codec.encode(frame, layout)
        self._appended += 1
        self._waiting.put(
            Waiting(
                order=self._appended,
                owner=state.owner,
                seq=frame.seq,
                run=decision.run,
                t_ns=frame.t_ns,
                wall_ns=frame.wall_ns,
                layout=layout,
                body=body,
                events=decision.events,
                outgoing=tuple(outgoing),
                checkpoint=checkpoint,
                opening=opening,
            )
        )
        state.appended_seq = frame.seq
        if checkpoint is not None:
            state.needs_checkpoint = False
        if self._is_due(state, frame, decision, outgoing):
            self._start_flush()
        self._look_for_hang(frame)
        self._keep_within_limit()

    def durable_seq(self, rig: str) -> int | None:
        """The newest frame of a rig that is on the disk; None if there is none."""
        return self._durable.get(rig)

    def needs_checkpoint(self, rig: str) -> bool:
        """Frames of this rig were lost from memory while the disk refused.

        A fold over what is stored would miss them: hand in a checkpoint with
        the next frame.
        """
        return self._state_of(rig).needs_checkpoint

    async def flush(self) -> None:
        """Return when everything appended before the call is durable.

        Raises:
            StoreFailing: the disk refused; the frames are still in memory.
        """
        wanted = self._appended
        while self._committed < wanted:
            commit = self._start_flush()
            # A caller that is cancelled must not take the commit with it.
            await asyncio.wait([commit])
            if self._failure is not None:
                raise StoreFailing(self._why_failing()) from self._failure

    async def settled(self) -> None:
        """Return when no commit is under way; one that failed is told elsewhere."""
        while self._commit is not None:
            await asyncio.wait([self._commit])

    async def close(self) -> None:
        """Flush and let go of the store; a second call does nothing."""
        if self._closed:
            return
        self._closed = True
        loop = asyncio.get_running_loop()
        try:
            with suppress(StoreFailing):
                await self.flush()
            if self._waiting:
                log.error("store.closed_unflushed", frames=len(self._waiting))
        finally:
            try:
                await loop.run_in_executor(self._thread, self._writer.close)
            finally:
                self._thread.shutdown()
                self._lock.release()

    async def resume(self, rig: str) -> Resume:
        """Where the stored record of a rig stands; fold `frames` from its `first_seq`.

        Frames still in memory are not in it: `flush` first, save at the start.
        """
        return await self._ask(self._writer.resume, rig)

    async def frames(
        self, rig: str, first_seq: int, last_seq: int = queries.SEQ_MAX
    ) -> AsyncIterator[Frame]:
        """The stored frames of a rig in order, both ends included.

        Raises:
            StoreDamaged: a frame cannot be read.
        """
        while first_seq <= last_seq:
            page = await self._ask(
                queries.frames_page, self._writer.connection, rig, first_seq, last_seq
            )
            for frame in page:
                yield frame
            if len(page) < queries.PAGE_ROWS:
                return
            first_seq = page[-1].seq + 1

    async def limits_bodies(self) -> Callable[[str], str]:
        """Gives the limits that stored frames were judged by, as JSON, by hash.

        What it returns raises `StoreDamaged` when there are none of that hash.
        """
        known = await self._ask(queries.limits, self._writer.connection)
        return partial(queries.limits_of, known)

    async def next_delivery(self, dest: str, now_wall_ns: int) -> Delivery | None:
        """The oldest message for a destination that is not done.

        The same one comes again until `delivered`, so one is in flight at a
        time and the order is kept. None if there is none, or while the oldest
        is put off.
        """
        return await self._ask(self._writer.outbox.next_delivery, dest, now_wall_ns)

    async def delivered(self, dest: str, seq: int) -> None:
        """The destination has taken the message; it does not come again."""
        await self._ask(self._writer.outbox.delivered, dest, seq)

    async def postpone(self, dest: str, seq: int, next_at_wall_ns: int, error: str) -> None:
        """The message did not get through; it and those behind it wait, at most an hour."""
        await self._ask(self._writer.outbox.postpone, dest, seq, next_at_wall_ns, error)

    async def outbox_depth(self, dest: str) -> int:
        """Number of messages for a destination that are not done."""
        return await self._ask(self._writer.outbox.depth, dest)

    async def room_and_oldest(self, dests: Sequence[str]) -> tuple[int, dict[str, int]]:
        """How full the disk is, and since when messages wait.

        Args:
            dests: destinations.

        Returns:
            Room left for this user on the store's disk, bytes; and for each
            destination with a message that is not done the wall time of the
            oldest, ns since 1970.

        Raises:
            StoreFailing: the disk refused to say.
        """
        return await self._ask(self._writer.room_and_oldest, dests)

    async def wait_outbox(self, dest: str) -> None:
        """Return when messages for a destination may have come since the last call."""
        news = self._news_for(dest)
        await news.wait()
        news.clear()

    def _state_of(self, rig: str) -> _Rig:
        if self._closed:
            raise StoreError(f"{self._path}: the store is closed")
        state = self._rigs.get(rig)
        if state is None:
            raise StoreError(f"rig {rig} is not registered; call register_rig first")
        return state

    def _is_due(
        self, state: _Rig, frame: Frame, decision: Decision, outgoing: Sequence[Outgoing]
    ) -> bool:
        outputs_changed = decision.outputs != state.outputs
        state.outputs = decision.outputs
        if state.flushed_t_ns is None or frame.t_ns < state.flushed_t_ns:
            state.flushed_t_ns = frame.t_ns
        at_once = decision.events or frame.commands or outgoing or outputs_changed
        return (
            bool(at_once)
            or self._failure is not None
            or frame.t_ns - state.flushed_t_ns >= FLUSH_NS
        )

    def _start_flush(self) -> "asyncio.Future[None]":
        """Begin a commit of what waits, or see to one after the present one."""
        if self._commit is not None:
            self._flush_again = True
            return self._commit
        batch = self._waiting.oldest(FRAMES_PER_COMMIT_MAX)
        for entry in batch:
            self._rigs[entry.owner.rig].flushed_t_ns = entry.t_ns
        self._flush_again = len(self._waiting) > len(batch)
        self._commit_t_ns = batch[-1].t_ns if batch else 0
        loop = asyncio.get_running_loop()
        self._commit = loop.run_in_executor(self._thread, self._writer.commit, batch)
        self._commit.add_done_callback(partial(self._ended, batch))
        return self._commit

    def _ended(self, batch: list[Waiting], commit: "asyncio.Future[None]") -> None:
        self._commit = None
        error = commit.exception()
        if error is not None:
            self._failed(error)
            return
        if self._failure is not None:
            log.info("store.recovered", frames=len(batch))
        self._failure = None
        self._committed = batch[-1].order if batch else self._committed
        self._waiting.done(self._committed)
        if self._flush_again and self._waiting:
            self._start_flush()
        self._tell(batch)

    def _tell(self, batch: list[Waiting]) -> None:
        advanced = {entry.owner.rig: entry.seq for entry in batch}
        self._durable |= advanced
        for dest in {message.dest for entry in batch for message in entry.outgoing}:
            self._news_for(dest).set()
        if self.on_durable is not None:
            for rig, seq in advanced.items():
                self.on_durable(rig, seq)

    def _failed(self, error: BaseException) -> None:
        if self._failure is None or str(self._failure) != str(error):
            log.error(
                "store.flush_failed",
                path=str(self._path),
                frames=len(self._waiting),
                why=str(error),
            )
        self._failure = error
        self._hand_back_messages()

    def _look_for_hang(self, frame: Frame) -> None:
        """A disk that never answers is as bad as one that refuses."""
        if self._commit is not None and frame.t_ns - self._commit_t_ns >= HANGING_NS:
            self._failed(TimeoutError("the disk has not answered for 30 s"))

    def _hand_back_messages(self) -> None:
        """Let messages go out unstored; the frames they came with wait on."""
        if self.on_unstored is None:
            return
        messages = self._waiting.take_outgoing()
        if messages:
            self.on_unstored(messages)

    def _keep_within_limit(self) -> None:
        given_up = self._waiting.drop_surplus()
        if not given_up:
            return
        for entry in given_up:
            self._rigs[entry.owner.rig].needs_checkpoint = True
        log.error("store.frames_lost", frames=len(given_up), waiting=len(self._waiting))

    def _why_failing(self) -> str:
        return (
            f"{self._path}: cannot be written ({self._failure}); make room on the disk or "
            f"change it. {len(self._waiting)} frames wait in memory"
        )

    def _news_for(self, dest: str) -> asyncio.Event:
        if dest not in self._news:
            self._news[dest] = asyncio.Event()
            # What an earlier life of the daemon left is news to this one.
            self._news[dest].set()
        return self._news[dest]

    async def _ask(self, call: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """Run in the writer's thread."""
        if self._closed:
            raise StoreError(f"{self._path}: the store is closed")
        loop = asyncio.get_running_loop()
        try:
            return await loop.run_in_executor(self._thread, partial(call, *args, **kwargs))
        except (sqlite3.Error, OSError) as error:
            raise StoreFailing(f"{self._path}: cannot be read ({error})") from error

"""Frames, decisions and a store to try the store with; all of it invented."""

from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from daemon.outgoing import Outgoing
from daemon.store import Store
from rules.events import AlarmChanged, Decision, Event, Outputs, RunClosed, RunOpened
from rules.frame import NS_PER_S, Frame, Quality, Reading, Reason

RIG = "bay-2"
BOOT = "2f1f6f3e-77a4-4b0c-9c6e-0a6f3d1c2b4a"
WALL_NS = 1_795_000_000 * NS_PER_S
OUTPUTS_OFF = Outputs()


def frame(seq: int, *, t_s: float | None = None, pad_c: float = 21.5, **changed: Any) -> Frame:
    """One frame per second: frame n at n seconds."""
    t_ns = round((seq if t_s is None else t_s) * NS_PER_S)
    good = {"quality": Quality.GOOD, "reason": Reason.NONE, "at_ns": t_ns - 40_000_000}
    known: dict[str, Any] = {
        "seq": seq,
        "t_ns": t_ns,
        "wall_ns": WALL_NS + t_ns,
        "wall_trusted": True,
        "boot_id": BOOT,
        "values": {
            "pad_inner_c": Reading(pad_c, **good),
            "pad_outer_c": Reading(pad_c - 0.7, **good),
            "bag_inner_kpa": Reading(None, Quality.BAD, Reason.OPEN_CIRCUIT, t_ns),
            "here_button": Reading(0.0, **good),
        },
        "readback": {"heat_permit": False, "horn": None},
    }
    return Frame(**(known | changed))


def decision(*events: Event, run: int = 0, outputs: Outputs = OUTPUTS_OFF) -> Decision:
    return Decision(outputs, events, run)


def opened(number: int) -> RunOpened:
    return RunOpened(number, "pads warm")


def closed(number: int) -> RunClosed:
    return RunClosed(number, "done", 14_400.0, 141.25)


def alarm(tag: str = "bag.burst", state: str = "trip") -> AlarmChanged:
    return AlarmChanged(tag, state, "inner air -42 kPa in 3 s", "BAY 2 STAND CLEAR, GO NOW", 1)


def message(number: int, dest: str = "mqtt") -> Outgoing:
    return Outgoing(dest, f"site/{RIG}/alarm", b'{"n":%d}' % number, True, f"{RIG}-{number}")


def register(store: Store, rig: str = RIG, limits_json: str = '{"trip_c":155}') -> None:
    store.register_rig(rig, limits_json=limits_json, rules_version="r1", software_version="0.1.0")


@asynccontextmanager
async def opened_store(
    path: Path, rigs: Sequence[str] = (RIG,), **limits: int
) -> AsyncIterator[Store]:
    """A store with its rigs registered, closed at the end."""
    store = await Store.open(path, **limits)
    try:
        for rig in rigs:
            register(store, rig)
        yield store
    finally:
        await store.close()


async def commits_begun(store: Store) -> None:
    """Return when the commit that has begun, and the one it may lead to, have ended.

    A question goes through the same thread, behind the commit.
    """
    for _ in range(2):
        await store.outbox_depth("nobody")

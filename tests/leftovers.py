"""What a test may leave behind: nothing. Threads, child processes, open files.

Leftover tasks are looked for in `conftest.py`, inside the test's own loop.
"""

import gc
import os
import threading
from dataclasses import dataclass
from pathlib import Path

JOIN_S_MAX = 2.0
PROC = Path("/proc")


@dataclass(frozen=True)
class Held:
    """What this process holds at one moment."""

    threads: frozenset[threading.Thread]
    children: frozenset[str]
    files: frozenset[tuple[int, str]]


def held() -> Held:
    """What this process holds now."""
    return Held(frozenset(threading.enumerate()), frozenset(_children()), frozenset(_files()))


def left_since(before: Held) -> list[str]:
    """What has come since `before` and is still there, one line each.

    A thread that is on its way out gets `JOIN_S_MAX`; nothing else is waited
    for, since a test can wait for its own processes and close its own files.
    """
    after = _settled(before)
    threads = [f"thread {thread.name!r}" for thread in after.threads - before.threads]
    children = [f"child process {child}" for child in after.children - before.children]
    files = [f"file descriptor {number}: {what}" for number, what in after.files - before.files]
    return sorted(threads + children + files)


def _settled(before: Held) -> Held:
    for thread in frozenset(threading.enumerate()) - before.threads:
        thread.join(JOIN_S_MAX)
    after = held()
    if after.files - before.files:
        # Sockets in a reference cycle close when collected; if they were not
        # closed on purpose, that raises ResourceWarning, which is an error too.
        gc.collect()
        after = held()
    return after


def _children() -> list[str]:
    """Our child processes as `pid (name)`; one not waited for counts too."""
    found = []
    for stat in PROC.glob("[0-9]*/stat"):
        try:
            text = stat.read_text()
        except (FileNotFoundError, ProcessLookupError):  # it ended while we looked
            continue
        head, _, tail = text.rpartition(")")
        if int(tail.split()[1]) == os.getpid():
            found.append(f"{head})")
    return found


def _files() -> list[tuple[int, str]]:
    found = []
    for entry in (PROC / "self" / "fd").iterdir():
        try:
            found.append((int(entry.name), str(entry.readlink())))
        except FileNotFoundError:  # the descriptor of this very listing
            continue
    return found

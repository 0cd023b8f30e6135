"""Start and memory of `curehold supervise`, against an interpreter with the same imports."""

import json
import os
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

from tests.bench.figures import Row, to_bare
from tests.e2e.workshop import CUREHOLD, Workshop, opened

READY_S_MAX = 60.0
FRAMES_S_MAX = 120.0
LOOK_S = 0.05
KIB_PER_MIB = 1024
PROCESS_MS, FRAME_MS = 3000, 4  # about, for the progress bar

LIST_IMPORTS = """
import json, sys
import daemon.cli, daemon.supervise
ours = ("daemon", "drivers", "rules", "simulator", "__main__")
print(json.dumps([name for name in sys.modules if name.split(".")[0] not in ours]))
"""
BARE = """
import importlib, json, sys
for name in json.loads(sys.argv[1]):
    importlib.import_module(name)
print("ready", flush=True)
sys.stdin.read()
"""


def imports() -> str:
    """Every module the daemon has imported that is not ours, as JSON."""
    command = [sys.executable, "-c", LIST_IMPORTS]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def bare(names: str) -> tuple[float, float, float]:
    """Start, s, and resident and proportional memory, MiB, with these imported."""
    began_s = perf_counter()
    command = [sys.executable, "-c", BARE, names]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        process.stdout.readline()
        took_s = perf_counter() - began_s
        return took_s, *memory_mib(process.pid)


def supervised(frames: int) -> tuple[float, float, float]:
    """Start to first judged frame, s, and memory, MiB, after so many frames."""
    with TemporaryDirectory() as folder, opened(Path(folder), "whole_cure") as workshop:
        workshop.configure()
        with _notified(workshop.home) as (ready, env):
            began_s = perf_counter()
            with _daemon(workshop, env) as daemon:
                while ready.recv(64) != b"READY=1":
                    continue
                took_s = perf_counter() - began_s
                _wait_for_frames(workshop, daemon, frames)
                return took_s, *memory_mib(daemon.pid)


def memory_mib(pid: int) -> tuple[float, float]:
    """Resident memory, and its share where pages are shared with others; MiB.

    Source:
        proc(5): VmRSS of status, Pss of smaps_rollup, both in KiB.
    """
    process = Path("/proc") / str(pid)
    resident = _field(process / "status", "VmRSS:")
    return resident / KIB_PER_MIB, _field(process / "smaps_rollup", "Pss:") / KIB_PER_MIB


def _field(path: Path, name: str) -> float:
    found = (line.split() for line in path.read_text().splitlines())
    return next(float(words[1]) for words in found if words and words[0] == name)


@contextmanager
def _notified(home: Path) -> Iterator[tuple[socket.socket, dict[str, str]]]:
    """Where the daemon says that its first frame is judged, as it says to systemd."""
    address = str(home / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ready:
        ready.bind(address)
        ready.settimeout(READY_S_MAX)
        yield ready, {**os.environ, "NOTIFY_SOCKET": address}


@contextmanager
def _daemon(workshop: Workshop, env: dict[str, str]) -> Iterator["subprocess.Popen[bytes]"]:
    with (workshop.home / "daemon.log").open("w") as log:
        command = [*CUREHOLD, "supervise", str(workshop.config_path), "--log", "json"]
        daemon = subprocess.Popen(command, stdout=log, stderr=log, env=env)
        try:
            yield daemon
        finally:
            daemon.terminate()
            try:
                daemon.wait(15)
            except subprocess.TimeoutExpired:
                daemon.kill()
                daemon.wait()


def _wait_for_frames(workshop: Workshop, daemon: "subprocess.Popen[bytes]", frames: int) -> None:
    store = (workshop.home / "curehold.db").as_uri()
    for _ in range(round(FRAMES_S_MAX / LOOK_S)):
        with closing(sqlite3.connect(f"{store}?mode=ro", uri=True)) as found:
            if (found.execute("SELECT max(seq) FROM frame").fetchone()[0] or 0) >= frames:
                return
        try:
            daemon.wait(LOOK_S)
        except subprocess.TimeoutExpired:
            continue
        raise RuntimeError(f"the daemon ended: {workshop.log()[-2000:]}")
    raise RuntimeError(f"no {frames} frames in {FRAMES_S_MAX:g} s: {workshop.log()[-2000:]}")


def measured(rounds: int, frames: int, tell: Callable[[int], None]) -> list[Row]:
    """Rows for start and memory.

    Args:
        rounds: how often a daemon is started.
        frames: after how many its memory is read.
        tell: called with about how long what is now done takes, ms.
    """
    names = imports()
    ours, floor = [], []
    for _ in range(rounds):
        floor.append(bare(names))
        ours.append(supervised(frames))
        tell(PROCESS_MS + FRAME_MS * frames)
    started, resident, proportional = zip(*ours, strict=True)
    bare_started, bare_resident, bare_proportional = zip(*floor, strict=True)
    count = len(json.loads(names))
    return [
        to_bare(
            "resident memory",
            "MiB",
            resident,
            bare_resident,
            f"VmRSS of `curehold supervise` after {frames} frames; bare: python with the same "
            f"{count} modules imported",
        ),
        to_bare("resident memory, shared pages split", "MiB", proportional, bare_proportional),
        to_bare(
            "start to first judged frame",
            "s",
            started,
            bare_started,
            "from exec to readiness; on a real rig the wait for the next whole second, at most "
            "one period, comes on top",
        ),
    ]

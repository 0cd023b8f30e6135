"""kill -9 at any instant: what was announced is there, and the record has no holes.

This proves what a dead process leaves. That a power cut leaves as much rests on
`synchronous=FULL` and an honest disk, which no test here can pull the plug of.
"""

import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from daemon.store import StoreReader
from rules.events import RunClosed, RunOpened
from tests.store_samples import RIG, frame, opened_store
from tests.store_victim import events_of

ROOT = Path(__file__).parents[2]
KILLS = 4
SEED = 3


def _run_and_kill(path: Path, events: int) -> list[tuple[int, int]]:
    """Let the victim announce so many events, kill it, and give back all it announced."""
    victim = subprocess.Popen(
        [sys.executable, "-m", "tests.store_victim", str(path)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    with victim:
        assert victim.stdout is not None
        lines = []
        for line in victim.stdout:
            lines.append(line)
            if sum(found.startswith("event") for found in lines) == events:
                victim.kill()
        assert victim.wait() == -signal.SIGKILL
    # A kill can cut the last line; one without its end was not announced.
    whole = [line.split() for line in lines if line.startswith("event") and line.endswith("\n")]
    return [(int(seq), int(n)) for _, seq, n in whole]


@pytest.mark.proves("kill.no_announced_event_missing")
async def test_killed_again_and_again_the_store_keeps_its_word(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    chance = random.Random(SEED)  # noqa: S311 - a test's seed is no secret
    announced: list[tuple[int, int]] = []
    for kill in range(KILLS):
        announced += _run_and_kill(path, chance.randint(1, 300))
        reader = StoreReader(path)
        stored = {
            (found.seq, found.n): found.event
            for run in reader.runs()
            for found in reader.events(run.id)
        }
        where = f"seed {SEED}, kill {kill}"
        assert set(announced) <= stored.keys(), where
        assert reader.verify_chain(RIG) is None, where
        assert reader.verify_segments(RIG) is None, where
        async with opened_store(path) as store:
            frames = [found async for found in store.frames(RIG, 0)]
            last_seq = store.durable_seq(RIG)
            assert last_seq is not None
            assert [found.seq for found in frames] == list(range(1, last_seq + 1)), where
            assert frames == [frame(seq) for seq in range(1, last_seq + 1)], where
            depth = await store.outbox_depth("mqtt")
        due = {(seq, n): e for seq in range(1, last_seq + 1) for n, e in enumerate(events_of(seq))}
        assert stored == due, where
        assert depth == len({seq for seq, _ in due}), where
        opened = sum(isinstance(event, RunOpened) for event in due.values())
        closed = sum(isinstance(event, RunClosed) for event in due.values())
        outcomes = [run.outcome for run in reader.runs()]
        assert outcomes == ["done"] * closed + [None] * (opened - closed), where

"""The command line as tests use it: in a folder of its own, in this process or as one."""

import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from daemon import cli, logs
from daemon.store.store import Store
from rules.checkpoint import dump
from rules.events import RunOpened
from rules.state import State
from rules.step import step
from tests.unit.story import Story, limits_with

ROOT = Path(__file__).parents[2]
EXAMPLE = (ROOT / "deploy" / "curehold.example.toml").read_text(encoding="utf-8")
TRACE = ROOT / "tests" / "data" / "hose_fails.csv"
COMMANDS = (
    "supervise",
    "simulate",
    "check",
    "status",
    "watch",
    "runs",
    "alarms",
    "export",
    "replay",
)
CODE_OK, CODE_FOUND, CODE_BAD, CODE_CANNOT = 0, 1, 2, 3


def shop(home: Path, **changed: str) -> Path:
    """The example, kept in `home`; `changed` replaces text by text."""
    text = EXAMPLE.replace("/var/lib/curehold/", "").replace("/run/curehold/", "")
    text = text.replace("/etc/curehold/", "")
    for old, new in changed.items():
        assert old in text
        text = text.replace(old, new)
    path = home / "shop.toml"
    path.write_text(text)
    return path


def process(
    *arguments: str, home: Path, lines: int | None = None, **env: str
) -> subprocess.CompletedProcess[str]:
    """The command as a process; with `lines` its output is read so far and then shut."""
    command = [sys.executable, "-m", "daemon.cli", *arguments]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **env}
    with subprocess.Popen(
        command,
        cwd=home,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        if lines is None:
            out, err = running.communicate(timeout=60)
        else:
            assert running.stdout is not None
            assert running.stderr is not None
            out = "".join(running.stdout.readline() for _ in range(lines))
            running.stdout.close()
            err = running.stderr.read()
            running.wait(timeout=60)
    return subprocess.CompletedProcess(command, running.returncode, out, err)


Said = tuple[int, str, str]
Console = Callable[..., Said]


def console(
    place: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Console:
    """Runs a command in `place`: its exit code, output and errors."""
    monkeypatch.chdir(place)
    monkeypatch.delenv("CUREHOLD_CONFIG", raising=False)
    quiet_logs(monkeypatch)

    def run(*arguments: str | Path) -> Said:
        capsys.readouterr()
        try:
            code = cli.main([str(item) for item in arguments])
        except SystemExit as end:  # how argparse leaves
            code = int(end.code or 0)
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return code, out, err

    return run


def quiet_logs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Loggers outlive a test, and the output captured in it does not."""
    monkeypatch.setattr(logs, "configure", lambda **_: None)


def json_lines(text: str) -> list[dict[str, Any]]:
    return [json.loads(line, parse_constant=pytest.fail) for line in text.splitlines()]


async def record_run(path: Path) -> None:
    """A store with one short run: preheat, air, a pin pulled, air out again. Invented."""
    limits = limits_with()
    story = Story(limits).run(65)
    story.press("start_button").run(60, pad_inner_c=40.0, pad_outer_c=40.0)
    story.set(pins_in=1.0).run(20, bag_inner_kpa=60.0, bag_outer_kpa=60.0)
    story.set(pins_in=0.0).run(5)
    story.set(pins_in=1.0).run(30, bag_inner_kpa=0.0, bag_outer_kpa=0.0).run(90)
    limits_json = limits.model_dump_json()
    limits_hash = hashlib.sha256(limits_json.encode()).hexdigest()
    store = await Store.open(path)
    try:
        store.register_rig(
            "bay-2",
            limits_json=limits_json,
            rules_version="1",
            software_version="0.1.0",
        )
        state = State()
        for told in story.frames:
            before, frame = state, replace(told, limits_hash=limits_hash)
            state, decision = step(limits, state, frame)
            opens = any(isinstance(event, RunOpened) for event in decision.events)
            store.append("bay-2", frame, decision, opening=dump(before) if opens else None)
            if frame.seq % 10 == 0:
                await store.flush()
        await store.flush()
    finally:
        await store.close()

"""The rules of `conftest.py`, each seen to fail a test that breaks it."""

import os
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from tests.proofs import proofs_of

ROOT = Path(__file__).parents[2]

SAMPLES = """
import asyncio, socket, subprocess, threading
import pytest

kept = []

async def forever():
    await asyncio.Event().wait()

async def tidying():
    try:
        await forever()
    finally:
        for _ in range(5):
            await asyncio.sleep(0)

async def test_task_left():
    kept.append(asyncio.create_task(forever()))

async def test_task_cancelled_in_time():
    task = asyncio.create_task(tidying())
    await asyncio.sleep(0)
    task.cancel()

def test_thread_left():
    stop = threading.Event()
    threading.Thread(target=stop.wait, args=(6,), daemon=True, name="stays").start()

def test_thread_ending_by_itself():
    threading.Timer(0.05, lambda: None).start()

def test_child_left():
    kept.append(subprocess.Popen(["sleep", "20"]))

def test_child_waited_for():
    subprocess.run(["true"], check=True)

def test_file_left():
    kept.append(open("/etc/hostname"))

async def test_socket_left():
    kept.append(socket.socket())

async def test_executor_and_server_put_away():
    await asyncio.to_thread(lambda: None)
    async with await asyncio.start_server(lambda r, w: None, "127.0.0.1", 0):
        pass

@pytest.fixture(scope="module")
def shared():
    with open("/etc/hostname") as file:
        yield file

def test_shared_fixture_may_stay_open(shared):
    pass

def test_end_the_sample_child():
    for child in kept:
        if isinstance(child, subprocess.Popen):
            child.kill()
            child.wait()
"""

LEFT = {
    "test_task_left": "tasks left behind",
    "test_thread_left": "thread 'stays'",
    "test_child_left": "child process",
    "test_file_left": "file descriptor",
    "test_socket_left": "socket:",
}


def _run(tmp_path: Path, samples: str) -> subprocess.CompletedProcess[str]:
    shutil.copy(ROOT / "tests" / "conftest.py", tmp_path)
    (tmp_path / "test_samples.py").write_text(samples)
    (tmp_path / "pytest.ini").write_text(
        "[pytest]\nasyncio_mode = auto\nmarkers =\n    proves: of this sample\n"
    )
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "--junitxml=out.xml"],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_what_is_left_behind_fails_and_what_is_put_away_passes(tmp_path):
    _run(tmp_path, SAMPLES)
    errors: dict[str, str] = {}
    names = set()
    for case in ET.parse(tmp_path / "out.xml").iter("testcase"):  # noqa: S314 - pytest wrote it
        names.add(case.get("name"))
        for error in case.iter("error"):
            errors[case.get("name")] = error.text or ""
    assert len(names) == SAMPLES.count("\ndef test_") + SAMPLES.count("\nasync def test_")
    assert errors.keys() == LEFT.keys()
    for name, words in LEFT.items():
        assert words in errors[name]


def test_a_proof_without_a_name_stops_the_run(tmp_path):
    result = _run(tmp_path, "import pytest\n@pytest.mark.proves(42)\ndef test_one(): pass\n")
    assert result.returncode == pytest.ExitCode.USAGE_ERROR
    assert "test_samples.py::test_one: proves(...) takes" in result.stderr + result.stdout


def test_a_proof_with_a_name_runs(tmp_path):
    result = _run(tmp_path, "import pytest\n@pytest.mark.proves('a.b')\ndef test_one(): pass\n")
    assert result.returncode == pytest.ExitCode.OK, result.stdout


@pytest.mark.parametrize(
    "mark",
    [
        pytest.mark.proves.with_args(),
        pytest.mark.proves(42),
        pytest.mark.proves(""),
        pytest.mark.proves(" bag.burst"),
        pytest.mark.proves(tag="bag.burst"),
    ],
    ids=str,
)
def test_what_is_no_name_of_a_proof(request, mark):
    request.node.add_marker(mark)
    with pytest.raises(pytest.UsageError):
        proofs_of([request.node])


def test_all_names_of_a_mark_count(request):
    request.node.add_marker(pytest.mark.proves("a.b", "c.d"))
    request.node.add_marker(pytest.mark.proves("e.f"))
    assert proofs_of([request.node]) == {"a.b", "c.d", "e.f"}

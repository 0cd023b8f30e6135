"""Generated docs are fresh, and `docs/build.sh` tells a stale one from a fresh one."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
GENERATORS = {
    "docs/alarm-life.md": "rules/document_lifecycle",
    "docs/alarms.md": "rules/document",
    "docs/configuration.md": "daemon/document_config",
    "docs/faults.md": "simulator/document",
    "docs/messages.md": "tests/messages_page",
    "docs/lost-sensors.md": "rules/document_losses",
    "docs/mqtt.md": "daemon/notify/document",
    "docs/phases.md": "rules/document_phases",
    "docs/wire-faults.md": "tests/contract/table",
}


def _build(root: Path, *args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["sh", root / "docs" / "build.sh", *args],
        env=os.environ | {"PYTHON": sys.executable},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.fixture
def pretend_tree(tmp_path):
    """The script with small generators of its own, so that they can change."""
    for name, module in GENERATORS.items():
        source = tmp_path / f"{module}.py"
        source.parent.mkdir(parents=True, exist_ok=True)
        source.write_text(f"print({name!r})\n")
    (tmp_path / "docs").mkdir()
    shutil.copy(ROOT / "docs" / "build.sh", tmp_path / "docs")
    return tmp_path


def test_the_generated_docs_are_fresh():
    result = _build(ROOT, "--check")
    assert result.returncode == 0, result.stderr


def test_check_fails_on_a_stale_document_and_leaves_it_alone(pretend_tree):
    assert _build(pretend_tree).returncode == 0
    stale = pretend_tree / "docs" / "mqtt.md"
    stale.write_text("by hand\n")
    result = _build(pretend_tree, "--check")
    assert result.returncode == 1
    assert result.stderr == "docs/mqtt.md is stale; run: sh docs/build.sh\n"
    assert stale.read_text() == "by hand\n"


def test_only_what_changed_is_written(pretend_tree):
    assert _build(pretend_tree).stdout.splitlines() == [f"wrote {name}" for name in GENERATORS]
    assert _build(pretend_tree).stdout == ""
    (pretend_tree / "rules" / "document.py").write_text("print('more alarms')\n")
    assert _build(pretend_tree).stdout == "wrote docs/alarms.md\n"
    assert _build(pretend_tree, "--check").returncode == 0


def test_a_generator_that_fails_leaves_the_document_alone(pretend_tree):
    _build(pretend_tree)
    (pretend_tree / "rules" / "document.py").write_text("print('half'); raise SystemExit(3)\n")
    assert _build(pretend_tree).returncode == 3
    assert (pretend_tree / "docs" / "alarms.md").read_text() == "docs/alarms.md\n"


def test_an_unknown_option_is_refused(pretend_tree):
    assert _build(pretend_tree, "--chekc").returncode == 2

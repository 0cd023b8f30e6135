"""The layer contracts of pyproject.toml, kept by the tree and each seen to break."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("daemon", "drivers", "rules", "simulator")

LAYERS = "the daemon stands on drivers and rules; nothing below knows another"
NO_SIMULATOR = "the daemon starts the simulator as a process, never imports it"
PURE = "rules are pure"


@pytest.fixture(scope="module")
def copy(tmp_path_factory) -> Path:
    """The four packages and their contracts, to be spoiled."""
    where = tmp_path_factory.mktemp("layers")
    for package in PACKAGES:
        ignored = shutil.ignore_patterns("__pycache__")
        shutil.copytree(ROOT / package, where / package, ignore=ignored)
    shutil.copy(ROOT / "pyproject.toml", where)
    return where


def _broken(where: Path) -> set[str]:
    """Names of the contracts that import-linter finds broken in the tree at `where`."""
    result = subprocess.run(
        [Path(sys.executable).with_name("lint-imports"), "--no-cache"],
        cwd=where,
        env=os.environ | {"PYTHONPATH": str(where), "NO_COLOR": "1", "COLUMNS": "200"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert "Contracts:" in result.stdout, result.stdout + result.stderr
    return {name for name in (LAYERS, NO_SIMULATOR, PURE) if f"{name} BROKEN" in result.stdout}


def test_the_tree_keeps_its_layers(copy):
    assert _broken(copy) == set()


@pytest.mark.parametrize(
    ("module", "line", "contract"),
    [
        ("daemon/spoiled.py", "import simulator.plant", NO_SIMULATOR),
        ("drivers/spoiled.py", "import rules.frame", LAYERS),
        ("drivers/spoiled.py", "import daemon.logs", LAYERS),
        ("rules/spoiled.py", "import drivers.base", LAYERS),
        ("simulator/spoiled.py", "import rules.frame", LAYERS),
        ("rules/spoiled.py", "import time", PURE),
        ("rules/spoiled.py", "import pymodbus", PURE),
    ],
)
def test_an_import_across_the_layers_breaks_its_contract(copy, module, line, contract):
    spoiled = copy / module
    spoiled.write_text(line + "\n")
    try:
        assert contract in _broken(copy)
    finally:
        spoiled.unlink()

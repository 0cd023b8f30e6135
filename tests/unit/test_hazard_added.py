"""A hazard is one file and its cases: nothing else is edited to add one.

The packages are copied, one file and its cases are put in, and a Python of its
own is asked what it finds. The hazard is invented for this test.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

HAZARD = '''"""It is too warm in the shed.

Hazard:
    Invented for a test, and no more.
Standard:
    None; the figures are invented.
Limits:
    `warn_c` and `trip_c`, of the air around the rig.
Trips when:
    The air is above the second limit; above the first it warns. Not when done.
Clears when:
    It is at or below the limit again.
When data is missing:
    No reading of the air: not judged.
Not covered:
    Whatever else a shed may have.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.phases import Phase
from rules.view import View


class Limits(BaseModel):
    """Limits of `shed.warm`; what each is for stands above."""

    model_config = STRICT

    warn_c: float = Field(default=35.0, ge=20, le=60)
    trip_c: float = Field(default=50.0, ge=20, le=70)


@dataclass(frozen=True, slots=True)
class Memory:
    """Nothing is remembered."""


ROW = Row(
    tag="shed.warm",
    title="warm in the shed",
    consequence="the repairer sweats",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Open a door.",
    trip_do="KEEP AIR ON. Do not open. Open doors.",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    air_c = view.good("ambient_c")
    if air_c is None:
        return memory, NOT_JUDGED
    if view.phase is Phase.DONE:
        return memory, CLEAR
    if air_c > limits.trip_c:
        return memory, Finding(Level.TRIP, f"shed {air_c:.0f} C")
    if air_c > limits.warn_c:
        return memory, Finding(Level.WARN, f"shed {air_c:.0f} C")
    return memory, CLEAR
'''

CASE = """[[case]]
name = "{name}"
kind = "{kind}"
source = "invented"
phase = "{phase}"
frames = [{{ at_s = 0, ambient_c = {first} }}, {{ at_s = 1, ambient_c = {then} }}]
expect = {{ at_s = 1, state = "{state}" }}
"""
CASES = "\n".join(
    CASE.format(name=name, kind=kind, first=first, then=then, state=state, phase=phase)
    for name, kind, first, then, state, phase in (
        ("20 C", "healthy", 20, 20, "clear", "cure"),
        ("35 C", "near_miss", 20, 35, "clear", "cure"),
        ("36 C", "warns", 20, 36, "warn", "cure"),
        ("50 C", "warns", 20, 50, "warn", "cure"),
        ("51 C", "trips", 20, 51, "trip", "cure"),
        ("cool again", "clears", 36, 20, "clear", "cure"),
        ("no answer", "missing", 20, '"no_reply"', "not_judged", "cure"),
        ("51 C, done", "suppressed", 20, 51, "clear", "done"),
    )
)

ASK = """
from dataclasses import replace
from rules.checkpoint import dump, load
from rules.document import alarms_page
from rules.limits import Limits
from rules.state import State
from tests.unit.hazard_cases import all_cases, check
from tests.unit.story import Story

limits = Limits.model_validate({"shed_warm": {"warn_c": 30.0}})
assert limits.of("shed_warm").warn_c == 30.0
story = Story(limits).run(5)
assert story.alarms() == [], story.alarms()
story.set(ambient_c=31.0).run(5).set(ambient_c=29.0).run(5)
assert story.alarms() == [("shed.warm", "warn"), ("shed.warm", "clear")], story.alarms()
assert load(dump(story.state)) == story.state
assert "## shed.warm" in alarms_page()
mine = [(hazard, case) for hazard, case in all_cases() if hazard.name == "shed_warm"]
assert len(mine) == 8
assert [check(hazard, case) for hazard, case in mine] == [[]] * 8
print("judged")
"""


@pytest.fixture(scope="module")
def tree(tmp_path_factory):
    root = tmp_path_factory.mktemp("tree")
    for package in ("daemon", "drivers", "rules", "simulator"):
        shutil.copytree(
            ROOT / package, root / package, ignore=shutil.ignore_patterns("__pycache__")
        )
    helpers = root / "tests" / "unit"
    helpers.mkdir(parents=True)
    (root / "tests" / "__init__.py").touch()
    for name in ("hazard_cases.py", "story.py"):
        shutil.copy(ROOT / "tests" / "unit" / name, helpers)
    return root


def _python(tree: Path, code: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code],
        cwd=tree,
        env=os.environ | {"PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_one_file_and_its_cases_are_all(tree):
    hazards = tree / "rules" / "hazards"
    before = _python(tree, ASK)
    assert "shed_warm" in before.stderr, "not there before, so that its being there means something"
    (hazards / "shed_warm.py").write_text(HAZARD)
    (hazards / "shed_warm.cases.toml").write_text(CASES)
    after = _python(tree, ASK)
    assert (after.returncode, after.stdout) == (0, "judged\n"), after.stderr


def test_the_tests_of_every_hazard_hold_for_it(tree):
    """The meta-tests themselves run on the tree with the new hazard."""
    hazards = tree / "rules" / "hazards"
    (hazards / "shed_warm.py").write_text(HAZARD)
    (hazards / "shed_warm.cases.toml").write_text(CASES)
    shutil.copy(ROOT / "tests" / "unit" / "test_hazards.py", tree / "tests" / "unit")
    shutil.copy(ROOT / "pyproject.toml", tree)
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "-p",
            "no:cacheprovider",
            "-k",
            "shed_warm",
            "tests",
        ],
        cwd=tree,
        env=os.environ | {"PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:]
    assert " passed" in done.stdout

"""The tree is tidy, and each check is seen to catch a bad sample first."""

from pathlib import Path

import pytest

from tests.tidy import CHECKS, Check, Tree

ROOT = Path(__file__).parents[2]
BAD = [(check, bad) for check in CHECKS for bad in check.bad]


@pytest.fixture(scope="module")
def tree() -> Tree:
    return Tree.read(ROOT)


@pytest.mark.parametrize(("check", "bad"), BAD, ids=[check.name for check, _ in BAD])
def test_it_catches_a_bad_sample(check: Check, bad):
    complaints = list(check.find(Tree(bad)))
    assert len(complaints) == 1
    path, line, words = str(complaints[0]).split(":", 2)
    assert path
    assert int(line) >= 1
    assert "; " in words, "a complaint says what is wrong, then what to do"


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.name)
def test_it_lets_a_good_sample_pass(check: Check):
    assert list(check.find(Tree(check.good))) == []


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.name)
def test_the_tree_is_tidy(check: Check, tree: Tree):
    complaints = sorted(map(str, check.find(tree)))
    assert not complaints, "\n" + "\n".join(complaints)


def test_the_tree_was_read(tree):
    assert {"pyproject.toml", "rules/frame.py", "tests/unit/test_tidy.py"} <= tree.files.keys()
    assert tree.files["rules/frame.py"]
    assert not [path for path in tree.files if "__pycache__" in path or path.startswith(".git/")]

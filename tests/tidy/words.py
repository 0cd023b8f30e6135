"""Words that mislead a person at the rig, and paths of somebody's own machine."""

import re
from collections.abc import Iterator

from tests.tidy.base import Complaint, Tree, check

MISLEADING = {
    re.compile(r"\bisolated\b", re.IGNORECASE): (
        "an open permit isolates nothing",
        "say that heat is cut, or that the permit is open",
    ),
    re.compile(r"(?<![\w.~}$-])/(home|root|Users|work)/\w"): (
        "a path of one machine",
        "name it from the root of the tree, or use a temporary folder",
    ),
    re.compile(r"\b(FIXME|XXX)\b"): (
        "something unfinished",
        "write `TODO`: what is missing and why that is safe",
    ),
    re.compile(r"\bTODO\b(?!:? +\w+( +\S+){3})"): (
        "a TODO without its reason",
        "say what is missing and why that is safe",
    ),
}
# These name the words in order to forbid them.
NAMED_HERE = ("tests/tidy/", "DEVELOPERS.md")


@check(
    bad=[
        {"README.md": "the pads are isolated now\n"},
        {"daemon/a.py": "PATH = '/home/me/x'\n"},
        {"daemon/a.py": "# FIXME\n"},
        {"daemon/a.py": "# TODO\n"},
        {"daemon/a.py": "# TODO: ticket 12\n"},
    ],
    good={
        "README.md": "isolate and prove dead; see /etc/curehold and tests/home/x\n",
        "daemon/a.py": "# TODO: retry is missing; safe, the next poll comes in 1 s\n",
    },
)
def no_misleading_words(tree: Tree) -> Iterator[Complaint]:
    """No word of the list is in any text."""
    for path, text in tree.files.items():
        if path.startswith(NAMED_HERE):
            continue
        for number, line in enumerate(text.splitlines(), 1):
            for pattern, (what, do) in MISLEADING.items():
                if found := pattern.search(line):
                    yield Complaint(path, number, f"{found[0]!r}: {what}", do)

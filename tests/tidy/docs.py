"""Docs: links lead somewhere, decisions are whole, figures of the rules have a source."""

import ast
import re
from collections.abc import Iterator
from posixpath import dirname, normpath

from tests.tidy.base import Complaint, Module, Tree, check

LINK = re.compile(r"\[[^\]]*\]\(([^)\s#]+)[^)]*\)")
CODE = re.compile(r"^```.*?^```|`[^`\n]*`", re.DOTALL | re.MULTILINE)
ELSEWHERE = re.compile(r"[a-z]+:")

DECISIONS = "docs/decisions/"
DECISION_PARTS = (r"Status: \w+", "## Context", "## Decision", "## Rejected", "## Consequences")
ADR = "# 0. A sentence\n\nNovember 2026. Status: accepted\n" + "".join(
    f"{part}: x\n" for part in DECISION_PARTS[1:]
)
TEMPLATE = {f"{DECISIONS}0000-template.md": ADR}


@check(
    bad=[{"README.md": "see [here](docs/a.md)\n"}, {"docs/a.md": "![x](b.png)\n"}],
    good={
        "README.md": "[a](docs/a.md#part) [b](https://example.org) [c](docs) `[d](none)`\n"
        "```\n[e](none)\n```\n",
        "docs/a.md": "[up](../README.md) [own](#part)\n",
    },
)
def links_lead_somewhere(tree: Tree) -> Iterator[Complaint]:
    """Relative links in Markdown name a file or a folder of the tree."""
    for path, text in tree.matching("*.md"):
        shown = CODE.sub(lambda code: "\n" * code[0].count("\n"), text)
        for link in LINK.finditer(shown):
            target = normpath(f"{dirname(path)}/{link[1]}".lstrip("/"))
            if ELSEWHERE.match(link[1]) or target in tree.files or target in tree.folders:
                continue
            line = shown.count("\n", 0, link.start()) + 1
            yield Complaint(path, line, f"no {target}", "mend the link")


@check(
    bad=[
        TEMPLATE | {f"{DECISIONS}0002-b.md": ADR.replace("# 0.", "# 2.")},
        TEMPLATE | {f"{DECISIONS}0000-b.md": ADR},
        TEMPLATE | {f"{DECISIONS}0001-b.md": ADR},
        *(
            {f"{DECISIONS}0000-template.md": re.sub(part, "", ADR, count=1)}
            for part in DECISION_PARTS
        ),
    ],
    good=TEMPLATE | {f"{DECISIONS}0001-b.md": ADR.replace("# 0.", "# 1.")},
)
def decisions_are_numbered_and_whole(tree: Tree) -> Iterator[Complaint]:
    """Decisions count up from 0000 and have every part."""
    for expected, (path, text) in enumerate(sorted(tree.matching(f"{DECISIONS}*.md"))):
        if not path.startswith(f"{DECISIONS}{expected:04d}-"):
            do = f"number it {expected:04d}: none left out, none twice"
            yield Complaint(path, 1, "its number is out of order", do)
        number = path.removeprefix(DECISIONS)[:4].lstrip("0") or "0"
        if not text.startswith(f"# {number}. "):
            yield Complaint(path, 1, "its title lacks its number", f"begin with `# {number}. `")
        for part in DECISION_PARTS:
            if not re.search(rf"\b{part}|^{part}", text, re.MULTILINE):
                yield Complaint(path, 1, f"no {part!r}", "copy the part from the template")


@check(
    bad=[
        {"rules/a.py": '"""A."""\ndef f():\n    """F."""\n'},
        {"rules/a.py": '"""A."""\nclass B:\n    def f(self):\n        """F."""\n'},
        {"drivers/sensors/a.py": "def f(): ...\n"},
    ],
    good={
        "rules/a.py": '"""A.\n\nSource:\n    Own method.\n"""\ndef f():\n    """F."""\n',
        "rules/b.py": '"""B."""\ndef f():\n    """F.\n\n    Source:\n        Own.\n    """\n',
        "rules/hazards/c.py": '"""C.\n\nStandard:\n    None.\n"""\ndef judge(): ...\n',
        "rules/d.py": '"""D."""\ndef _f(): ...\n',
        "daemon/a.py": "def f(): ...\n",
    },
)
def rules_name_their_sources(tree: Tree) -> Iterator[Complaint]:
    """In `rules/` and `drivers/sensors/`, the module or each public function has a source."""
    for module in tree.modules("rules", "drivers/sensors"):
        if _has_source(module.tree):
            continue
        for node in _public_functions(module):
            if not _has_source(node):
                do = "add `Source:` to its docstring, or to the module's for all of it"
                yield Complaint(module.path, node.lineno, f"{node.name} names no source", do)


def _has_source(node: ast.Module | ast.FunctionDef) -> bool:
    words = ast.get_docstring(node) or ""
    return re.search(r"^(Source|Standard):", words, re.MULTILINE) is not None


def _public_functions(module: Module) -> Iterator[ast.FunctionDef]:
    bodies = [module.tree.body]
    bodies += [node.body for node in module.tree.body if isinstance(node, ast.ClassDef)]
    for body in bodies:
        for node in body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield node

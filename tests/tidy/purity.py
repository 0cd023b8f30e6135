"""What the rules may import: an allow-list, since a list of bans forgets."""

import ast
from collections.abc import Iterator

from tests.tidy.base import Complaint, Tree, check

ALLOWED = frozenset(
    {"bisect", "collections", "dataclasses", "enum", "functools", "hashlib", "itertools", "json"}
    | {"math", "operator", "re", "statistics", "types", "typing"}
    | {"pydantic", "pydantic_core", "rules"}
)
ALLOWED_IN = {
    "rules/hazards/__init__.py": {"importlib", "pkgutil"},  # finds the hazard files
    "rules/alphabet.py": {"unicodedata"},  # a table of the standard library
    "rules/document.py": {"inspect", "sys", "textwrap"},  # prints docs/alarms.md
    "rules/document_lifecycle.py": {"sys"},  # prints docs/alarm-life.md
    "rules/document_losses.py": {"sys"},  # prints docs/lost-sensors.md
    "rules/document_phases.py": {"sys"},  # prints docs/phases.md
}
BUILTINS_BARRED = ("open", "__import__", "eval", "exec", "print", "input")
ALLOWED_UNDER = {"rules/cure/": {"numpy"}}


@check(
    bad=[
        {"rules/a.py": "import time\n"},
        {"rules/a.py": "def f():\n    from os.path import join\n"},
        {"rules/a.py": "import numpy as np\n"},
        {"rules/a.py": "from . import b\n"},
        {"rules/a.py": "x = __import__('time')\n"},
        {"rules/a.py": "x = open('file')\n"},
    ],
    good={
        "rules/a.py": "from collections.abc import Mapping\nimport rules.frame\n",
        "rules/cure/b.py": "import numpy as np\n",
        "rules/hazards/__init__.py": "import pkgutil\n",
        "rules/c.py": "class A:\n    open: bool\n",
    },
)
def rules_import_nothing_impure(tree: Tree) -> Iterator[Complaint]:
    """Rules import what is on the list, by full names."""
    for module in tree.modules("rules"):
        allowed = ALLOWED | ALLOWED_IN.get(module.path, set())
        for under, more in ALLOWED_UNDER.items():
            allowed |= more if module.path.startswith(under) else set()
        for node in ast.walk(module.tree):
            for name in _reached(node):
                if name not in allowed:
                    do = "let it come in with the frame, or allow it in tests/tidy/purity.py"
                    yield Complaint(module.path, node.lineno, f"rules reach for {name}", do)


def _reached(node: ast.AST) -> Iterator[str]:
    if isinstance(node, ast.Import):
        yield from (alias.name.split(".")[0] for alias in node.names)
    elif isinstance(node, ast.ImportFrom):
        yield "a relative import" if node.level else (node.module or "").split(".")[0]
    elif isinstance(node, ast.Call) and ast.unparse(node.func) in BUILTINS_BARRED:
        yield f"{ast.unparse(node.func)}()"

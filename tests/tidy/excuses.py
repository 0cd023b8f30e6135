"""Where a tool is told to look away, the code and the reason stand beside it."""

import io
import re
import tokenize
from collections.abc import Iterator

from tests.tidy.base import PACKAGES, Complaint, Tree, check

LOOKS_AWAY = re.compile(r"#\s*(noqa|type:\s*ignore|pragma:|fmt:\s*off|mypy:)")
CODES = r"[A-Z]+[0-9]+(,\s*[A-Z]+[0-9]+)*"
NOQA = re.compile(rf"#\s*noqa:\s*{CODES}\s+\W*\w+\W+\w+")
IGNORE = re.compile(r"#\s*type:\s*ignore\[[a-z-]+(,\s*[a-z-]+)*\]\s+#\s*\w+\W+\w+")


@check(
    bad=[
        {"daemon/a.py": "x = 1  # noqa\n"},
        {"daemon/a.py": "x = 1  # noqa: E501\n"},
        {"daemon/a.py": "x = 1  # type: ignore\n"},
        {"daemon/a.py": "x = 1  # type: ignore[arg-type]\n"},
        {"tests/a.py": "x = 1  # fmt: off\n"},
    ],
    good={
        "daemon/a.py": "x = 1  # noqa: E501, S101 - the wire says so\n"
        "y = 1  # type: ignore[arg-type]  # checked by the line above\n"
        "z = '# noqa'\n"
    },
)
def looking_away_has_a_code_and_a_reason(tree: Tree) -> Iterator[Complaint]:
    """Every `noqa` and `type: ignore` names its code and a reason of two words."""
    for module in tree.modules(*PACKAGES, "tests"):
        for token in tokenize.generate_tokens(io.StringIO(module.text).readline):
            if token.type != tokenize.COMMENT or not LOOKS_AWAY.search(token.string):
                continue
            if not NOQA.search(token.string) and not IGNORE.search(token.string):
                do = "write `# noqa: CODE - reason` or `# type: ignore[code]  # reason`"
                yield Complaint(module.path, token.start[0], f"bare {token.string!r}", do)

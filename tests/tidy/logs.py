"""Log events and their catalogue, both ways."""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from tests.tidy.base import Complaint, Tree, check

CATALOGUE = "docs/log-events.md"
LEVELS = {name: name for name in ("debug", "info", "warning", "error", "critical")} | {
    "exception": "error"
}
LOGGERS = ("log", "_log", "logger", "_logger")
NAME = re.compile(r"[a-z]+(\.[a-z_]+)+")
ROW = re.compile(r"\| `(?P<name>[^`]+)` \| (?P<level>\w+) \|(?P<keys>[^|]*)\|.+\|$")
GOOD_ROW = "| `link.down` | warning | `link` | no answer | look at the cable |\n"


@dataclass
class Said:
    """One event as the code says it, over all places."""

    path: str
    line: int
    levels: set[str] = field(default_factory=set)
    keys: set[str] = field(default_factory=set)


@check(
    bad=[
        {"daemon/a.py": "log.warning('link.down', link=1)\n", CATALOGUE: ""},
        {"daemon/a.py": "", CATALOGUE: GOOD_ROW},
        {"daemon/a.py": "log.info('link.down', link=1)\n", CATALOGUE: GOOD_ROW},
        {"daemon/a.py": "log.warning('link.down')\n", CATALOGUE: GOOD_ROW},
        {"daemon/a.py": "log.warning('link.down', link=1, age_s=2)\n", CATALOGUE: GOOD_ROW},
        {"daemon/a.py": "log.warning(f'link.{x}', link=1)\n", CATALOGUE: ""},
        {"daemon/a.py": "log.warning('It broke')\n", CATALOGUE: ""},
        {"daemon/a.py": "log.warning('link.down', link=1)\n", CATALOGUE: GOOD_ROW * 2},
    ],
    good={
        "daemon/a.py": "self._log.warning('link.down', link=1, exc_info=True)\n",
        CATALOGUE: "| event | level | keys | meaning | what to do |\n" + GOOD_ROW,
    },
)
def log_events_are_in_the_catalogue(tree: Tree) -> Iterator[Complaint]:
    """Each event's name, level and keys stand in the catalogue, and nothing else does."""
    said: dict[str, Said] = {}
    for module in tree.modules("daemon", "drivers", "simulator"):
        for node in ast.walk(module.tree):
            if not isinstance(node, ast.Call) or not _is_log(node.func):
                continue
            name = (
                node.args[0].value if node.args and isinstance(node.args[0], ast.Constant) else ""
            )
            if not isinstance(name, str) or not NAME.fullmatch(name):
                do = "give a literal dotted name and put the values in keys"
                yield Complaint(module.path, node.lineno, "log event without a name", do)
                continue
            event = said.setdefault(name, Said(module.path, node.lineno))
            event.levels.add(LEVELS[node.func.attr])
            event.keys.update(key.arg for key in node.keywords if key.arg and key.arg != "exc_info")
    yield from _compared(said, tree.files.get(CATALOGUE, ""))


def _compared(said: dict[str, Said], catalogue: str) -> Iterator[Complaint]:
    listed = set()
    for number, line in enumerate(catalogue.splitlines(), 1):
        row = ROW.match(line)
        if row is None:
            continue
        name, keys = row["name"], set(re.findall(r"`([^`]+)`", row["keys"]))
        if name in listed:
            yield Complaint(CATALOGUE, number, f"{name} stands twice", "keep one row")
        listed.add(name)
        event = said.get(name)
        if event is None:
            yield Complaint(CATALOGUE, number, f"nothing says {name}", "remove the row")
            continue
        where = f"{event.path}:{event.line}"
        if event.levels != {row["level"]}:
            what = f"{name} is {row['level']}, but {where} says {', '.join(sorted(event.levels))}"
            yield Complaint(CATALOGUE, number, what, "agree on one level")
        if event.keys != keys:
            what = f"{name}: keys differ from {where}: {', '.join(sorted(event.keys ^ keys))}"
            yield Complaint(CATALOGUE, number, what, "list the keys that are said")
    for name in said.keys() - listed:
        do = f"add its row to {CATALOGUE}"
        yield Complaint(said[name].path, said[name].line, f"{name} is not in the catalogue", do)


def _is_log(call: ast.expr) -> bool:
    if not isinstance(call, ast.Attribute) or call.attr not in LEVELS:
        return False
    logger = call.value
    if isinstance(logger, ast.Attribute):
        return logger.attr in LOGGERS
    return isinstance(logger, ast.Name) and logger.id in LOGGERS

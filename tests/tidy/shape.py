"""Size of modules and functions; modules that nobody uses."""

import ast
from collections.abc import Iterator

from tests.tidy.base import PACKAGES, Complaint, Module, Tree, check

MODULE_LINES_MAX = 600
FUNCTION_LINES_MAX = 70

# Started by name, or found by a loader, so that no import names them.
STARTED_BY_NAME = {
    "daemon.cli": "the command `curehold`",
    "daemon.document_config": "writes docs/configuration.md",
    "daemon.notify.document": "writes docs/mqtt.md",
    "rules.document": "writes docs/alarms.md",
    "rules.document_lifecycle": "writes docs/alarm-life.md",
    "rules.document_messages": "writes docs/messages.md with tests/messages_page.py",
    "rules.document_losses": "writes docs/lost-sensors.md",
    "rules.document_phases": "writes docs/phases.md",
    "simulator.document": "writes docs/faults.md",
}
FOUND_BY_LOADER = ("rules.hazards.", "simulator.faults.")
FOR_TESTS = (".fake", ".fake_rtu")  # serve the real wire of their driver to tests
LONG = "X = 1\n"


@check(bad=[{"daemon/a.py": LONG * 601}], good={"daemon/a.py": LONG * 600})
def modules_are_short(tree: Tree) -> Iterator[Complaint]:
    """No module over the limit."""
    for module in tree.modules(*PACKAGES, "tests"):
        lines = len(module.text.splitlines())
        if lines > MODULE_LINES_MAX:
            what = f"{lines} lines, the limit is {MODULE_LINES_MAX}"
            yield Complaint(module.path, lines, what, "split it by what it is about")


@check(
    bad=[{"daemon/a.py": "async def a():\n" + " x = 1\n" * 70}],
    good={"daemon/a.py": "async def a():\n '''A.\n\n More.\n '''\n" + " x = 1\n" * 69},
)
def functions_are_short(tree: Tree) -> Iterator[Complaint]:
    """No function over the limit; its docstring does not count."""
    for module in tree.modules(*PACKAGES, "tests"):
        for node in ast.walk(module.tree):
            if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                continue
            lines = (node.end_lineno or node.lineno) - node.lineno + 1 - _docstring_lines(node)
            if lines > FUNCTION_LINES_MAX:
                what = f"{node.name} has {lines} lines, the limit is {FUNCTION_LINES_MAX}"
                yield Complaint(module.path, node.lineno, what, "take a pure helper out of it")


@check(
    bad=[
        {"daemon/cli.py": "from daemon import a\n", "daemon/a.py": "", "daemon/b.py": ""},
        {"rules/a.py": "", "tests/test_a.py": "import rules.a\n"},
    ],
    good={
        "daemon/cli.py": "from daemon.a import f\nfrom daemon import b\nimport daemon.c\n",
        "daemon/a.py": "",
        "daemon/b.py": "",
        "daemon/c.py": "",
        "daemon/d/__main__.py": "",
        "rules/hazards/x.py": "",
        "drivers/modbus/fake.py": "",
        "tests/test_a.py": "from drivers.modbus.fake import Fake\n",
    },
)
def every_module_is_used(tree: Tree) -> Iterator[Complaint]:
    """Every module is imported by another one, or started by name."""
    used = set(STARTED_BY_NAME)
    for module in tree.modules(*PACKAGES):
        used |= _imported(module)
    in_tests = {name for module in tree.modules("tests") for name in _imported(module)}
    for module in tree.modules(*PACKAGES):
        name = module.dotted
        if module.is_package or name.endswith(".__main__") or name.startswith(FOUND_BY_LOADER):
            continue
        if name not in used and not (name.endswith(FOR_TESTS) and name in in_tests):
            do = "remove it, or list it in tests/tidy/shape.py with who starts it"
            yield Complaint(module.path, 1, "no module imports it", do)


def _docstring_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    first = node.body[0]
    if ast.get_docstring(node) is None or first.end_lineno is None:
        return 0
    return first.end_lineno - first.lineno + 1


def _imported(module: Module) -> set[str]:
    names = set()
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names - {module.dotted}

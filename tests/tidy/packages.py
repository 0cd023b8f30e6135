"""Packages: ours alone in the distribution, no borrowed names, whole drivers."""

import sys
import tomllib
from collections.abc import Iterator
from pathlib import PurePosixPath

from tests.tidy.base import PACKAGES, Complaint, Tree, check

DRIVER_PARTS = ("registers.py", "codec.py", "device.py", "fake.py", "README.md")
NOT_DRIVERS = {"sensors": "conversions, not a link"}
WHOLE_DRIVER = {f"drivers/modbus/{part}": "" for part in DRIVER_PARTS}


def _pyproject(include: str) -> dict[str, str]:
    return {"pyproject.toml": f"[tool.setuptools.packages.find]\ninclude = {include}\n"}


@check(
    bad=[_pyproject('["*"]'), _pyproject('["daemon*", "drivers*", "rules*", "simulator*", "t*"]')],
    good=_pyproject('["daemon*", "drivers*", "rules*", "simulator*"]'),
)
def exactly_our_packages_are_installed(tree: Tree) -> Iterator[Complaint]:
    """`packages.find` includes the four packages and no more."""
    project = tomllib.loads(tree.files["pyproject.toml"])
    included = project["tool"]["setuptools"]["packages"]["find"]["include"]
    wanted = [f"{package}*" for package in PACKAGES]
    if sorted(included) != wanted:
        yield Complaint("pyproject.toml", 1, f"packages.find has {included}", f"make it {wanted}")


@check(
    bad=[{"daemon/signal.py": ""}, {"rules/statistics/__init__.py": ""}],
    good={"daemon/signals.py": "", "rules/__init__.py": "", "drivers/modbus/codec.py": ""},
)
def no_module_borrows_a_name(tree: Tree) -> Iterator[Complaint]:
    """No module is named like one of the standard library."""
    for module in tree.modules(*PACKAGES):
        name = module.dotted.split(".")[-1]
        if name in sys.stdlib_module_names and not name.startswith("__"):
            what = f"{name} is a module of the standard library"
            yield Complaint(module.path, 1, what, "give it a name of our own")


@check(
    bad=[
        {path: "" for path in WHOLE_DRIVER if not path.endswith(part)} | {"drivers/modbus/x.py": ""}
        for part in DRIVER_PARTS
    ],
    good=WHOLE_DRIVER | {"drivers/base.py": "", "drivers/sensors/pt100.py": ""},
)
def a_driver_is_whole(tree: Tree) -> Iterator[Complaint]:
    """Each driver package has all its parts."""
    drivers = {
        parts[1]
        for path in tree.files
        if (parts := PurePosixPath(path).parts)[0] == "drivers" and len(parts) > 2
    }
    for driver in sorted(drivers - NOT_DRIVERS.keys()):
        for part in DRIVER_PARTS:
            path = f"drivers/{driver}/{part}"
            if path not in tree.files:
                yield Complaint(path, 1, "this part of the driver is missing", "write it")

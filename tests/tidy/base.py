"""The tree as text, complaints about it, and the list of checks."""

import ast
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import Path

PACKAGES = ("daemon", "drivers", "rules", "simulator")
SKIPPED = ("__pycache__", "build", "dist")
TEXT = (".py", ".md", ".toml", ".sh", ".sql", ".service", ".conf", ".css", ".html", ".js", ".csv")


@dataclass(frozen=True)
class Complaint:
    """One thing that is not as it should be, and what to do about it."""

    path: str
    line: int
    what: str
    do: str

    def __str__(self) -> str:
        return f"{self.path}:{self.line}: {self.what}; {self.do}"


@dataclass(frozen=True)
class Module:
    """One Python file."""

    path: str
    text: str
    tree: ast.Module

    @property
    def dotted(self) -> str:
        """Its name as imported."""
        return self.path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")

    @property
    def is_package(self) -> bool:
        """It is an `__init__.py`."""
        return self.path.endswith("__init__.py")


class Tree:
    """Files by path from the root; what is no text has its path only."""

    def __init__(self, files: Mapping[str, str]) -> None:
        self.files = dict(files)
        self._parsed: dict[str, Module] = {}
        self.folders = {
            str(folder) for path in self.files for folder in Path(path).parents if path
        } | {"."}

    @classmethod
    def read(cls, root: Path) -> "Tree":
        """The tree at `root`, without what tools leave there."""
        files = {}
        for path in sorted(root.rglob("*")):
            inside = path.relative_to(root)
            if any(_is_skipped(part) for part in inside.parts) or not path.is_file():
                continue
            files[str(inside)] = path.read_text() if _is_text(path) else ""
        return cls(files)

    def matching(self, *patterns: str) -> Iterator[tuple[str, str]]:
        """Path and text of the files that match any pattern; `*` crosses folders."""
        for path, text in self.files.items():
            if any(fnmatch(path, pattern) for pattern in patterns):
                yield path, text

    def modules(self, *tops: str) -> Iterator[Module]:
        """The Python files under the folders named."""
        for path, text in self.matching(*(f"{top}/*.py" for top in tops)):
            if path not in self._parsed:
                self._parsed[path] = Module(path, text, ast.parse(text, path))
            yield self._parsed[path]


Find = Callable[[Tree], Iterator[Complaint]]


@dataclass(frozen=True)
class Check:
    """A check, trees that it must complain about, and one that it must not."""

    find: Find
    bad: tuple[Mapping[str, str], ...]
    good: Mapping[str, str]

    @property
    def name(self) -> str:
        """As shown in test reports."""
        return self.find.__name__


CHECKS: list[Check] = []


def check(*, bad: list[Mapping[str, str]], good: Mapping[str, str]) -> Callable[[Find], Find]:
    """Add the function to the list of checks."""

    def added(find: Find) -> Find:
        CHECKS.append(Check(find, tuple(bad), good))
        return find

    return added


def _is_skipped(part: str) -> bool:
    hidden = part.startswith(".") and part not in (".ci", ".gitignore")
    return hidden or part in SKIPPED or part.endswith(".egg-info")


def _is_text(path: Path) -> bool:
    return path.suffix in TEXT or path.parent.name == ".ci"

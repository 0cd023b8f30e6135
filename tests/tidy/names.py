"""Units in names."""

import ast
from collections.abc import Iterator

from tests.tidy.base import PACKAGES, Complaint, Tree, check

UNITS = frozenset(
    {"c", "k", "kpa", "pa", "bar", "s", "ms", "us", "ns", "min", "minutes", "seconds", "h", "mb"}
    | {"mm", "m", "m2", "m3", "l", "ml", "kg", "g", "mol", "kjmol", "mk", "m2k"}
    | {"a", "ma", "v", "mv", "w", "kw", "j", "kj", "ohm", "hz", "percent"}
)
BOUNDS = frozenset({"min", "max", "low", "high"})
NO_UNIT = frozenset({"fraction", "ratio", "factor", "share", "scale", "count"})

# Names of numbers that have no unit, or whose unit is that of the channel.
DIMENSIONLESS = {
    "value": "in the unit of its channel",
    "first": "of a window, in the unit of its signal",
    "last": "of a window, in the unit of its signal",
    "low": "of a window, in the unit of its signal",
    "high": "of a window, in the unit of its signal",
    "total": "of a window, in the unit of its signal",
    "closed_low": "of a window, in the unit of its signal",
    "closed_high": "of a window, in the unit of its signal",
    "near": "an average, in the unit of its signal",
    "middle": "an average, in the unit of its signal",
    "far": "an average, in the unit of its signal",
    "jumps": "a number of them that fades",
    "mains": "the mains' voltage as a share of what it was",
    "counts": "as the registers count",
    "marker": "as the registers count",
    "offset": "in the unit of its point",
    "range_low": "in the unit of its point",
    "range_high": "in the unit of its point",
    "open_at": "as the registers count",
    "short_at": "as the registers count",
    "zero_reads": "in the unit of its channel",
    "span_at": "in the unit of its channel",
    "span_reads": "in the unit of its channel",
    "at": "in the unit of its channel",
    "reads": "in the unit of its channel",
    "signal": "in the unit of its sensor's signal",
    "number": "in the unit of whatever was read",
    "characters": "a number of them, also parts of one",
    "noise": "in the unit of the instrument",
    "quantum": "in the unit of the instrument",
    "start": "in the unit of the instrument",
    "true": "in the unit of the instrument",
    "speed": "plant seconds per real second",
    "timeout": "a parameter of aiomqtt, in s",
    "draught": "a factor on losses to air",
    "pace": "a factor on how long handwork takes",
    "exponent": "of a power, as its formula has it",
    "contactor_closed": "a share of a step",
    "start_hour": "of the day",
}


@check(
    bad=[
        {"rules/a.py": "class A:\n    trip: float\n"},
        {"rules/a.py": "class A:\n    trip_max: float | None = None\n"},
        {"rules/a.py": "def f(*, dt: float) -> None: ...\n"},
    ],
    good={
        "rules/a.py": "class A:\n    trip_c: float\n    retry_s_max: float | None = None\n"
        "    bag_fraction: float\n    name: str\n    value: float\n"
        "def f(dt_s: float, rate_c_per_min: float, count: int) -> None: ...\n"
    },
)
def numbers_carry_their_unit(tree: Tree) -> Iterator[Complaint]:
    """Float fields and parameters end in a unit, or are listed."""
    for module in tree.modules(*PACKAGES):
        for node in ast.walk(module.tree):
            for name, line in _floats(node):
                if not _has_unit(name):
                    do = "end it in its unit, or list it in tests/tidy/names.py with the reason"
                    yield Complaint(module.path, line, f"{name} has no unit", do)


def _floats(node: ast.AST) -> Iterator[tuple[str, int]]:
    if isinstance(node, ast.ClassDef):
        for item in node.body:
            if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name):
                yield from _if_float(item.target.id, item.annotation, item.lineno)
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        for arg in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs):
            yield from _if_float(arg.arg, arg.annotation, arg.lineno)


def _if_float(name: str, annotation: ast.expr | None, line: int) -> Iterator[tuple[str, int]]:
    if annotation is not None and ast.unparse(annotation) in ("float", "float | None"):
        yield name, line


def _has_unit(name: str) -> bool:
    words = name.lower().strip("_").split("_")
    # "trip_min" passes: as a lower bound it is spelled like minutes.
    if name.strip("_") in DIMENSIONLESS or words[-1] in UNITS | NO_UNIT:
        return True
    return len(words) > 1 and words[-1] in BOUNDS and words[-2] in UNITS | NO_UNIT

"""Mistakes in a configuration, told so that whoever wrote it can mend them.

Pydantic checks a table as a whole only when each of its keys is right. To tell
every mistake at once, a key found wrong is taken out and the rest is judged
again, until nothing new is found.
"""

import copy
import difflib
import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel, ValidationError

PASSES_MAX = 100
SHOWN_CHARACTERS_MAX = 60
NAMES = re.compile(r"[a-z_]+(?:\.[a-z_]+)*")
LIMITED = {
    "greater_than": "give more than {gt:g}",
    "greater_than_equal": "give at least {ge:g}",
    "less_than": "give less than {lt:g}",
    "less_than_equal": "give at most {le:g}",
    "string_too_short": "give at least {min_length} characters",
    "string_too_long": "give at most {max_length} characters",
    "literal_error": "give {expected}",
    "enum": "give {expected}",
}
WANTED = {
    "float_type": "give a number, for instance 1.5",
    "int_type": "give a whole number",
    "bool_type": "give true or false",
    "string_type": "give text in quotes",
    "path_type": "give a path in quotes",
    "finite_number": "give a number that is not infinite",
    "date_type": "give a date without quotes, for instance 2026-10-01",
    "list_type": "give a list in [brackets]",
    "tuple_type": "give a list in [brackets]",
    "dict_type": "give a table in [brackets]",
    "model_type": "give a table in [brackets]",
    "string_pattern_mismatch": "give 1 to 24 small letters, digits and hyphens, like bay-2",
    "too_short": "give at least one entry",
}


def model_faults(model: type[BaseModel], raw: dict[str, Any], where: str) -> Iterator[str]:
    """Every mistake that a model finds, each with key, what is wrong and what would be right.

    Args:
        model: of the table.
        raw: the table as read.
        where: its own key, put before each; empty for the file.
    """
    rest = copy.deepcopy(raw)
    removed: set[tuple[int | str, ...]] = set()
    for _ in range(PASSES_MAX):
        items = _errors(model, rest)
        for item in items:
            if not _follows(item, removed):
                yield from _told(item, where, model)
        if not [place for item in items if (place := _take_out(item, rest, removed))]:
            return


def printable(text: str) -> str:
    """The text with what could drive a terminal shown as question marks."""
    return "".join(char if char.isprintable() else "?" for char in text)


def unknown_names(where: str, entries: object, known: Mapping[str, object]) -> Iterator[str]:
    """Names in a table that are none of the known ones."""
    for name in entries if isinstance(entries, dict) else ():
        if name not in known:
            kind = where.rsplit(".", 1)[-1].removesuffix("s")
            yield f"{where}.{name}: no such {kind}; {meant(name, known)}"


def _errors(model: type[BaseModel], raw: dict[str, Any]) -> list[Any]:  # pydantic's own dicts
    try:
        model.model_validate(raw)
    except ValidationError as error:
        return list(error.errors(include_url=False))
    return []


def _follows(item: Any, removed: set[tuple[int | str, ...]]) -> bool:
    """An error that is only there because something wrong was taken out before."""
    loc = item["loc"]
    if item["type"] == "value_error":
        names = {part for token in NAMES.findall(item["msg"]) for part in token.split(".")}
        return any(gone[-1] in names for gone in removed)
    return any(gone[: len(loc)] == loc for gone in removed)


def _take_out(
    item: Any, rest: dict[str, Any], removed: set[tuple[int | str, ...]]
) -> tuple[int | str, ...] | None:
    """Take what an error is about out of the table; its place, or None if there is nothing."""
    loc = tuple(part for part in item["loc"] if part != "[key]")
    for place in _suspects(item, loc):
        table: Any = rest
        for part in place[:-1]:
            table = table.get(part) if isinstance(table, dict) else None
        if isinstance(table, dict) and place[-1] in table:
            del table[place[-1]]
            removed.add(place)
            return place
    return None


def _suspects(item: Any, loc: tuple[int | str, ...]) -> Iterator[tuple[int | str, ...]]:
    """What to take out for an error: the first key its words name, else the table itself."""
    if item["type"] == "value_error":
        for token in NAMES.findall(item["msg"]):
            yield (*loc, *token.split("."))
    if loc:
        yield loc


def _told(item: Any, where: str, model: type[BaseModel]) -> Iterator[str]:
    loc = tuple(part for part in item["loc"] if part != "[key]")
    key = ".".join(part for part in (where, *map(str, loc)) if part) or "file"
    kind, context = item["type"], item.get("ctx", {})
    if kind == "extra_forbidden":
        yield f"{key}: no such key; {_near(loc, model)}"
    elif kind == "missing":
        yield f"{key}: missing; add it, docs/configuration.md says what it is"
    elif kind == "value_error":
        for message in str(item["msg"]).removeprefix("Value error, ").split("; and "):
            yield f"{key}: {message}"
    elif kind == "string_pattern_mismatch" and loc != item["loc"]:
        yield f"{key}: this name cannot be used; {WANTED[kind]}"
    elif kind in LIMITED:
        yield f"{key}{shown(item['input'])}: {LIMITED[kind].format(**context)}"
    else:
        yield f"{key}{shown(item['input'])}: {WANTED.get(kind, item['msg'])}"


def shown(given: object) -> str:
    """What was written, as far as it helps to see it."""
    if not isinstance(given, str | bool | int | float):
        return ""
    text = json.dumps(given, ensure_ascii=False) if isinstance(given, str | bool) else repr(given)
    cut = text if len(text) <= SHOWN_CHARACTERS_MAX else text[:SHOWN_CHARACTERS_MAX] + "..."
    return f" = {cut}"


def meant(name: object, known: Mapping[str, object] | list[str]) -> str:
    """What may have been meant by a word that is none of the known ones."""
    if not isinstance(name, str):
        return f"give one of {', '.join(known)}"
    near = difflib.get_close_matches(name, list(known), 1)
    if near:
        return f"did you mean {near[0]}?"
    return f"known are {', '.join(known)}" if known else "remove it"


def _near(loc: tuple[int | str, ...], model: type[BaseModel]) -> str:
    """A key that may have been meant, found by walking the model."""
    fields: Any = model
    for part in loc[:-1]:
        field = getattr(fields, "model_fields", {}).get(part)
        fields = _value_model(field.annotation if field is not None else fields)
    found = getattr(fields, "model_fields", {})
    return meant(str(loc[-1]), [field.alias or name for name, field in found.items()])


def _value_model(annotation: object) -> object:
    """The model that a `dict[str, Model]` or `Model | None` holds."""
    arguments = getattr(annotation, "__args__", ())
    models = [item for item in arguments if hasattr(item, "model_fields")]
    return models[0] if models else annotation

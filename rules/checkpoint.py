"""The state as bytes and back, to the bit, for resuming after a stop.

Source:
    Own format: one JSON object with a version; floats in shortest round-trip
    form (IEEE 754 binary64).
"""

import json
from typing import Any

from pydantic import TypeAdapter, ValidationError

from rules.hazards import HAZARDS
from rules.state import RULES_VERSION, State

_STATE: TypeAdapter[State] = TypeAdapter(State)
_MEMORIES: dict[str, TypeAdapter[Any]] = {
    hazard.name: TypeAdapter(hazard.memory_type) for hazard in HAZARDS
}


class CheckpointError(Exception):
    """A checkpoint that cannot be used; fold the run from its start instead."""


def dump(state: State) -> bytes:
    """A state as JSON bytes.

    Source:
        Own format.
    """
    body = {
        "rules_version": RULES_VERSION,
        "state": _STATE.dump_python(state._replace(memories=()), mode="json"),
        "memories": {
            hazard.name: _MEMORIES[hazard.name].dump_python(memory, mode="json")
            for hazard, memory in zip(HAZARDS, state.memories, strict=True)
        },
    }
    return json.dumps(body, separators=(",", ":")).encode()


def load(body: bytes) -> State:
    """The state that `dump` made bytes of.

    Raises:
        CheckpointError: other version, other hazards, or damaged.

    Source:
        Own format.
    """
    try:
        found = json.loads(body)
        version, names = found["rules_version"], list(found["memories"])
        if version != RULES_VERSION or names != [hazard.name for hazard in HAZARDS]:
            raise CheckpointError(f"made by rules version {version} with {len(names)} hazards")
        memories = tuple(_MEMORIES[name].validate_python(found["memories"][name]) for name in names)
        return _STATE.validate_python(found["state"])._replace(memories=memories)
    except (ValueError, KeyError, TypeError, ValidationError) as error:
        raise CheckpointError(f"damaged: {error}") from error

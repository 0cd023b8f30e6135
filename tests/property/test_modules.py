"""Whatever stands in a configuration or a description: filled in, or told in words."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from drivers.modbus.modules import (
    InputDescription,
    ModuleDescription,
    fill_in,
    fill_in_link,
    load_module,
    our_modules,
)
from drivers.modbus.registers import PointSettings

HERE = Path("/")
LEAVES = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=9)
ANYTHING = st.recursive(
    LEAVES,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner, max_size=3)
    ),
    max_leaves=6,
)
KEYS = st.sampled_from(
    ["unit", "input", "output", "sensor", "cold_junction", "condition", "register", "units"]
)
NAMES = st.sampled_from([*our_modules(), "1", "terminals", "1_mv"])
ENTRIES = st.recursive(
    st.dictionaries(KEYS, LEAVES | NAMES | st.just(1), max_size=5),
    lambda inner: st.dictionaries(KEYS, LEAVES | NAMES | inner, max_size=5),
    max_leaves=4,
)
MODULES = NAMES | LEAVES.filter(lambda leaf: not str(leaf).endswith(".toml"))
UNITS = st.dictionaries(
    st.sampled_from(["1", "2", "x"]), ANYTHING | st.fixed_dictionaries({"module": MODULES})
)
LINKS = st.fixed_dictionaries({}, optional={"units": ANYTHING | UNITS})


def made_or_words(make: Callable[[], dict[str, Any]]) -> dict[str, Any] | str:
    try:
        return make()
    except ValueError as error:
        return str(error)


@given(link=LINKS, entry=ENTRIES)
def test_filling_in_gives_a_table_or_says_why_not(
    link: dict[str, Any], entry: dict[str, Any]
) -> None:
    made = made_or_words(lambda: fill_in(link, entry, HERE))
    assert made or not entry
    if isinstance(made, dict):
        assert not {"input", "output"} & made.keys()
        own = entry.keys() - {"input", "output", "sensor", "cold_junction", "condition"}
        assert all(made[key] is entry[key] for key in own)


@given(
    module=st.sampled_from(our_modules()),
    own=st.fixed_dictionaries(
        {}, optional={"scale": st.floats(), "table": LEAVES, "register": st.integers()}
    ),
    data=st.data(),
)
def test_every_input_of_every_module_fills_in_what_the_entry_leaves_open(
    module: str, own: dict[str, Any], data: st.DataObject
) -> None:
    described = load_module(module, HERE)
    if described.inputs:
        name = data.draw(st.sampled_from(sorted(described.inputs)))
        made = fill_in({"units": {"1": {"module": module}}}, own | {"unit": 1, "input": name}, HERE)
        assert all(made[key] is own[key] for key in own)
        left = described.inputs[name].keys()
        assert {key: made[key] for key in left if key not in own} == {
            key: left[key] for key in left if key not in own
        }


@given(link=LINKS)
def test_filling_in_a_link_gives_a_table_or_says_why_not(link: dict[str, Any]) -> None:
    made = made_or_words(lambda: fill_in_link(link, HERE))
    assert made.startswith("units.") if isinstance(made, str) else made.keys() == link.keys()


@given(
    described=st.fixed_dictionaries(
        {
            "table": st.sampled_from(["input", "holding", "coil", "discrete"]),
            "register": st.integers(-1, 65536),
        },
        optional={
            "type": st.sampled_from(["int16", "uint16", "int32", "float32"]),
            "order": st.sampled_from(["ABCD", "DCBA"]),
            "scale": st.floats(),
            "open_at": st.integers(-40000, 40000),
            "inverted": st.booleans(),
        },
    )
)
def test_an_input_a_description_may_have_is_a_point_a_configuration_may_have(
    described: dict[str, Any],
) -> None:
    """And the other way round: the two never differ on what is right."""
    try:
        point = PointSettings.model_validate({"unit": 1} | described)
    except ValidationError:
        point = None
    try:
        keys = InputDescription.model_validate(described).keys()
    except ValidationError:
        assert point is None
        return
    assert keys == described
    assert point == PointSettings.model_validate({"unit": 1} | keys)


@given(raw=st.dictionaries(st.sampled_from(["title", "about", "inputs", "outputs", "x"]), ANYTHING))
def test_a_description_is_refused_in_words_or_whole(raw: dict[str, Any]) -> None:
    try:
        module = ModuleDescription.model_validate(raw)
    except ValidationError:
        return
    assert module.inputs or module.outputs


def test_a_description_is_read_once() -> None:
    assert load_module("digital_input_8", HERE) is load_module("digital_input_8", HERE)

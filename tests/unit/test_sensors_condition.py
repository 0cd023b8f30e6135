"""The four states of NAMUR NE 107, read from a status word or named by a letter."""

import pytest
from pydantic import ValidationError

from drivers.base import Sample
from drivers.sensors import ConditionSettings, conditioned
from drivers.sensors.condition import with_status

LISTS = {
    "failure": [0, 1],
    "check_function": [2],
    "out_of_specification": [3, 7],
    "maintenance_required": [4, 15],
}
BITS = ConditionSettings.model_validate(LISTS | {"read_as": "bits"})
VALUES = ConditionSettings.model_validate(LISTS | {"read_as": "value", "good": [128]})
GOOD = Sample(140.0, "good", "", 50, (1400,))

# NAMUR NE 107: what becomes of a good value.
BECOMES = {
    "": (140.0, "good", ""),
    "failure": (None, "bad", "failure"),
    "check_function": (None, "bad", "check_function"),
    "out_of_specification": (140.0, "uncertain", "out_of_specification"),
    "maintenance_required": (140.0, "good", "maintenance_required"),
}
LETTERS = {"F": "failure", "C": "check_function", "S": "out_of_specification"}
LETTERS |= {"M": "maintenance_required", "": ""}


def status(value: float | None, quality: str = "good", reason: str = "") -> Sample:
    return Sample(value, quality, reason, 50)


def shown(sample: Sample) -> tuple[float | None, str, str]:
    assert (sample.at_ns, sample.raw) == (50, (1400,))
    return sample.value, sample.quality, sample.reason


@pytest.mark.parametrize(("letter", "state"), LETTERS.items())
def test_a_state_by_letter_and_by_name(letter, state):
    assert shown(conditioned(GOOD, letter)) == BECOMES[state]
    assert shown(conditioned(GOOD, state)) == BECOMES[state]


@pytest.mark.parametrize("word", ["f", "good", "X", "FC", " "])
def test_a_word_that_is_no_state_is_a_failure(word):
    assert shown(conditioned(GOOD, word)) == BECOMES["failure"]


@pytest.mark.parametrize("state", [*LETTERS, "X"])
def test_a_bad_sample_keeps_its_own_reason(state):
    bad = Sample(None, "bad", "open_circuit", 50)
    assert conditioned(bad, state) is bad
    assert with_status(bad, BITS, status(1.0)) is bad


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        ("S", "M", "out_of_specification"),
        ("M", "S", "out_of_specification"),
        ("M", "M", "maintenance_required"),
        ("S", "F", "failure"),
        ("M", "C", "check_function"),
    ],
)
def test_the_worse_of_two_states_stays(first, second, expected):
    assert shown(conditioned(conditioned(GOOD, first), second)) == BECOMES[expected]


@pytest.mark.parametrize(
    ("word", "state"),
    [
        *((0, ""), (1 << 5, ""), (1 << 8 | 1 << 6, "")),  # bits in no list
        *((1 << 0, "failure"), (1 << 1, "failure"), (1 << 2, "check_function")),
        *((1 << 3, "out_of_specification"), (1 << 7, "out_of_specification")),
        *((1 << 4, "maintenance_required"), (1 << 15, "maintenance_required")),
        *((0b11111, "failure"), (0b11100, "check_function"), (0b11000, "out_of_specification")),
        (-(1 << 15), "maintenance_required"),  # a register taken as int16: bit 15 alone
        *((2**32, "failure"), (-(2**32), "failure")),  # no status word at all
    ],
)
def test_bits(word, state):
    assert shown(with_status(GOOD, BITS, status(float(word)))) == BECOMES[state]


@pytest.mark.parametrize(
    ("word", "state"),
    [
        *((128, ""), (0, "failure"), (1, "failure"), (2, "check_function")),
        *((3, "out_of_specification"), (7, "out_of_specification"), (15, "maintenance_required")),
        *((5, "failure"), (127, "failure"), (129, "failure"), (-1, "failure")),  # in no list
    ],
)
def test_values(word, state):
    assert shown(with_status(GOOD, VALUES, status(float(word)))) == BECOMES[state]


@pytest.mark.parametrize("settings", [BITS, VALUES])
@pytest.mark.parametrize("value", [128.5, float("nan"), float("inf"), None])
def test_a_word_that_is_no_whole_number(settings, value):
    assert shown(with_status(GOOD, settings, status(value))) == BECOMES["failure"]


@pytest.mark.parametrize(
    ("reason", "expected"),
    [
        *((word, word) for word in ("never_read", "no_reply", "link_down", "bad_reply", "refused")),
        *((word, "failure") for word in ("below_range", "above_range", "not_a_number", "missing")),
    ],
)
def test_a_word_that_did_not_come(reason, expected):
    found = with_status(GOOD, BITS, status(None, "bad", reason))
    assert shown(found) == (None, "bad", expected)


def test_a_doubtful_word_and_none_at_all():
    doubtful = status(128.0, "uncertain", "out_of_specification")
    assert shown(with_status(GOOD, VALUES, doubtful)) == BECOMES["failure"]
    assert shown(with_status(GOOD, VALUES, None)) == (None, "bad", "missing")
    tired = status(128.0, "good", "maintenance_required")
    assert shown(with_status(GOOD, VALUES, tired)) == BECOMES[""]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"failure": [0, 3]}, "failure and out_of_specification: 3 is listed twice; keep"),
        ({"failure": [0, 0]}, "failure: 0 is listed twice; keep"),
        ({"read_as": "value"}, "good is missing: .*; list the values"),
        ({"good": [9]}, "good is for read_as = 'value' only, .*; remove good"),
        ({"failure": [32]}, "has bits 0 to 31 and 32 is listed; count"),
        ({"failure": [-1]}, "greater than or equal to 0"),
        ({"failure": ["1"]}, "valid integer"),
        ({"failure": [True]}, "valid integer"),
        ({"failure": 1}, "valid tuple"),
        ({"read_as": "words"}, "'bits' or 'value'"),
    ],
)
def test_refused_in_words(changed, words):
    with pytest.raises(ValidationError, match=words):
        ConditionSettings.model_validate(LISTS | {"read_as": "bits"} | changed)


def test_lists_that_say_nothing_are_refused():
    with pytest.raises(ValidationError, match=r"are all empty, .*; list the bits"):
        ConditionSettings(read_as="bits")


def test_one_contact_is_a_status_too():
    contact = ConditionSettings(read_as="value", good=(0,), failure=(1,))
    assert shown(with_status(GOOD, contact, status(0.0))) == BECOMES[""]
    assert shown(with_status(GOOD, contact, status(1.0))) == BECOMES["failure"]

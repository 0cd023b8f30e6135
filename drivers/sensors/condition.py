"""What an instrument says of itself: its four states, and what becomes of its value.

Source:
    NAMUR NE 107: failure, check function, out of specification, maintenance
    required, with the letters F, C, S and M; the first of them wins. What each
    does to a value is this project's design.
"""

from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import BaseModel, Field, model_validator

from drivers.base import Sample
from drivers.settings import STRICT

# The states by letter, the worst first; each is a reason of a sample too.
STATES: Mapping[str, str] = {
    "F": "failure",
    "C": "check_function",
    "S": "out_of_specification",
    "M": "maintenance_required",
}
ALL_WELL = ""
# No answer came: told as such, so that it is the line's fault and not the instrument's.
OF_THE_LINK = frozenset({"never_read", "no_reply", "link_down", "bad_reply", "refused"})
BIT_MAX = 31
WORD_SPAN = 2 ** (BIT_MAX + 1)
NUMBERS_MAX = 64

# Lists in a configuration; strict models would take a tuple only.
Numbers = Annotated[
    tuple[Annotated[int, Field(ge=0, lt=WORD_SPAN)], ...],
    Field(strict=False, max_length=NUMBERS_MAX),
]


class ConditionSettings(BaseModel):
    """How an instrument's status word says which of the four states it is in.

    Attributes:
        read_as: `bits`, each bit set tells something and bits not listed tell
            nothing of interest; or `value`, the whole number is one state.
        failure: bits or values for: the value is no measurement.
        check_function: bits or values for: for the time being no measurement,
            somebody works on it.
        out_of_specification: bits or values for: measured outside what the
            instrument is made for.
        maintenance_required: bits or values for: still right, not for much longer.
        good: with `read_as = "value"`, the values for: all is well. Any value in
            no list counts as failure.
    """

    model_config = STRICT

    read_as: Literal["bits", "value"]
    failure: Numbers = ()
    check_function: Numbers = ()
    out_of_specification: Numbers = ()
    maintenance_required: Numbers = ()
    good: Numbers = ()

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        lists = {state: getattr(self, state) for state in (*STATES.values(), "good")}
        listed = [number for numbers in lists.values() for number in numbers]
        doubled = sorted({number for number in listed if listed.count(number) > 1})
        if doubled:
            names = [name for name, numbers in lists.items() if doubled[0] in numbers]
            raise ValueError(
                f"{' and '.join(names)}: {doubled[0]} is listed twice; keep it where the "
                "instrument's manual has it"
            )
        if self.read_as == "value" and not self.good:
            raise ValueError(
                "good is missing: with read_as = 'value' any value in no list counts as failure; "
                "list the values by which the instrument says that all is well"
            )
        if self.read_as == "bits":
            self._check_bits(listed)
        return self

    def _check_bits(self, listed: list[int]) -> None:
        if self.good:
            raise ValueError(
                "good is for read_as = 'value' only, with bits all is well when none of the "
                "listed ones is set; remove good"
            )
        if not listed:
            raise ValueError(
                "failure, check_function, out_of_specification and maintenance_required are all "
                "empty, so the status would say nothing; list the bits that the manual gives"
            )
        if max(listed) > BIT_MAX:
            raise ValueError(
                f"read_as = 'bits' has bits 0 to {BIT_MAX} and {max(listed)} is listed; count from "
                "0 at the lowest bit, or correct read_as to 'value'"
            )


def conditioned(sample: Sample, state: str) -> Sample:
    """A sample with its instrument's state.

    Args:
        sample: as measured.
        state: name or letter of an NE 107 state; empty when all is well. Any
            other word counts as failure.

    Returns:
        The sample, made worse where the state is worse than it; a bad one keeps
        its own reason.
    """
    if state == ALL_WELL or sample.quality == "bad":
        return sample
    match STATES.get(state, state):
        case "maintenance_required":
            if sample.quality != "good":
                return sample
            quality, reason = "good", "maintenance_required"
        case "out_of_specification":
            quality, reason = "uncertain", "out_of_specification"
        case "check_function":
            return without_value(sample, "check_function", sample.at_ns)
        case _:
            return without_value(sample, "failure", sample.at_ns)
    return Sample(sample.value, quality, reason, sample.at_ns, sample.raw)


def with_status(sample: Sample, settings: ConditionSettings, status: Sample | None) -> Sample:
    """A sample with what the instrument's status word says.

    Args:
        sample: as measured.
        settings: what the word means.
        status: the word.

    Returns:
        As of `conditioned`. Where the word did not come, nobody knows whether the
        value can be believed: bad, with the status' own reason, so that the line
        is looked at. Where a word came that means nothing: bad, `failure`.
    """
    if sample.quality == "bad":
        return sample
    if status is None:
        return without_value(sample, "missing", sample.at_ns)
    if status.quality == "bad" and status.reason in OF_THE_LINK:
        return without_value(sample, status.reason, sample.at_ns)
    if status.quality != "good" or status.value is None or status.value % 1 != 0:
        return conditioned(sample, "failure")
    return conditioned(sample, state_of(settings, int(status.value)))


def state_of(settings: ConditionSettings, word: int) -> str:
    """The worst state that a status word tells; empty when all is well."""
    bits = settings.read_as == "bits"
    if bits and not -WORD_SPAN // 2 <= word < WORD_SPAN:
        return "failure"
    for state in STATES.values():
        for number in getattr(settings, state):
            if (word >> number & 1) if bits else word == number:
                return state
    return ALL_WELL if bits or word in settings.good else "failure"


def without_value(sample: Sample, reason: str, at_ns: int) -> Sample:
    """A bad sample, with the raw registers of the one it was."""
    return Sample(None, "bad", reason, at_ns, sample.raw)

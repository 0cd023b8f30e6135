"""What a person observed, as TOML gives it, and the line through it by numpy."""

import tomllib
from datetime import date, datetime

import numpy as np
import pytest
from pydantic import ValidationError

from drivers.sensors import CorrectionSettings
from drivers.sensors.correction import corrected

# Invented.
WRITTEN = """
on = 2026-10-01
by = "R. T."
zero_reads = 0.4
span_at = 100.0
span_reads = 100.9
"""
TABLE = tomllib.loads(WRITTEN)


def settings(**changed: object) -> CorrectionSettings:
    return CorrectionSettings.model_validate(TABLE | changed)


def without_span(zero_reads: float) -> CorrectionSettings:
    return CorrectionSettings(on=date(2026, 10, 1), zero_reads=zero_reads)


def test_as_written():
    found = settings()
    assert found.on == date(2026, 10, 1)
    assert found.by == "R. T."
    assert found.model_dump(mode="json")["on"] == "2026-10-01"


@pytest.mark.parametrize("reads", [-20.0, 0.4, 37.3, 100.9, 141.2])
def test_the_line_by_numpy(reads):
    slope, start = np.polyfit((0.4, 100.9), (0.0, 100.0), 1)
    assert corrected(settings(), reads) == pytest.approx(slope * reads + start, abs=1e-9)


def test_both_points_read_true():
    assert corrected(settings(), 0.4) == 0.0
    assert corrected(settings(), 100.9) == pytest.approx(100.0, abs=1e-12)


@pytest.mark.parametrize("zero_reads", [-1.5, 0.0, 0.4])
def test_without_a_second_point_it_is_an_offset(zero_reads):
    found = without_span(zero_reads)
    assert corrected(found, 140.0) == 140.0 - zero_reads
    assert corrected(found, zero_reads) == 0.0


@pytest.mark.parametrize(("zero_reads", "taken"), [(5.0, True), (5.01, False), (-5.01, False)])
def test_a_zero_error_that_is_a_fault(zero_reads, taken):
    if taken:
        without_span(zero_reads)
        return
    with pytest.raises(
        ValidationError, match=r"zero_reads = -?5\.01 is more than 5 from zero: .*;"
    ):
        without_span(zero_reads)


@pytest.mark.parametrize(
    ("span_reads", "taken"), [(105.3, True), (105.5, False), (95.5, True), (95.3, False)]
)
def test_a_span_error_that_is_a_fault(span_reads, taken):
    # Counted from where zero reads 0.4, so 5 % of 100 is 95.4 to 105.4.
    if taken:
        settings(span_reads=span_reads)
        return
    with pytest.raises(
        ValidationError, match=r"% off after the zero error, more than 5%: .*; find"
    ):
        settings(span_reads=span_reads)


@pytest.mark.parametrize(
    ("span_at", "taken"), [(20.0, True), (19.99, False), (0.0, False), (-100.0, False)]
)
def test_a_second_point_too_near_the_first(span_at, taken):
    if taken:
        settings(span_at=span_at, span_reads=span_at + 0.4)
        return
    with pytest.raises(ValidationError, match="too near zero for a second point; compare"):
        settings(span_at=span_at, span_reads=span_at + 0.4)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"span_reads": None}, "span_at is given without span_reads; give"),
        ({"span_at": None}, "span_reads is given without span_at; give"),
        ({"on": "2026-10-01"}, "valid date"),
        ({"on": datetime(2026, 10, 1)}, "valid date"),  # noqa: DTZ001 - as TOML reads a local one
        ({"by": "x" * 41}, "at most 40"),
        ({"zero_reads": float("nan")}, "finite"),
        ({"zero_reads": True}, "valid number"),
        ({"factor": 1.0}, "not permitted"),
    ],
)
def test_refused(changed, words):
    with pytest.raises(ValidationError, match=words):
        settings(**changed)


@pytest.mark.parametrize("lacking", ["on", "zero_reads"])
def test_day_and_zero_are_always_needed(lacking):
    table = {key: value for key, value in TABLE.items() if key != lacking}
    with pytest.raises(ValidationError, match="required"):
        CorrectionSettings.model_validate(table)

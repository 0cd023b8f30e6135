"""What a configuration may say of a board, and what is wrong in words."""

from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from drivers.kinds import kinds
from drivers.serial_lines import KINDS, LinesSettings, PointSettings
from tests.virtual_clock import VirtualClock

KIND = KINDS[0]
CSV = LinesSettings(device="/dev/ttyACM0", form="csv", columns=["pad_inner_c", "here_button"])


def test_the_defaults_are_a_usb_board_s() -> None:
    settings = LinesSettings(device="/dev/ttyACM0", form="key_value")
    assert (settings.baud_rate, settings.parity, settings.stop_bits) == (115200, "none", 1)
    assert CSV.columns == ("pad_inner_c", "here_button")


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"form": "csv"}, "columns is missing"),
        ({"form": "csv", "columns": []}, "columns is missing"),
        ({"form": "csv", "columns": ["a", "b", "a"]}, "a named twice"),
        ({"form": "csv", "columns": ["a b"]}, "'a b' cannot be in a line"),
        ({"form": "csv", "columns": ["seq"]}, "'seq' is the line's own"),
        ({"form": "csv", "columns": [1]}, "valid string"),
        ({"form": "key_value", "columns": ["a"]}, "remove columns, or correct form"),
        ({"form": "json"}, "'key_value' or 'csv'"),
        ({}, "Field required"),
        ({"form": "key_value", "timeout_s": 0.9}, "below four times period_s = 0.25"),
        ({"form": "key_value", "period_s": 0.01}, "greater than or equal to 0.05"),
        ({"form": "key_value", "lines_per_s_max": 0}, "greater than or equal to 1"),
        ({"form": "key_value", "usb_serial_number": "A1"}, "give one of the two"),
        ({"form": "key_value", "host": "x"}, "Extra inputs"),
    ],
)
def test_a_wrong_link_is_told_in_words(given: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        LinesSettings.model_validate({"device": "/dev/ttyACM0", **given})


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "Field required"),
        ({"key": ""}, "cannot be in a line"),
        ({"key": "pad-inner"}, "cannot be in a line"),
        ({"key": "1pad"}, "cannot be in a line"),
        ({"key": "k" * 41}, "cannot be in a line"),
        ({"key": "crc"}, "is the line's own"),
        ({"key": "a", "scale": 0.0}, "scale = 0"),
        ({"key": "a", "scale": float("nan")}, "finite"),
        ({"key": "a", "range_low": 5.0, "range_high": 5.0}, "lower range_low or raise"),
        ({"key": "a", "token": "bay-1"}, "Extra inputs"),
    ],
)
def test_a_wrong_point_is_told_in_words(given: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        PointSettings.model_validate(given)


def test_the_kind_is_found_by_its_word() -> None:
    assert kinds()["serial_lines"] is KIND
    assert KIND.output is None
    assert KIND.address(CSV) == "/dev/ttyACM0"
    point = PointSettings(key="pad_inner_c")
    assert KIND.place(point) == "key pad_inner_c"
    assert set(KIND.claims(point)) == {"pad_inner_c"}
    entry = {"key": "pad_inner_c"}
    assert KIND.fill_in({}, entry, Path()) == entry
    assert KIND.fill_in_link({"form": "csv"}, Path()) == {"form": "csv"}


def test_what_is_wrong_with_a_link_as_a_whole() -> None:
    points = {name: PointSettings(key=name) for name in ("pad_inner_c", "pad_outer_c")}
    (told,) = KIND.faults(CSV, points, {})
    assert told.startswith("pad_outer_c: key = 'pad_outer_c' is none of the columns (pad_inner_c, ")
    named = LinesSettings(device="x", form="key_value")
    assert list(KIND.faults(named, points, {})) == []
    (told,) = KIND.faults(named, {}, {"bay-1/horn": object()})
    assert told.startswith("bay-1/horn: a board that sends lines only reads")


def test_outputs_are_refused_on_opening_too() -> None:
    with pytest.raises(ValueError, match="horn named as outputs, and a board"):
        KIND.open("board", CSV, {}, {"horn": object()}, VirtualClock())

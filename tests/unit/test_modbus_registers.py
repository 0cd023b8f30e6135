"""Settings of a Modbus link: what is refused, and that the text says what would be right."""

import pytest
from pydantic import ValidationError

from drivers.modbus import OutputSettings, PointSettings, TcpSettings

HOST = "127.0.0.1"
WORD = {"unit": 1, "table": "input", "register": 0, "type": "int16"}
LONG = WORD | {"type": "float32"}
BIT = {"unit": 1, "table": "discrete", "register": 0}


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ({"timeout_s": 2.0}, "lower timeout_s or raise period_s"),
        ({"hold_s": 0.5}, "raise hold_s or lower period_s"),
        ({"port": 0}, "greater than or equal to 1"),
        ({"port": 65536}, "less than or equal to 65535"),
        ({"period_s": float("nan")}, "finite number"),
        ({"period_ms": 5}, "Extra inputs"),
        ({"host": ""}, "at least 1 character"),
    ],
)
def test_link_settings_refused(settings: dict[str, object], says: str) -> None:
    with pytest.raises(ValidationError, match=says):
        TcpSettings.model_validate({"host": HOST} | settings)


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        (WORD | {"unit": 250}, "reserved by the standard; give 0 to 247"),
        (WORD | {"unit": 256}, "less than or equal to 255"),
        (WORD | {"register": 65536}, "less than or equal to 65535"),
        (WORD | {"register": 1.0}, "valid integer"),
        (WORD | {"register": True}, "valid integer"),
        (WORD | {"table": "inputs"}, "'input', 'holding', 'coil' or 'discrete'"),
        ({**WORD, "type": None}, "type is missing.*int16, uint16, int32, float32"),
        (WORD | {"inverted": True}, "inverted is for bits only"),
        (WORD | {"order": "CDAB"}, "needs four bytes and int16 has two"),
        (LONG | {"register": 65535}, "give at most 65534"),
        (WORD | {"scale": 0.0}, "scale = 0"),
        (WORD | {"scale": float("inf")}, "finite number"),
        (WORD | {"range_low": 5.0, "range_high": 5.0}, "range_low = 5 is not below range_high = 5"),
        (WORD | {"open_at": 5.0, "short_at": 5.0}, "could not be told apart"),
        (WORD | {"open_at": 40000}, r"open_at = 40000 is no int16 \(-32768 to 32767\)"),
        (WORD | {"short_at": 0.5}, "short_at = 0.5 is no int16"),
        (LONG | {"open_at": 1e39}, "is no float32"),
        (BIT | {"scale": 2.0}, "scale: a bit of table 'discrete' has none"),
        (BIT | {"type": "int16", "range_low": 0.0}, "type, range_low: a bit"),
    ],
)
def test_point_settings_refused(settings: dict[str, object], says: str) -> None:
    with pytest.raises(ValidationError, match=says):
        PointSettings.model_validate(settings)


@pytest.mark.parametrize(
    "settings",
    [
        WORD | {"unit": 247, "register": 65535, "open_at": 32767, "short_at": -32768},
        WORD | {"unit": 255},  # a server with no units behind it
        LONG | {"register": 65534, "order": "DCBA"},
        BIT | {"inverted": True},
    ],
)
def test_point_settings_at_their_edges_are_taken(settings: dict[str, object]) -> None:
    PointSettings.model_validate(settings)


def test_settings_do_not_change() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        TcpSettings(host=HOST).port = 5


def test_an_output_needs_a_token() -> None:
    with pytest.raises(ValidationError, match="token"):
        OutputSettings.model_validate({"unit": 3, "register": 0})

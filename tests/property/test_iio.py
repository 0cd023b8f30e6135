"""Whatever a file of the kernel holds: the exact value, or none."""

import math
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from drivers.linux_iio import PointSettings
from drivers.linux_iio.codec import NoNumber, Texts, decode, number

WHOLE = st.integers(-(2**31), 2**31 - 1)
DECIMAL = st.decimals(-1_000_000, 1_000_000, places=9, allow_nan=False)
POINT = PointSettings(device="converter", attribute="in_temp0")


@given(raw=WHOLE, scale=DECIMAL, offset=WHOLE)
def test_the_formula_in_exact_fractions(raw: int, scale: object, offset: int) -> None:
    text = f"{scale:f}"
    found = decode(
        POINT, Texts(f"{raw}\n".encode(), text.encode(), str(offset).encode(), {}, False)
    )
    # Linux kernel documentation, ABI/testing/sysfs-bus-iio, from memory; m°C to °C.
    exact = (raw + offset) * Fraction(text) / 1000
    assert found.value is not None
    assert math.isclose(found.value, exact, rel_tol=1e-12, abs_tol=1e-12)


@given(text=st.binary(max_size=80))
def test_any_bytes_are_a_number_or_none(text: bytes) -> None:
    found = decode(POINT, Texts(text, None, None, {}, processed=True))
    if found.value is None:
        assert found.reason == "bad_reply"
    else:
        # What Python itself reads there, and nothing that only looks like it.
        assert found.value == float(text) * 0.001


@given(text=st.text("0123456789+-. \n", max_size=12))
def test_texts_that_look_like_numbers(text: str) -> None:
    try:
        found = number(text.encode())
    except NoNumber:
        return
    assert found == float(text)

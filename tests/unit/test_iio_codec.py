"""Texts of the kernel's files into values, and every error into its reason."""

import errno

import pytest
from pydantic import ValidationError

from drivers.linux_iio import PointSettings, SysfsSettings
from drivers.linux_iio.codec import Decoded, NoNumber, Texts, decode, number, reason_of


def point(attribute: str = "in_temp0", **more: object) -> PointSettings:
    return PointSettings.model_validate({"device": "converter", "attribute": attribute, **more})


def texts(
    counts: bytes,
    scale: bytes | None = None,
    offset: bytes | None = None,
    *,
    processed: bool = False,
    **faults: bytes,
) -> Texts:
    return Texts(counts, scale, offset, faults, processed)


# value = (raw + offset) x scale, in m°C, mV, mA, Ω, kPa; hwmon's _input in m°C, mV, mA.
# Linux kernel documentation, ABI/testing/sysfs-bus-iio and hwmon/sysfs-interface, from memory.
@pytest.mark.parametrize(
    ("attribute", "given", "value"),
    [
        ("in_temp0", texts(b"2240\n", b"62.5\n"), 140.0),
        ("in_temp0", texts(b"-160\n", b"62.500000\n"), -10.0),
        ("in_temp_ambient", texts(b"2480\n", b"10\n", b"-480\n"), 20.0),
        ("in_temp", texts(b"138125\n", processed=True), 138.125),
        ("in_voltage0", texts(b"16384\n", b"0.125000000\n"), 2048.0),
        ("in_voltage0-voltage1", texts(b"-8\n", b"0.5\n"), -4.0),
        ("in_current2", texts(b"1200\n", b"0.01\n"), 12.0),
        ("in_resistance1", texts(b"15358\n", b"0.01\n"), 153.58),
        ("in_pressure", texts(b"101325\n", b"0.001\n"), 101.325),
        ("temp1", texts(b"21500\n", processed=True), 21.5),
        ("in0", texts(b"3300\n", processed=True), 3300.0),
        ("curr1", texts(b"+250", processed=True), 250.0),
    ],
)
def test_values_come_in_our_units(attribute: str, given: Texts, value: float) -> None:
    found = decode(point(attribute), given)
    assert found.reason == ""
    assert found.value == pytest.approx(value, rel=1e-12)


def test_processed_values_are_not_scaled_again() -> None:
    given = texts(b"138125\n", b"62.5\n", b"7\n", processed=True)
    assert decode(point(), given).value == pytest.approx(138.125)


def test_the_points_own_scale_and_offset_come_last() -> None:
    given = texts(b"1000\n", b"2\n", b"10\n")  # 2020 mV
    found = decode(point("in_voltage0", scale=0.1, offset=-50.0), given)
    assert found.value == pytest.approx(152.0)


def test_the_raw_text_is_kept_for_maintenance() -> None:
    assert decode(point(), texts(b"12\n", b"1\n")).raw == tuple(b"12\n")


@pytest.mark.parametrize(
    ("given", "reason"),
    [
        (texts(b"2240\n"), "missing"),  # counts of unknown size
        (texts(b"", b"62.5\n"), "bad_reply"),
        (texts(b"2240\n", b"much\n"), "bad_reply"),
        (texts(b"2240\n", b"62.5\n", b"\n"), "bad_reply"),
        (texts(b"2240\n", b"62.5\n", open_circuit=b"1\n"), "open_circuit"),
        (texts(b"2240\n", b"62.5\n", open_circuit=b"0\n", failure=b"1\n"), "failure"),
        (texts(b"2240\n", b"62.5\n", open_circuit=b"2\n"), "bad_reply"),
        (texts(b"2240\n", b"62.5\n", open_circuit=b"\n"), "bad_reply"),
    ],
)
def test_what_cannot_be_believed_has_no_value(given: Texts, reason: str) -> None:
    found = decode(point(), given)
    assert (found.value, found.reason) == (None, reason)


@pytest.mark.parametrize(
    ("counts", "reason"),
    [
        (b"-30001", "below_range"),
        (b"-30000", ""),
        (b"300000", ""),
        (b"300001", "above_range"),
    ],
)
def test_range(counts: bytes, reason: str) -> None:
    found = decode(point(range_low=-30.0, range_high=300.0), texts(counts, processed=True))
    assert found.reason == reason
    assert (found.value is None) == bool(reason)


def test_too_great_for_a_number() -> None:
    found = decode(point(scale=1e300), texts(b"9" * 60, processed=True))
    assert found == Decoded(None, "not_a_number", tuple(b"9" * 60))


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"\n",
        b"nan\n",
        b"inf\n",
        b"1e3\n",
        b"0x10\n",
        b"1_000\n",
        b"12 13\n",
        b"12\n13\n",
        b"12\x00",
        b"1.\n",
        b".5\n",
        b"--1",
        "١٢".encode(),
        b"\xff\xfe",
        b"1" * 65,
        b"1" + b" " * 64,
    ],
)
def test_no_number(text: bytes) -> None:
    with pytest.raises(NoNumber):
        number(text)


# From memory: what I2C and SPI drivers of the kernel give (errno(3) for the names).
@pytest.mark.parametrize(
    ("code", "reason"),
    [
        (errno.ENOENT, "link_down"),
        (errno.ENODEV, "link_down"),
        (errno.ENXIO, "link_down"),
        (errno.EIO, "bad_reply"),
        (errno.EREMOTEIO, "bad_reply"),
        (errno.EINVAL, "bad_reply"),
        (errno.ETIMEDOUT, "no_reply"),
        (errno.EAGAIN, "no_reply"),
        (errno.EBUSY, "no_reply"),
        (errno.ENODATA, "no_reply"),
        (errno.EACCES, "refused"),
        (errno.EPERM, "refused"),
    ],
)
def test_errors_have_reasons(code: int, reason: str) -> None:
    assert reason_of(OSError(code, "")) == reason


def test_where_scale_may_stand() -> None:
    assert point("in_temp0_ambient").files_of("_scale") == (
        "in_temp0_ambient_scale",
        "in_temp_ambient_scale",
        "in_temp_scale",
        "in_scale",
        "scale",
    )
    assert point("in_voltage0-voltage1").files_of("_offset") == (
        "in_voltage0-voltage1_offset",
        "in_voltage-voltage_offset",
        "in_voltage_offset",
        "in_offset",
        "offset",
    )


@pytest.mark.parametrize(
    "attribute",
    ["in_temp0_raw", "temp1_input", "in_magn_x", "temp", "../name", "in_temp0/..", "power1", "in_"],
)
def test_attributes_that_are_refused(attribute: str) -> None:
    with pytest.raises(ValidationError, match=r"leave|give in_temp"):
        point(attribute)


@pytest.mark.parametrize("attribute", ["temp1", "in0", "curr12"])
def test_hwmon_and_iio_are_told_apart(attribute: str) -> None:
    assert point(attribute).found_by.subsystem == "hwmon"
    assert point(f"in_temp{attribute[-1]}").found_by.subsystem == "iio"


def test_settings_say_what_is_wrong() -> None:
    with pytest.raises(ValidationError, match="lower timeout_s or raise period_s"):
        SysfsSettings(period_s=0.2, timeout_s=0.3)
    with pytest.raises(ValidationError, match="begin with /"):
        SysfsSettings(sysfs="sys")
    with pytest.raises(ValidationError, match="is no path"):
        SysfsSettings(sysfs="/sys\0")  # no thread that reads would come back
    with pytest.raises(ValidationError, match="scale = 0"):
        point(scale=0.0)
    with pytest.raises(ValidationError, match="not below range_high"):
        point(range_low=2.0, range_high=2.0)

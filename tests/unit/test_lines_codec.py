"""Lines from bytes, cut anywhere; what a line says, and what is refused."""

import re

import pytest
from pymodbus.framer import FramerRTU

from drivers.serial_lines.codec import (
    Decoded,
    RefusedLine,
    Splitter,
    checksum,
    decode,
    read_line,
)
from drivers.serial_lines.fake import bitwise_checksum, board_line
from drivers.serial_lines.registers import LINE_BYTES_MAX, LinesSettings, PointSettings

KEYS = LinesSettings(device="x", form="key_value")
COLUMNS = LinesSettings(device="x", form="csv", columns=["pad_inner_c", "bag_inner_kpa"])
VALUES = {"pad_inner_c": "139.8", "bag_inner_kpa": "206.9"}  # invented
POINT = PointSettings(key="pad_inner_c")


def keyed(body: str) -> bytes:
    return f"{body} crc={bitwise_checksum(body.encode()):04X}".encode()


def columned(body: str) -> bytes:
    return f"{body},{bitwise_checksum(body.encode()):04X}".encode()


@pytest.mark.parametrize(
    ("data", "wanted"),
    [
        (b"123456789", 0x4B37),  # the check value of CRC catalogues, from memory
        # Modbus over Serial Line V1.02 sends the low byte first: 74 17, 76 87, 71 CB.
        (bytes.fromhex("0103006B0003"), 0x1774),
        (bytes.fromhex("1103006B0003"), 0x8776),
        (bytes.fromhex("010400000002"), 0xCB71),
        (b"", 0xFFFF),
    ],
)
def test_checksum_is_the_standard_s(data: bytes, wanted: int) -> None:
    assert checksum(data) == wanted
    assert bitwise_checksum(data) == wanted
    low_first = FramerRTU.compute_CRC(data).to_bytes(2, "big")  # pymodbus, as it travels
    assert int.from_bytes(low_first, "little") == wanted


def test_both_forms_say_the_same() -> None:
    for form, settings in (("key_value", KEYS), ("csv", COLUMNS)):
        line = read_line(board_line(form, 17, VALUES).rstrip(b"\n"), settings)
        assert (line.number, line.fields) == (17, VALUES)


def test_lower_case_digits_and_leading_zeros_are_the_same_number() -> None:
    line = keyed("seq=00017 pad_inner_c=139.8")
    assert line[-4:] != line[-4:].lower()
    assert read_line(line[:-4] + line[-4:].lower(), KEYS).number == 17


def test_an_unknown_key_is_no_fault() -> None:
    assert read_line(keyed("seq=65535 uptime=12 x=y:z"), KEYS).fields == {
        "uptime": "12",
        "x": "y:z",
    }


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"", "no checksum"),
        (b"seq=17 pad_inner_c=139.8", "no checksum"),
        (keyed("seq=17 pad_inner_c=139.8")[:-1], "no checksum"),
        (keyed("seq=17 pad_inner_c=139.8") + b" ", "no checksum"),
        (keyed("seq=17 pad_inner_c=139.8").replace(b" crc=", b" sum="), "no checksum"),
        (keyed("seq=17 pad_inner_c=139.8").replace(b" crc=", b" "), "no checksum"),
        (keyed("seq=17 pad_inner_c=139.8").replace(b"139", b"138"), "its checksum is"),
        (keyed("pad_inner_c=139.8 seq=17"), "does not begin with seq="),
        (keyed(" seq=17"), "does not begin with seq="),
        (keyed("seq=65536"), "no sequence number"),
        (keyed("seq=-1"), "no sequence number"),
        (keyed("seq="), "no sequence number"),
        (keyed("seq"), "no sequence number"),
        (keyed("seq=1_0"), "no sequence number"),
        (keyed("seq=17  pad_inner_c=139.8"), "no key=value"),
        (keyed("seq=17 pad_inner_c"), "no key=value"),
        (keyed("seq=17 =139.8"), "no key=value"),
        (keyed("seq=17 2a=139.8"), "no key=value"),
        (keyed("seq=17 seq=18"), "no key=value"),
        (keyed("seq=17 crc=0000"), "no key=value"),
        (keyed(f"seq=17 {'k' * 41}=1"), "no key=value"),
        (keyed("seq=17 pad_inner_c=139.8 pad_inner_c=139.8"), "stands in it twice"),
        (keyed("seq=17\tpad_inner_c=139.8"), "printable ASCII"),
        (keyed("seq=17 pad_inner_c=139.8\r"), "printable ASCII"),
        (keyed("seq=17 pad_inner_c=139.8\x00"), "printable ASCII"),
        (keyed("seq=17 pad_inner_c=139.8\x80"), "printable ASCII"),
        (keyed("seq=17 pad_inner_c=\u0661\u0663"), "printable ASCII"),
        (keyed("seq=17 a=" + "1" * LINE_BYTES_MAX), f"longer than {LINE_BYTES_MAX}"),
    ],
)
def test_a_line_not_of_this_form_is_refused(line: bytes, why: str) -> None:
    with pytest.raises(RefusedLine, match=re.escape(why)):
        read_line(line, KEYS)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (columned("17,139.8"), "1 values, and columns names 2"),
        (columned("17,139.8,206.9,1"), "3 values, and columns names 2"),
        (columned("17"), "0 values"),
        (columned(",139.8,206.9"), "no sequence number"),
        (columned("17,139.8,206.9") + b",", "no checksum"),
        (columned("17,139.8,206.9").replace(b"17", b"18"), "its checksum is"),
        (b"17,139.8,206.9,", "no checksum"),
        (b"4B37", "its checksum is 4B37"),
        (keyed("seq=17 pad_inner_c=139.8"), "no checksum"),
    ],
)
def test_columns_not_of_this_form_are_refused(line: bytes, why: str) -> None:
    with pytest.raises(RefusedLine, match=re.escape(why)):
        read_line(line, COLUMNS)


def test_the_longest_line_is_read_and_one_more_is_not() -> None:
    room = LINE_BYTES_MAX - len(keyed("seq=17 note="))
    assert read_line(keyed("seq=17 note=" + "x" * room), KEYS).number == 17
    with pytest.raises(RefusedLine, match="longer"):
        read_line(keyed("seq=17 note=" + "x" * (room + 1)), KEYS)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("139.8", Decoded(139.8)),
        ("-5", Decoded(-5.0)),
        ("+0.25", Decoded(0.25)),
        ("0", Decoded(0.0)),
        ("007", Decoded(7.0)),
        ("999999999.999999999", Decoded(999999999.999999999)),
        ("139.8:F", Decoded(139.8, state="F")),
        ("139.8:C", Decoded(139.8, state="C")),
        ("139.8:S", Decoded(139.8, state="S")),
        ("139.8:M", Decoded(139.8, state="M")),
        ("!open", Decoded(None, "open_circuit")),
        ("!short", Decoded(None, "short_circuit")),
        ("!low", Decoded(None, "below_range")),
        ("!high", Decoded(None, "above_range")),
        ("!failure", Decoded(None, "failure")),
        (None, Decoded(None, "missing")),
        ("", Decoded(None, "missing")),
    ],
)
def test_what_a_text_says(text: str | None, wanted: Decoded) -> None:
    assert decode(POINT, text) == wanted


@pytest.mark.parametrize(
    "text",
    [
        *("nan", "NaN", "inf", "-inf", "ovf", "1e3", "0x10", ".5", "5.", "1,5", "1_0", "--5"),
        *("+-5", "1.2.3", "true", "=5", "\u0665", "\u00b2", " 5", "5 ", "5\n", "!", "!Open"),
        *("139.8:", "139.8:X", "139.8:s", "139.8:SM", ":S", "139.8S", "!open:S", "!broken"),
        *("1234567890", "0.1234567890"),
    ],
)
def test_what_is_no_number_is_never_one(text: str) -> None:
    assert decode(POINT, text) == Decoded(None, "not_a_number")


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("100", Decoded(10.0)),
        ("99", Decoded(None, "below_range")),
        ("200:M", Decoded(20.0, state="M")),
        ("201:M", Decoded(None, "above_range", "M")),
    ],
)
def test_range_is_judged_in_the_point_s_unit(text: str, wanted: Decoded) -> None:
    point = PointSettings(key="a", scale=0.2, offset=-10.0, range_low=10.0, range_high=30.0)
    low = PointSettings(key="a", scale=0.1, range_low=10.0, range_high=20.0)
    assert decode(low, text) == wanted
    assert decode(point, "150") == Decoded(20.0)


def test_a_scale_beyond_all_measure_gives_no_infinity() -> None:
    assert decode(PointSettings(key="a", scale=1e308), "99:S") == Decoded(None, "not_a_number", "S")


STREAM = b"tail of an old one\nfirst\r\n\nsecond\nthird, not yet"
WANTED = [b"first", b"", b"second"]


@pytest.mark.parametrize("size", [1, 2, 3, 5, 7, len(STREAM)])
def test_cut_anywhere_the_lines_are_the_same(size: int) -> None:
    splitter = Splitter()
    found: list[bytes] = []
    for place in range(0, len(STREAM), size):
        found += splitter.feed(STREAM[place : place + size])
    assert found == WANTED
    assert splitter.feed(b"\n") == [b"third, not yet"]  # the tail was kept


def test_after_a_restart_the_line_under_way_is_dropped() -> None:
    splitter = Splitter()
    splitter.feed(b"\nhalf of")
    splitter.restart()
    assert splitter.feed(b" a line\nwhole\n") == [b"whole"]


def test_a_line_without_end_takes_no_memory_and_is_refused() -> None:
    splitter = Splitter()
    assert splitter.feed(b"\n") == []
    for _ in range(1000):
        assert splitter.feed(b"x" * 1000) == []
    assert len(splitter._part) < LINE_BYTES_MAX + 10
    (cut,) = splitter.feed(keyed("seq=17") + b"\n")
    with pytest.raises(RefusedLine, match="longer"):
        read_line(cut, KEYS)
    assert splitter.feed(keyed("seq=18") + b"\n") == [keyed("seq=18")]

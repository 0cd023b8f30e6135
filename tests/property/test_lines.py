"""Whatever bytes come, no exception and no wrong value; a changed line is refused."""

import math

from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.serial_lines.codec import (
    Line,
    RefusedLine,
    Splitter,
    checksum,
    decode,
    read_line,
)
from drivers.serial_lines.fake import bitwise_checksum, board_line
from drivers.serial_lines.newness import NS_PER_S, Looks, Numbers
from drivers.serial_lines.registers import (
    FAULT_WORDS,
    LINE_BYTES_MAX,
    LinesSettings,
    PointSettings,
)

COLUMNS = ("pad_inner_c", "bag_inner_kpa")
FORMS = {
    "key_value": LinesSettings(device="x", form="key_value"),
    "csv": LinesSettings(device="x", form="csv", columns=COLUMNS),
}
POINT = PointSettings(key="pad_inner_c", scale=0.1, offset=-5.0, range_low=-1000.0)
QUICK = settings(deadline=None)  # a busy computer is no fault
forms = st.sampled_from(list(FORMS))
tenths = st.integers(-(10**9), 10**9)
numbers = st.integers(0, 65535)


def shown(value: int) -> str:
    return f"{'-' if value < 0 else ''}{abs(value) // 10}.{abs(value) % 10}"


@st.composite
def good_lines(draw: st.DrawFn) -> tuple[str, int, dict[str, str], bytes]:
    form, number = draw(forms), draw(numbers)
    texts = st.one_of(tenths.map(shown), st.sampled_from(sorted(FAULT_WORDS)), st.just(""))
    values = {column: draw(texts) for column in COLUMNS}
    return form, number, values, board_line(form, number, values)[:-1]


@QUICK
@given(st.binary(max_size=200))
def test_both_checksums_agree(data: bytes) -> None:
    assert checksum(data) == bitwise_checksum(data)


@QUICK
@given(forms, st.binary(max_size=LINE_BYTES_MAX + 20))
def test_any_bytes_are_a_line_or_refused(form: str, data: bytes) -> None:
    try:
        line = read_line(data, FORMS[form])
    except RefusedLine:
        return
    body = data.rpartition(b" " if form == "key_value" else b",")[0]
    assert int(data[-4:], 16) == bitwise_checksum(body)
    assert 0 <= line.number <= 65535


@QUICK
@given(forms, st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=80))
def test_any_body_with_its_checksum_is_a_line_or_refused(form: str, body: str) -> None:
    """Beyond the checksum too nothing but the form is read."""
    check = f"{bitwise_checksum(body.encode()):04X}"
    whole = f"{body} crc={check}" if form == "key_value" else f"{body},{check}"
    try:
        line = read_line(whole.encode(), FORMS[form])
    except RefusedLine:
        return
    separator = " " if form == "key_value" else ","
    assert len(body.split(separator)) == 1 + len(line.fields)
    for text in line.fields.values():
        decode(POINT, text)


@QUICK
@given(good_lines())
def test_a_good_line_is_read_to_the_letter(made: tuple[str, int, dict[str, str], bytes]) -> None:
    form, number, values, line = made
    assert read_line(line, FORMS[form]) == Line(number, values)


@QUICK
@given(good_lines(), st.data())
def test_a_changed_line_is_refused_unless_its_checksum_collides(
    made: tuple[str, int, dict[str, str], bytes], data: st.DataObject
) -> None:
    form, _, _, line = made
    places = st.integers(0, len(line) - 1)
    changed = bytearray(line)
    for _ in range(data.draw(st.integers(1, 4))):
        changed[data.draw(places)] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, 3))
    result = bytes(changed)[: len(line) - cut]
    try:
        read_line(result, FORMS[form])
    except RefusedLine:
        return
    body, _, check = result.rpartition(b" crc=" if form == "key_value" else b",")
    whole, _, right = line.rpartition(b" crc=" if form == "key_value" else b",")
    assert int(check, 16) == bitwise_checksum(body)
    assert body != whole or check.upper() == right


@QUICK
@given(good_lines(), st.integers(0, 7), st.integers(0, 10_000))
def test_one_bit_is_always_found(
    made: tuple[str, int, dict[str, str], bytes], bit: int, anywhere: int
) -> None:
    """A CRC-16 finds every single error of a bit, and every burst up to 16 bits."""
    form, number, values, line = made
    place = anywhere % len(line)
    changed = line[:place] + bytes((line[place] ^ 1 << bit,)) + line[place + 1 :]
    try:
        assert read_line(changed, FORMS[form]) == Line(number, values)
        assert changed.lower() == line.lower()  # a digit of the checksum, in the other case
        assert place >= len(line) - 4
    except RefusedLine:
        pass


@QUICK
@given(st.text(max_size=30))
def test_any_text_is_a_finite_value_or_a_reason(text: str) -> None:
    found = decode(POINT, text)
    assert (found.value is None) == bool(found.reason)
    if found.value is not None:
        assert math.isfinite(found.value)
        assert found.value == float(text.partition(":")[0]) * 0.1 - 5.0


@QUICK
@given(st.binary(max_size=3000), st.lists(st.integers(1, 700), min_size=1))
def test_a_stream_cut_anywhere_gives_the_same_lines(data: bytes, sizes: list[int]) -> None:
    whole, pieces = Splitter(), Splitter()
    wanted = whole.feed(data)
    found: list[bytes] = []
    place = turn = 0
    while place < len(data):
        size = sizes[turn % len(sizes)]
        found += pieces.feed(data[place : place + size])
        place, turn = place + size, turn + 1
    assert found == wanted
    # Independently: all between two line ends, those too long cut past the limit.
    lines = [line.removesuffix(b"\r") for line in data.split(b"\n")[1:-1]]
    assert [line for line in found if len(line) <= LINE_BYTES_MAX] == [
        line for line in lines if len(line) <= LINE_BYTES_MAX
    ]
    assert len(found) == len(lines)
    assert all(len(line) <= LINE_BYTES_MAX + 2 for line in found)


@QUICK
@given(st.lists(st.integers(0, 3 * NS_PER_S), max_size=30))
def test_nothing_new_is_older_than_the_lull(pauses_ns: list[int]) -> None:
    lull_ns = NS_PER_S // 2
    looks = Looks(lull_ns)
    now_ns = last_ns = 100 * NS_PER_S
    looks.begin(now_ns)
    began_ns = now_ns
    for pause_ns in pauses_ns:
        now_ns += pause_ns
        if looks.new(now_ns):
            assert now_ns - last_ns <= lull_ns
            assert now_ns - began_ns >= lull_ns
        last_ns = now_ns


@QUICK
@given(numbers, st.lists(st.integers(0, 30000), max_size=60))
def test_while_new_lines_come_no_old_one_is_believed(first: int, old: list[int]) -> None:
    """Between any two new lines, any old one: a lump of them, in any order."""
    heard = Numbers(20, NS_PER_S // 2, 3 * NS_PER_S)
    for step in range(6):
        told = heard.believed((first + step) % 65536, step * NS_PER_S // 4)
    assert told
    now_ns, number = 6 * NS_PER_S // 4, (first + 6) % 65536
    for back in old:
        assert not heard.believed((number - 1 - back) % 65536, now_ns)
        if back % 3 == 0:
            assert heard.believed(number, now_ns)
            now_ns, number = now_ns + NS_PER_S // 4, (number + 1) % 65536

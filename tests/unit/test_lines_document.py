"""docs/board-lines.md: its lines are right, and its programs send right lines."""

import re
import shutil
import subprocess
import types
from pathlib import Path

import pytest
from pymodbus.framer import FramerRTU

from drivers.serial_lines.codec import Line, RefusedLine, Splitter, decode, read_line
from drivers.serial_lines.registers import FAULT_WORDS, STATE_LETTERS, LinesSettings, PointSettings
from drivers.serial_port import PortSettings

PAGE = Path(__file__).parents[2] / "docs" / "board-lines.md"
TEXT = PAGE.read_text()
COLUMNS = ["pad_inner_c", "bag_inner_kpa", "here_button"]
FORMS = {
    "key_value": LinesSettings(device="x", form="key_value"),
    "csv": LinesSettings(device="x", form="csv", columns=COLUMNS),
}
LINES = 7


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", TEXT, re.DOTALL | re.MULTILINE)


def samples() -> list[tuple[str, str]]:
    return [(form, line) for form in FORMS for line in blocks(f"lines {form}")[0].splitlines()]


@pytest.mark.parametrize(("form", "line"), samples())
def test_sample_lines_are_right(form: str, line: str) -> None:
    read = read_line(line.encode(), FORMS[form])
    assert list(read.fields) == COLUMNS
    by_number = {17: (139.8, 206.9, 0.0), 18: (None, 206.8, 1.0)}
    points = (PointSettings(key=key) for key in COLUMNS)
    values = tuple(decode(point, read.fields[point.key]).value for point in points)
    assert values == by_number[read.number]
    # pymodbus gives the two bytes in the order in which Modbus sends them, the low one first.
    body, check = re.fullmatch(r"(.*)(?: crc=|,)(\w{4})", line, re.DOTALL).groups()  # type: ignore[union-attr]  # it matched above
    low_first = FramerRTU.compute_CRC(body.encode()).to_bytes(2, "big")
    assert int(check, 16) == int.from_bytes(low_first, "little")


def test_there_are_samples_of_both_forms() -> None:
    assert [form for form, _ in samples()] == ["key_value"] * 2 + ["csv"] * 2


def test_the_page_says_what_the_codec_does() -> None:
    assert set(re.findall(r"`(!\w+)`", TEXT)) == set(FAULT_WORDS)
    assert "".join(re.findall(r"^\| `([A-Z])` \|", TEXT, re.MULTILINE)) == STATE_LETTERS
    assert "at most 512 in a line" in TEXT
    assert "`123456789`\nit is 4B37" in TEXT
    assert "none has\ncome for 3 s" in TEXT
    defaults = FORMS["key_value"]
    assert (defaults.timeout_s, defaults.lines_per_s_max) == (3.0, 20)
    assert f"{defaults.baud_rate} baud" in TEXT
    assert PortSettings(device="x").baud_rate != defaults.baud_rate


def test_a_line_is_refused_in_the_words_of_the_page() -> None:
    _, program = blocks("python")
    *_, words = program.splitlines()
    with pytest.raises(RefusedLine) as told:
        exec(program, {})  # noqa: S102 - the page's own program
    assert words == f"# RefusedLine: {told.value}"


def check_sent(sent: bytes) -> None:
    """What both programs of the page must have sent, from number 65533 on."""
    splitter = Splitter()
    splitter.feed(b"\n")
    lines: list[Line] = [read_line(line, FORMS["key_value"]) for line in splitter.feed(sent)]
    assert [line.number for line in lines] == [65533, 65534, 65535, 0, 1, 2, 3]
    pads = [decode(PointSettings(key="pad_inner_c"), line.fields["pad_inner_c"]) for line in lines]
    assert [pad.value for pad in pads] == [139.8, -0.5, 0.0, None, -40.0, 1000.1, 139.8]
    assert pads[3].reason == "open_circuit"
    assert {line.fields["bag_inner_kpa"] for line in lines} == {"206.9"}
    assert [line.fields["here_button"] for line in lines] == ["0", "1", "0", "0", "0", "0", "0"]


HARNESS = """
static const long pads[] = {1398, -5, 0, BROKEN, -400, 10001, 1398};
static int turn = 0;
long read_tenths(int input) { return input == 0 ? pads[turn] : 2069; }
int here_button(void) { return turn == 1 ? 7 : 0; }
void send_text(const char *text) { fputs(text, stdout); }
void wait_ms(unsigned int ms) { turn += ms == 250; }
int main(void) { sequence = 65533; while (turn < 7) loop(); return 0; }
"""


@pytest.mark.skipif(shutil.which("gcc") is None, reason="no C compiler here")
def test_the_program_in_c_sends_right_lines(tmp_path: Path) -> None:
    (program,) = blocks("c")
    source = tmp_path / "board.c"
    source.write_text(program + HARNESS)
    made = tmp_path / "board"
    strict = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-fsanitize=undefined,address"]
    subprocess.run(["gcc", *strict, str(source), "-o", str(made)], check=True, timeout=60)
    sent = subprocess.run([str(made)], check=True, capture_output=True, timeout=10)
    check_sent(sent.stdout)


def test_the_program_in_python_sends_right_lines() -> None:
    program, _ = blocks("python")
    functions, loop = program.split("while True:\n")
    assert loop.split() == ["send_line()", "time.sleep(0.25)"]
    sent: list[str] = []
    board: dict[str, object] = {"uart": types.SimpleNamespace(write=sent.append)}
    exec(functions, board)  # noqa: S102 - the page's own program
    pads = iter([139.8, -0.5, 0.0, None, -40.0, 1000.1, 139.8])
    buttons = iter([0, 7, 0, 0, 0, 0, 0])
    board |= {
        "sequence": 65533,
        "read_pad_c": lambda: next(pads),
        "read_bag_kpa": lambda: 206.9,
        "here_button": lambda: next(buttons),
    }
    for _ in range(LINES):
        board["send_line"]()  # type: ignore[operator]  # a function of the page
    check_sent("".join(sent).encode())

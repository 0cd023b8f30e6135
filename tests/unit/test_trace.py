"""CSV traces as frames. All readings are invented."""

import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon import csv_trace
from daemon.csv_trace import Trace, TraceError, read_trace
from rules.channels import BY_NAME
from rules.frame import NS_PER_S, Frame, Quality, Reading, Reason


def read(tmp_path: Path, text: str | bytes) -> Trace:
    path = tmp_path / "trace.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_trace(path)


def faults(tmp_path: Path, text: str | bytes) -> list[str]:
    with pytest.raises(TraceError) as caught:
        read(tmp_path, text)
    return caught.value.faults


def values(frame: Frame) -> dict[str, float | None]:
    return {name: reading.value for name, reading in frame.values.items()}


def test_a_row_becomes_a_frame(tmp_path):
    found = read(tmp_path, "time_s,pad_inner_c,here_button\n10,20.5,0\n11,20.75,1\n12,-3e1,0\n")
    assert [frame.t_ns for frame in found.frames] == [0, NS_PER_S, 2 * NS_PER_S]
    assert [frame.seq for frame in found.frames] == [1, 2, 3]
    assert values(found.frames[1]) == {"pad_inner_c": 20.75, "here_button": 1.0}
    assert found.frames[1].values["pad_inner_c"] == Reading(
        20.75, Quality.GOOD, Reason.NONE, NS_PER_S
    )
    assert values(found.frames[2])["pad_inner_c"] == -30.0
    assert found.period_s == 1.0
    assert found.channels == ("pad_inner_c", "here_button")
    assert not found.has_wall
    assert not found.frames[0].wall_trusted
    assert found.frames[0].readback == {}


def test_utc_times_are_read_as_rfc_3339_says(tmp_path):
    # Examples in the form of RFC 3339, section 5.8: Z, an offset, fractions, a space for T.
    found = read(
        tmp_path,
        "pad_inner_c,time_utc\n"
        "20,2026-03-14T07:00:00Z\n"
        "20,2026-03-14t07:00:00.5z\n"
        "20,2026-03-14 08:00:01+01:00\n"
        "20,2026-03-14T06:00:01.123456789-01:00\n",
    )
    assert [frame.t_ns for frame in found.frames] == [
        0,
        500_000_000,
        NS_PER_S,
        1_123_456_000,
    ]
    assert found.frames[0].wall_ns == 1_773_471_600 * NS_PER_S  # date -ud 2026-03-14T07:00Z +%s
    assert found.has_wall
    assert found.frames[0].wall_trusted


def test_with_both_times_seconds_lead_and_utc_is_told(tmp_path):
    found = read(
        tmp_path,
        "time_utc,time_s,pad_inner_c\n2026-03-14T07:00:00Z,5,20\n2026-03-14T07:00:00Z,7,20\n",
    )
    assert [frame.t_ns for frame in found.frames] == [0, 2 * NS_PER_S]
    assert found.frames[1].wall_ns == found.frames[0].wall_ns


@pytest.mark.parametrize("cell", ["", " ", "nan", "NaN", "inf", "-inf", "Infinity", "1e999"])
def test_what_is_no_value_is_missing_and_never_the_last_one(tmp_path, cell):
    found = read(
        tmp_path, f"time_s,pad_inner_c,bag_inner_kpa\n0,20,0\n1,{cell},{cell}\n2,{cell},5\n"
    )
    pad, bag = found.frames[2].values["pad_inner_c"], found.frames[2].values["bag_inner_kpa"]
    assert (pad.value, pad.quality, pad.reason) == (None, Quality.BAD, Reason.MISSING)
    assert bag.value == 5.0


def test_a_row_without_values_is_a_dead_link_and_ages(tmp_path):
    found = read(tmp_path, "time_s,pad_inner_c,bag_inner_kpa\n0,20,0\n1,,\n2,,\n3,21,1\n")
    dead = found.frames[2].values["pad_inner_c"]
    assert dead == Reading(None, Quality.BAD, Reason.NO_REPLY, 0)


def test_an_empty_pad_cell_is_the_sensors_fault_and_any_other_an_answer_that_did_not_come(tmp_path):
    found = read(tmp_path, "time_s,pad_inner_c,bag_inner_kpa,here_button\n0,20,9,0\n1,,,0\n2,,,0\n")
    last = found.frames[2].values
    assert (last["pad_inner_c"].reason, last["pad_inner_c"].at_ns) == (
        Reason.MISSING,
        2 * NS_PER_S,
    )
    assert (last["bag_inner_kpa"].reason, last["bag_inner_kpa"].at_ns) == (Reason.MISSING, 0)


def test_presence_has_two_names(tmp_path):
    found = read(tmp_path, "time_s,attend_button\n0,1\n")
    assert values(found.frames[0]) == {"here_button": 1.0}
    assert "stands twice" in faults(tmp_path, "time_s,attend_button,here_button\n0,1,1\n")[0]


def test_every_channel_may_be_a_column(tmp_path):
    row = ",".join("1" for _ in BY_NAME)
    found = read(tmp_path, f"time_s,{','.join(BY_NAME)}\n0,{row}\n")
    assert found.channels == tuple(BY_NAME)


@pytest.mark.parametrize(
    "text",
    [
        b"\xef\xbb\xbftime_s,pad_inner_c,note\r\n0,20,\r\n1,21,\r\n",
        b'"time_s","pad_inner_c","note"\n"0","20","a, b"\n"1"," 21 ","c\nd"\n',
        b"time_s,pad_inner_c,note\n\n0,20,x\n1,21,x\n\n\n",
        b"time_s,pad_inner_c,note\n0,20,x\n1,21,x\n,,\n",
        b" time_s , pad_inner_c , note \n0,20,x\n1,21,x",
    ],
    ids=["mark and CRLF", "quoted", "blank lines", "blank cells", "no last line end"],
)
def test_forms_of_csv_that_are_right(tmp_path, text):
    found = read(tmp_path, text)
    assert [values(frame) for frame in found.frames] == [
        {"pad_inner_c": 20.0},
        {"pad_inner_c": 21.0},
    ]
    assert found.ignored == ("note",)


@pytest.mark.parametrize(
    ("times", "period_s"),
    [
        ([0, 1, 2, 3, 60, 61, 62], 1.0),
        ([0, 0.5, 1, 1.5], 0.5),
        ([0, 60, 120], 60.0),
        ([7], 1.0),
        ([0, 0.01, 0.02], 0.1),
        ([0, 9000], 3600.0),
    ],
)
def test_the_period_is_the_median_interval_within_what_rules_take(tmp_path, times, period_s):
    rows = "".join(f"{t_s},20\n" for t_s in times)
    assert read(tmp_path, f"time_s,pad_inner_c\n{rows}").period_s == period_s


def test_every_mistake_is_told_with_its_line(tmp_path):
    found = faults(
        tmp_path,
        "time_s,pad_inner_c,here_button\n"  # 1
        "0,20,0\n"
        "1,warm,0\n"  # 3
        "2,20,2\n"  # 4
        "soon,20,yes\n"  # 5: two mistakes
        "1,20,0\n"  # 6
        "3,20\n"  # 7
        "4,20,0,0\n"  # 8
        "nan,20,0\n"  # 9
        '5,"20\n",0\n'  # 10 and 11: right, a line end in a cell
        "5,20,0\n"  # 12
        "1_0,20,0\n"  # 13: Python would take it
        "20,1_0,0\n",  # 14
    )
    assert found == [
        "trace.csv:3: pad_inner_c = 'warm' is no number; leave it empty if unknown",
        "trace.csv:4: here_button = '2': a switch is 0 or 1, or empty",
        "trace.csv:5: time_s = 'soon' is no time; give a number of seconds",
        "trace.csv:5: here_button = 'yes' is no number; leave it empty if unknown",
        "trace.csv:6: time does not rise; sort the rows, one row a time",
        "trace.csv:7: 2 cells, the header has 3; mend the row",
        "trace.csv:8: 4 cells, the header has 3; mend the row",
        "trace.csv:9: time_s = 'nan' is no time; give a number of seconds",
        "trace.csv:12: time does not rise; sort the rows, one row a time",
        "trace.csv:13: time_s = '1_0' is no time; give a number of seconds",
        "trace.csv:14: pad_inner_c = '1_0' is no number; leave it empty if unknown",
    ]


@pytest.mark.parametrize(
    "when",
    [
        "2026-03-14T07:00:00",  # no zone
        "2026-03-14",
        "14.03.2026 07:00",
        "20260314T070000Z",
        "2026-W11-6T07:00:00Z",
        "2026-02-30T07:00:00Z",
        "2026-03-14T25:00:00Z",
        "0001-01-01T00:00:00+23:59",
        "1773471600",
        "",
    ],
)
def test_what_is_no_utc_time_is_told(tmp_path, when):
    (fault,) = faults(tmp_path, f"time_utc,pad_inner_c\n{when},20\n")
    right = "write it like 2026-03-14T07:00:00Z (RFC 3339)"
    assert fault == f"trace.csv:2: time_utc = {when!r} is no time; {right}"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", ":1: empty; the first row names the columns"),
        ("\n\n", ":1: empty; the first row names the columns"),
        ("time_s,pad_inner_c\n", ": no rows below the header; add the readings"),
        ("pad_inner_c\n20\n", ":1: no column time_utc (RFC 3339) or time_s (seconds); add one"),
        ("time_s,temp\n0,20\n", ":1: no column is a channel; known are pad_inner_c, pad_outer_c"),
        ("time_s,pad_inner_c,pad_inner_c\n0,1,2\n", ":1: column pad_inner_c stands twice"),
        ("time_s;pad_inner_c\n0;20\n", ":1: cells are parted by ';'; save the file with commas"),
        ("time_s\tpad_inner_c\n0\t20\n", ":1: cells are parted by '\\t'; save the file"),
        ('time_s,pad_inner_c\n0,"20\n1,20\n', ":3: not CSV: unexpected end of data; look at the"),
        (b"time_s,pad_inner_c\n0,\xff\n", ": not UTF-8 text; save it as CSV in UTF-8"),
        ("time_s,pad_inner_c\n1e300,20\n", ":2: time_s = '1e300' is no time"),
        (b"time_s,pad_inner_c\n0,20\x00\n", ":2: "),
    ],
)
def test_what_is_no_trace_is_told(tmp_path, text, told):
    (fault,) = faults(tmp_path, text)
    assert fault.startswith(f"trace.csv{told}")


def test_a_file_that_cannot_be_read_is_told(tmp_path):
    with pytest.raises(TraceError, match=r"none\.csv: cannot be read: No such file"):
        read_trace(tmp_path / "none.csv")
    with pytest.raises(TraceError, match="cannot be read: Is a directory"):
        read_trace(tmp_path)


def test_a_flood_of_mistakes_is_cut(tmp_path):
    found = faults(tmp_path, "time_s,pad_inner_c\n" + "0,x\n" * 500)
    assert len(found) == csv_trace.FAULTS_MAX + 1
    assert found[-1] == "trace.csv: more mistakes follow; mend these first"


def test_a_trace_too_long_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(csv_trace, "ROWS_MAX", 3)
    rows = [f"{second},20\n" for second in range(10)]
    assert len(read(tmp_path, "time_s,pad_inner_c\n" + "".join(rows[:3])).frames) == 3
    assert faults(tmp_path, "time_s,pad_inner_c\n" + "".join(rows)) == [
        "trace.csv:5: more than 3 rows; part the trace"
    ]


@settings(max_examples=60, deadline=None)
@given(
    st.text(alphabet='tim_es,pad_inner_c\n\r"0123.e-+;\x00', max_size=120) | st.binary(max_size=80)
)
def test_no_bytes_raise_anything_but_a_told_mistake(tmp_path_factory, content):
    path = tmp_path_factory.getbasetemp() / "any.csv"
    begin = b"time_s,pad_inner_c\n"
    path.write_bytes(begin + (content.encode() if isinstance(content, str) else content))
    try:
        found = read_trace(path)
    except TraceError as error:
        assert error.faults  # noqa: PT017 - both ends are right
        return
    for frame in found.frames:
        assert all(
            reading.value is None or math.isfinite(reading.value)
            for reading in frame.values.values()
        )

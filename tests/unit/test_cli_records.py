"""Runs, alarms, exports, replays and traces on the command line, and its output."""

import asyncio
import csv
import io
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from daemon.tools.show import bar, duration, json_text, number
from tests.unit.command_line import (
    CODE_BAD,
    CODE_CANNOT,
    CODE_OK,
    EXAMPLE,
    ROOT,
    TRACE,
    Console,
    console,
    json_lines,
    process,
    record_run,
    shop,
)


@pytest.fixture
def said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Console:
    return console(tmp_path, capsys, monkeypatch)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a configuration and the record of one short, aborted run."""
    home = tmp_path_factory.mktemp("recorded")
    shop(home)
    asyncio.run(record_run(home / "curehold.db"))
    return home


@pytest.fixture
def home(recorded: Path, tmp_path: Path) -> Path:
    """A copy of the record, so that a test may harm it."""
    place = tmp_path / "home"
    shutil.copytree(recorded, place)
    return place


def test_runs_lists_the_run(said: Console, home: Path) -> None:
    code, out, _ = said("runs", "--config", home / "shop.toml")
    assert code == CODE_OK
    head, row = out.splitlines()
    assert head.split() == ["run", "rig", "opened", "(UTC)", "outcome", "hold"]
    assert row.split()[:3] == ["1", "bay-2", "2026-03-14"]
    code, out, _ = said("runs", "--json", "--config", home / "shop.toml")
    assert [line["id"] for line in json_lines(out)] == [1]


def test_a_stored_run_replays_equal_to_the_bit(said: Console, home: Path) -> None:
    code, out, _ = said("replay", "1", "--config", home / "shop.toml")
    assert code == CODE_OK
    assert out.splitlines()[-1].endswith("equal to the record to the bit.")
    code, out, _ = said("replay", "1", "--json", "--config", home / "shop.toml")
    assert code == CODE_OK
    lines = json_lines(out)
    assert "run_opened" in [line["event"] for line in lines if line["t_s"] == 0.0]
    assert all({"t_s", "time_utc", "event"} <= line.keys() for line in lines)


def test_an_export_can_be_replayed_as_a_trace(said: Console, home: Path) -> None:
    config = home / "shop.toml"
    code, _, err = said("export", "1", "--out", home / "run.csv", "--config", config)
    assert code == CODE_OK
    rows = list(csv.DictReader(io.StringIO((home / "run.csv").read_text())))
    assert err == f"{len(rows)} rows written to {home}/run.csv\n"
    assert {row["phase"] for row in rows} >= {"preheat", "inflation"}
    code, out, _ = said("replay", home / "run.csv", "--json")
    assert code == CODE_OK
    tags = {line["tag"] for line in json_lines(out) if line["event"] == "alarm"}
    assert "run.pins_not_in" in tags


def test_an_export_as_json_has_run_frames_and_events(said: Console, home: Path) -> None:
    config = home / "shop.toml"
    code, out, _ = said("export", "1", "--format", "jsonl", "--config", config)
    assert code == CODE_OK
    lines = json_lines(out)
    assert lines[0]["kind"] == "run"
    assert {line["kind"] for line in lines} == {"run", "frame", "event"}
    assert said("export", "1", "--json", "--config", config)[1] == out


@pytest.mark.parametrize(
    "words", [["export", "7"], ["replay", "7"], ["alarms", "journal", "--run", "7"]]
)
def test_an_unknown_run_says_which_there_are(said: Console, home: Path, words: list[str]) -> None:
    assert said(*words, "--config", home / "shop.toml") == (
        CODE_BAD,
        "",
        "no run 7: runs go from 1 to 1\n",
    )


@pytest.mark.parametrize("words", [["export"], ["replay"], ["alarms", "journal", "--run"]])
def test_a_number_that_no_run_can_have_is_told(said: Console, home: Path, words: list[str]) -> None:
    code, out, err = said(*words, "9" * 23, "--config", home / "shop.toml")
    assert (code, out) == (CODE_BAD, "")
    assert err == f"{'9' * 20} is no number of a run; `curehold runs` lists them\n"


RECORD_WORDS = (["runs"], ["alarms", "journal"], ["export", "1"], ["replay", "1"])


@pytest.mark.parametrize("words", RECORD_WORDS, ids=lambda words: words[0])
def test_a_missing_or_damaged_store_is_told(said: Console, home: Path, words: list[str]) -> None:
    config = home / "shop.toml"
    (home / "curehold.db").write_bytes(b"no database at all" * 100)
    code, out, err = said(*words, "--config", config)
    assert (code, out) == (CODE_CANNOT, "")
    assert err.startswith(f"{home}/curehold.db: ")
    (home / "curehold.db").unlink()
    code, out, err = said(*words, "--config", config)
    assert (code, out) == (CODE_CANNOT, "")
    assert "there is no store" in err


def test_an_export_that_cannot_be_written_is_told(said: Console, home: Path) -> None:
    code, _, err = said(
        "export", "1", "--out", home / "none" / "x.csv", "--config", home / "shop.toml"
    )
    assert (code, err) == (CODE_CANNOT, f"{home}/none/x.csv: No such file or directory\n")


def test_a_trace_is_judged_without_any_configuration(said: Console) -> None:
    code, out, err = said("replay", TRACE, "--json")
    assert (code, err) == (CODE_OK, "hose_fails.csv: ignored, for they are no channels: note\n")
    lines = json_lines(out)
    trips = {line["tag"] for line in lines if line["event"] == "alarm" and line["state"] == "trip"}
    assert "bag.burst" in trips
    burst = next(line for line in lines if line.get("tag") == "bag.burst")
    assert 60 <= burst["t_s"] <= 65
    assert burst["time_utc"].startswith("2026-03-14T09:21:0")
    code, out, _ = said("replay", TRACE)
    assert re.search(r"(?m)^ 0:01:0\d  TRIP +bag\.burst: ", out)
    assert "Limits: the defaults." in out


def test_a_trace_is_judged_by_the_rig_that_is_named(said: Console, tmp_path: Path) -> None:
    config = shop(tmp_path, **{"set_c = 140.0": "set_c = 130.0"})
    code, out, _ = said("replay", TRACE, "--config", config)
    assert code == CODE_OK
    assert "pad.overtemperature" in out
    assert "of rig bay-2 in shop.toml" in re.sub(r"\s+", " ", out)
    code, _, err = said("replay", TRACE, "--config", config, "--rig", "bay-9")
    assert (code, err) == (CODE_BAD, "no rig bay-9: there are bay-2\n")
    rig = EXAMPLE[EXAMPLE.index("[rigs.bay-2.facts]") :].replace("bay-2", "bay-3")
    config.write_text(EXAMPLE + re.sub(r"unit = (\d)", r"unit = 1\1", rig))
    code, _, err = said("replay", TRACE, "--config", config)
    assert code == CODE_BAD
    assert err == f"{config}: say whose limits by --rig: there are bay-2, bay-3\n"


def test_a_bad_trace_is_bad_input_and_nothing_is_judged(said: Console, tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("time_s,pad_inner_c\n0,x\n0,20\n")
    code, out, err = said("replay", "bad.csv", "--json")
    assert (code, out) == (CODE_BAD, "")
    assert err.startswith("bad.csv:2: pad_inner_c = 'x'")
    code, _, err = said("replay", "none.csv")
    assert (code, err) == (CODE_BAD, "none.csv: cannot be read: No such file or directory\n")


def test_a_reader_that_has_seen_enough_ends_it_quietly(home: Path) -> None:
    for words in (
        ["export", "1", "--json", "--config", "shop.toml"],
        ["replay", str(TRACE), "--json"],
    ):
        told = process(*words, home=home, lines=1)
        assert told.stdout.startswith("{")
        assert "Traceback" not in told.stderr
        assert "Exception" not in told.stderr
        assert "roken pipe" not in told.stderr


def test_a_full_disk_is_told(home: Path) -> None:
    with Path("/dev/full").open("w") as full:
        told = subprocess.run(
            [sys.executable, "-m", "daemon.cli", "runs", "--config", "shop.toml"],
            cwd=home,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=60,
            check=False,
        )
    assert (told.returncode, told.stderr) == (CODE_CANNOT, "No space left on device\n")


def test_a_terminal_without_the_degree_sign_is_no_reason_to_fail(home: Path) -> None:
    config = shop(home, **{'title = "BAY 2"': 'title = "BÄY 2"'})
    told = process(
        "replay", str(TRACE), "--config", str(config), home=home, PYTHONIOENCODING="ascii"
    )
    assert told.returncode == CODE_OK
    assert "B?Y 2 GO NOW" in told.stdout
    assert "Traceback" not in told.stderr


@pytest.mark.parametrize("columns", ["41", "60", "80"])
def test_replays_and_the_journal_fit_the_terminal(
    said: Console, home: Path, monkeypatch: pytest.MonkeyPatch, columns: str
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    for words in (["replay", TRACE], ["alarms", "journal", "--config", home / "shop.toml"]):
        _, out, _ = said(*words)
        assert max(map(len, out.splitlines())) < int(columns)


def test_json_has_no_number_that_json_has_not() -> None:
    assert json_text({"a": float("nan"), "b": [float("inf"), 1.5], "c": ("°",)}) == (
        '{"a":null,"b":[null,1.5],"c":["°"]}'
    )


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 s"),
        (59.4, "59 s"),
        (59.6, "60 s"),
        (61, "1 min"),
        (3599, "1 h 00 min"),
        (9000, "2 h 30 min"),
    ],
)
def test_times_for_people(seconds: float, words: str) -> None:
    assert duration(seconds) == words


def test_numbers_and_bars_for_people() -> None:
    assert [number(value, "°C") for value in (None, 20.0, 21.46, 140.4)] == [
        "-",
        "20 °C",
        "21.5 °C",
        "140 °C",
    ]
    assert [bar(share, 4) for share in (-1, 0, 0.5, 1, 9)] == [
        "[....]",
        "[....]",
        "[##..]",
        "[####]",
        "[####]",
    ]

"""The command line: exit codes, JSON, help, and no traceback whatever is asked."""

import asyncio
import csv
import hashlib
import io
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from daemon import cli, logs
from daemon.config import load
from daemon.control import ControlServer
from daemon.store.store import Store
from daemon.tools import check as check_module
from daemon.tools.check import heat_words, misplaced_packages
from daemon.tools.show import bar, duration, json_text, number
from drivers.modbus.fake import FakeServer
from rules.checkpoint import dump
from rules.events import CommandAnswered, RunOpened
from rules.frame import Command
from rules.state import State
from rules.step import step
from tests.e2e.mqtt_link import state as state_of
from tests.unit.story import Story, limits_with
from tests.virtual_clock import VirtualClock

ROOT = Path(__file__).parents[2]
EXAMPLE = (ROOT / "deploy" / "curehold.example.toml").read_text(encoding="utf-8")
TRACE = ROOT / "tests" / "data" / "hose_fails.csv"
COMMANDS = (
    "supervise",
    "simulate",
    "check",
    "status",
    "watch",
    "answer",
    "runs",
    "alarms",
    "export",
    "replay",
)
CODE_OK, CODE_FOUND, CODE_BAD, CODE_CANNOT = 0, 1, 2, 3


def shop(home: Path, **changed: str) -> Path:
    """The example, kept in `home`; `changed` replaces text by text."""
    text = EXAMPLE.replace("/var/lib/curehold/", "").replace("/run/curehold/", "")
    text = text.replace("/etc/curehold/", "")
    for old, new in changed.items():
        assert old in text
        text = text.replace(old, new)
    path = home / "shop.toml"
    path.write_text(text)
    return path


def process(
    *arguments: str, home: Path, lines: int | None = None, **env: str
) -> subprocess.CompletedProcess[str]:
    """The command as a process; with `lines` its output is read so far and then shut."""
    command = [sys.executable, "-m", "daemon.cli", *arguments]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **env}
    with subprocess.Popen(
        command,
        cwd=home,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        if lines is None:
            out, err = running.communicate(timeout=60)
        else:
            assert running.stdout is not None
            assert running.stderr is not None
            out = "".join(running.stdout.readline() for _ in range(lines))
            running.stdout.close()
            err = running.stderr.read()
            running.wait(timeout=60)
    return subprocess.CompletedProcess(command, running.returncode, out, err)


@pytest.fixture(autouse=True)
def logs_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Loggers outlive a test, and the output captured in it does not."""
    monkeypatch.setattr(logs, "configure", lambda **_: None)


@pytest.fixture
def installed(monkeypatch: pytest.MonkeyPatch) -> None:
    """As in an environment of its own, also where the tests run without one."""
    monkeypatch.setattr(check_module, "misplaced_packages", list)


Said = tuple[int, str, str]


@pytest.fixture
def said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Callable[..., Said]:
    """Run a command in `tmp_path`: its exit code, output and errors."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CUREHOLD_CONFIG", raising=False)

    def run(*arguments: str | Path) -> Said:
        capsys.readouterr()
        try:
            code = cli.main([str(item) for item in arguments])
        except SystemExit as end:  # how argparse leaves
            code = int(end.code or 0)
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return code, out, err

    return run


def json_lines(text: str) -> list[dict[str, Any]]:
    return [json.loads(line, parse_constant=pytest.fail) for line in text.splitlines()]


# Help


@pytest.mark.parametrize("columns", ["60", "80", "200"])
@pytest.mark.parametrize("command", [None, *(name for name in COMMANDS if name != "simulate")])
def test_help_fits_the_terminal_and_has_an_example_and_exit_codes(
    said: Callable[..., Said], monkeypatch: pytest.MonkeyPatch, command: str | None, columns: str
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    code, out, _ = said(*([command] if command else []), "--help")
    assert code == CODE_OK
    assert max(map(len, out.splitlines())) <= int(columns)
    assert "exit codes:" in out
    if command is None:
        assert all(re.search(rf"(?m)^ +{name} ", out) for name in COMMANDS)
        assert "not a certified safety function" in re.sub(r"\s+", " ", out)
    else:
        assert f"example:\n  curehold {command}" in out


def test_the_simulator_tells_its_own_help(tmp_path: Path) -> None:
    told = process("simulate", "--help", home=tmp_path)
    assert told.returncode == CODE_OK
    assert "nothing is heated" in told.stdout
    assert "xample" in told.stdout


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["cure"],
        ["answer", "bay-2", "reset"],
        ["answer", "bay-2", "start"],
        ["export"],
        ["alarms", "--most", "0"],
        ["alarms", "--run", "-1"],
        ["export", "1.5"],
    ],
)
def test_words_that_make_no_command_are_bad_input(
    said: Callable[..., Said], words: list[str]
) -> None:
    code, out, err = said(*words)
    assert (code, out) == (CODE_BAD, "")
    assert err


# Configuration


@pytest.mark.parametrize(
    "words",
    [
        ["supervise"],
        ["check"],
        ["check", "--offline"],
        ["status"],
        ["watch"],
        ["answer", "bay-2", "seen"],
        ["runs"],
        ["alarms"],
        ["export", "1"],
        ["replay", "1"],
    ],
    ids=" ".join,
)
def test_every_command_tells_every_mistake_of_a_bad_configuration(
    said: Callable[..., Said], tmp_path: Path, words: list[str]
) -> None:
    bad = shop(tmp_path, **{"set_c = 140.0": "set_c = 500.0", "port = 502": "port = 0"})
    code, out, err = said(*words, "--config", bad)
    assert (code, out) == (CODE_BAD, "")
    assert err.splitlines() == [
        "shop.toml: links.modules.port = 0: give at least 1",
        "shop.toml: rigs.bay-2.facts.set_c = 500.0: give at most 180",
    ]


def test_the_configuration_is_found_by_option_environment_or_place(
    said: Callable[..., Said], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, _, err = said("status")
    assert err.startswith("/etc/curehold/curehold.toml: cannot be read") or "no daemon" in err
    monkeypatch.setenv("CUREHOLD_CONFIG", str(tmp_path / "none.toml"))
    code, _, err = said("status")
    assert code == CODE_BAD
    assert err.startswith(f"{tmp_path}/none.toml: cannot be read: No such file or directory;")
    code, _, err = said("status", "--config", shop(tmp_path))
    assert code == CODE_CANNOT
    # Both places of `supervise` take the file.
    for words in (["supervise", "none.toml"], ["supervise", "--config", "none.toml"]):
        code, _, err = said(*words)
        assert (code, err[:9]) == (CODE_BAD, "none.toml")


def test_a_missing_or_open_password_file_is_told_before_anything_starts(
    said: Callable[..., Said], tmp_path: Path
) -> None:
    config = shop(tmp_path)
    for words in (["supervise"], ["watch"]):
        code, out, err = said(*words, "--config", config)
        assert (code, out) == (CODE_BAD, "")
        assert err.startswith(f"mqtt.password_file {tmp_path}/curehold.password: No such file")
    secret = tmp_path / "curehold.password"
    secret.write_text("secret\n")
    secret.chmod(0o644)
    code, _, err = said("watch", "--config", config)
    assert code == CODE_BAD
    assert "everyone on this computer may use it" in err


# check


@pytest.mark.usefixtures("installed")
def test_check_offline_leaves_the_wires_alone(said: Callable[..., Said], tmp_path: Path) -> None:
    assert said("check", "--offline", "--config", shop(tmp_path)) == (
        CODE_OK,
        "Configuration is right: 1 rig(s), 1 link(s).\n",
        "",
    )
    code, out, _ = said("check", "--offline", "--json", "--config", shop(tmp_path))
    assert (code, json_lines(out)) == (
        CODE_OK,
        [{"configuration": "right", "rigs": 1, "links": 1, "faults": []}],
    )


def on_the_wire() -> dict[tuple[int, str, int], int]:
    """The example's modules, cold and empty, as they answer. Invented."""
    values: dict[tuple[int, str, int], int] = {}
    values |= {(1, "input", number): 215 for number in range(3)}
    values |= {(2, "input", number): 0 for number in range(6)}
    values |= {(3, "discrete", number): 0 for number in range(8)}
    values |= {(3, "coil", number): 0 for number in range(5)}
    return values


@pytest.mark.usefixtures("installed")
async def test_check_reads_every_channel_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fake = FakeServer(on_the_wire())
    fake.values[1, "input", 1] = 32767
    await fake.start()
    try:
        config = shop(
            tmp_path, **{'"192.0.2.10"': '"127.0.0.1"', "port = 502\n": f"port = {fake.port}\n"}
        )
        words = ["check", "--config", str(config)]
        assert await asyncio.to_thread(cli.main, words) == CODE_FOUND
        out = capsys.readouterr().out
        assert await asyncio.to_thread(cli.main, [*words, "--json"]) == CODE_FOUND
        rows = json_lines(capsys.readouterr().out)
        fake.values[1, "input", 1] = 210
        assert await asyncio.to_thread(cli.main, words) == CODE_OK
        assert "19 read, all good." in capsys.readouterr().out
    finally:
        await fake.stop()
    assert out.startswith("BAY 2 (bay-2)\nchannel ")
    assert re.search(r"(?m)^pad_inner_c +21\.5 °C +good +modules +1 +0$", out)
    assert re.search(r"(?m)^pad_outer_c +- +open circuit +modules +1 +1$", out)
    assert re.search(r"(?m)^heat_permit +off +good +modules +3 +0$", out)
    assert "19 read, 1 of them not good." in out
    assert max(map(len, out.splitlines())) <= 80
    by_name = {row["channel"]: row for row in rows}
    assert by_name["pad_inner_c"]["value"] == 21.5
    assert by_name["pad_outer_c"]["value"] is None
    assert by_name["pad_outer_c"]["reason"] == "open_circuit"


@pytest.mark.usefixtures("installed")
def test_check_of_a_module_that_is_not_there_ends_and_says_so(
    said: Callable[..., Said], tmp_path: Path
) -> None:
    config = shop(tmp_path, **{'"192.0.2.10"': '"127.0.0.1"', "port = 502\n": "port = 9\n"})
    code, out, _ = said("check", "--config", config)
    assert code == CODE_FOUND
    assert "link down" in out
    assert "19 read, 19 of them not good." in out


def test_check_says_what_it_can_do_about_the_heat(tmp_path: Path) -> None:
    text = EXAMPLE
    path = tmp_path / "shop.toml"
    for cut, told in (
        ((), "Heat: this program can take it away"),
        (("outputs.heat_permit",), "WATCH-ONLY: no heat_permit relay is configured"),
        (
            ("outputs.heat_permit", "channels.start_button"),
            "WATCH-ONLY: no heat_permit relay and no start_button is configured",
        ),
    ):
        shorter = text
        for section in cut:
            shorter = re.sub(rf"\[rigs\.bay-2\.{section}\][^\[]*", "", shorter)
        path.write_text(shorter)
        assert heat_words(load(path).rigs[0]).startswith(told)


def test_packages_from_elsewhere_are_told(
    said: Callable[..., Said], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check_module, "misplaced_packages", lambda: ["package rules comes from X"])
    code, _, err = said("check", "--offline", "--config", shop(tmp_path))
    assert (code, err) == (CODE_FOUND, "package rules comes from X\n")
    assert all("curehold" in fault for fault in misplaced_packages())


# The daemon's socket


def test_without_a_daemon_status_and_answer_cannot(
    said: Callable[..., Said], tmp_path: Path
) -> None:
    config = shop(tmp_path)
    for words in (["status"], ["status", "--json"], ["answer", "bay-2", "seen"]):
        code, out, err = said(*words, "--config", config)
        assert (code, out) == (CODE_CANNOT, "")
        assert err == (
            f"{tmp_path}/control.sock: no daemon answers there; "
            "start it: curehold supervise CONFIGURATION\n"
        )


async def carried_out(rig: str, command: Command) -> CommandAnswered:
    return CommandAnswered(
        command.id, command.verb, command.who, command.via, command.tag, True, "noted"
    )


async def with_daemon(path: Path, *words: list[str]) -> list[int]:
    """Exit codes of commands, one after another, with a control server at the path."""
    server = ControlServer(path, lambda: [state_of("bay-2")], carried_out, VirtualClock())
    task = asyncio.create_task(server.run())
    try:
        async with asyncio.timeout(10):
            while not path.exists():  # noqa: ASYNC240 - one look at a local file
                await asyncio.wait((task,), timeout=0.005)
            return [await asyncio.to_thread(cli.main, one) for one in words]
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def test_status_and_answer_talk_to_the_daemon(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = str(shop(tmp_path))
    codes = await with_daemon(
        tmp_path / "control.sock",
        ["status", "--config", config],
        ["status", "--json", "--config", config],
        ["answer", "bay-2", "note", "--text", "valve changed", "--config", config],
        ["answer", "bay-2", "note", "--text", "valve changed", "--json", "--config", config],
        ["answer", "bay-9", "seen", "--config", config],
    )
    lines = capsys.readouterr().out.splitlines()
    expected = CODE_FOUND if state_of("bay-2").alarms else CODE_OK
    assert codes == [expected, expected, CODE_OK, CODE_OK, CODE_FOUND]
    states = [json.loads(line) for line in lines if line.startswith('{"schema')]
    assert [state["rig"] for state in states] == ["bay-2"]
    assert "noted" in lines
    assert any(line.startswith('{"ok":true,') for line in lines)
    assert lines[-1] == "no such rig: 'bay-9'; there are: bay-2"


async def test_what_is_no_daemon_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = str(shop(tmp_path))
    for nonsense in (b"hello\n", b'{"ok": true}\n', b'{"ok": true, "rigs": [{}]}\n', b"[]\n"):

        async def serve(
            reader: asyncio.StreamReader, writer: asyncio.StreamWriter, told: bytes = nonsense
        ) -> None:
            await reader.readline()
            writer.write(told)
            writer.close()

        path = tmp_path / "control.sock"
        server = await asyncio.start_unix_server(serve, path)
        try:
            code = await asyncio.to_thread(cli.main, ["status", "--config", config])
        finally:
            server.close()
            await server.wait_closed()
            path.unlink()
        out, err = capsys.readouterr()
        assert (code, out) == (CODE_CANNOT, "")
        assert err.startswith(f"{path}: ")


def test_watch_needs_a_broker_and_a_rig_that_is_there(
    said: Callable[..., Said], tmp_path: Path
) -> None:
    secret = tmp_path / "curehold.password"
    secret.write_text("secret\n")
    secret.chmod(0o600)
    config = shop(tmp_path, **{"port = 1883": "port = 9"})
    code, _, err = said("watch", "--rig", "bay-9", "--config", config)
    assert (code, err) == (CODE_BAD, "no rig bay-9: there are bay-2\n")
    code, _, err = said("watch", "--config", config)
    assert code == CODE_CANNOT
    assert err.startswith("the broker at 127.0.0.1:9 cannot be followed")
    config.write_text(re.sub(r"\[mqtt\][^\[]*", "", config.read_text()))
    code, _, err = said("watch", "--config", config)
    assert (code, err) == (CODE_BAD, "shop.toml: mqtt: missing; `watch` follows the broker\n")


# Records


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a configuration and the record of one short, aborted run."""
    home = tmp_path_factory.mktemp("recorded")
    shop(home)
    asyncio.run(_record(home / "curehold.db"))
    return home


async def _record(path: Path) -> None:
    limits = limits_with()
    story = Story(limits).run(65)
    story.press("start_button").run(60, pad_inner_c=40.0, pad_outer_c=40.0)
    story.run(20, bag_inner_kpa=60.0, bag_outer_kpa=60.0)
    story.set(pins_in=0.0).run(5)
    story.set(pins_in=1.0).run(30, bag_inner_kpa=0.0, bag_outer_kpa=0.0).run(90)
    limits_json = limits.model_dump_json()
    limits_hash = hashlib.sha256(limits_json.encode()).hexdigest()
    store = await Store.open(path)
    try:
        store.register_rig(
            "bay-2",
            limits_json=limits_json,
            rules_version="1",
            software_version="0.1.0",
        )
        state = State()
        for told in story.frames:
            before, frame = state, replace(told, limits_hash=limits_hash)
            state, decision = step(limits, state, frame)
            opens = any(isinstance(event, RunOpened) for event in decision.events)
            store.append("bay-2", frame, decision, opening=dump(before) if opens else None)
            if frame.seq % 10 == 0:
                await store.flush()
        await store.flush()
    finally:
        await store.close()


@pytest.fixture
def home(recorded: Path, tmp_path: Path) -> Path:
    """A copy of the record, so that a test may harm it."""
    place = tmp_path / "home"
    shutil.copytree(recorded, place)
    return place


def test_runs_lists_the_run(said: Callable[..., Said], home: Path) -> None:
    code, out, _ = said("runs", "--config", home / "shop.toml")
    assert code == CODE_OK
    head, row = out.splitlines()
    assert head.split() == ["run", "rig", "opened", "(UTC)", "outcome", "hold"]
    assert row.split()[:3] == ["1", "bay-2", "2026-03-14"]
    code, out, _ = said("runs", "--json", "--config", home / "shop.toml")
    assert [line["id"] for line in json_lines(out)] == [1]


def test_alarms_lists_each_change_once(said: Callable[..., Said], home: Path) -> None:
    config = home / "shop.toml"
    code, out, _ = said("alarms", "--config", config)
    assert code == CODE_OK
    assert re.search(r"(?m)^2026-03-14 07:0\d:\d\d +TRIP +release\.pins_under_pressure$", out)
    _, out, _ = said("alarms", "--json", "--config", config)
    told = [(line["rig"], line["tag"], line["state"]) for line in json_lines(out)]
    assert ("bay-2", "release.pins_under_pressure", "trip") in told
    assert len(told) == len(set(told))
    _, run_out, _ = said("alarms", "--run", "1", "--json", "--config", config)
    assert run_out == out
    assert said("alarms", "--rig", "bay-9", "--config", config) == (
        CODE_OK,
        "No alarm is on record here.\n",
        "",
    )


def test_a_stored_run_replays_equal_to_the_bit(said: Callable[..., Said], home: Path) -> None:
    code, out, _ = said("replay", "1", "--config", home / "shop.toml")
    assert code == CODE_OK
    assert out.splitlines()[-1].endswith("equal to the record to the bit.")
    code, out, _ = said("replay", "1", "--json", "--config", home / "shop.toml")
    assert code == CODE_OK
    lines = json_lines(out)
    assert "run_opened" in [line["event"] for line in lines if line["t_s"] == 0.0]
    assert all({"t_s", "time_utc", "event"} <= line.keys() for line in lines)


def test_an_export_can_be_replayed_as_a_trace(said: Callable[..., Said], home: Path) -> None:
    config = home / "shop.toml"
    code, _, err = said("export", "1", "--out", home / "run.csv", "--config", config)
    assert code == CODE_OK
    rows = list(csv.DictReader(io.StringIO((home / "run.csv").read_text())))
    assert err == f"{len(rows)} rows written to {home}/run.csv\n"
    assert {row["phase"] for row in rows} >= {"preheat", "inflation"}
    code, out, _ = said("replay", home / "run.csv", "--json")
    assert code == CODE_OK
    tags = {line["tag"] for line in json_lines(out) if line["event"] == "alarm"}
    assert "release.pins_under_pressure" in tags


def test_an_export_as_json_has_run_frames_and_events(said: Callable[..., Said], home: Path) -> None:
    config = home / "shop.toml"
    code, out, _ = said("export", "1", "--format", "jsonl", "--config", config)
    assert code == CODE_OK
    lines = json_lines(out)
    assert lines[0]["kind"] == "run"
    assert {line["kind"] for line in lines} == {"run", "frame", "event"}
    assert said("export", "1", "--json", "--config", config)[1] == out


@pytest.mark.parametrize("words", [["export", "7"], ["replay", "7"], ["alarms", "--run", "7"]])
def test_an_unknown_run_says_which_there_are(
    said: Callable[..., Said], home: Path, words: list[str]
) -> None:
    assert said(*words, "--config", home / "shop.toml") == (
        CODE_BAD,
        "",
        "no run 7: runs go from 1 to 1\n",
    )


@pytest.mark.parametrize("words", [["export"], ["replay"], ["alarms", "--run"]])
def test_a_number_that_no_run_can_have_is_told(
    said: Callable[..., Said], home: Path, words: list[str]
) -> None:
    code, out, err = said(*words, "9" * 23, "--config", home / "shop.toml")
    assert (code, out) == (CODE_BAD, "")
    assert err == f"{'9' * 20} is no number of a run; `curehold runs` lists them\n"


RECORD_WORDS = (["runs"], ["alarms"], ["export", "1"], ["replay", "1"])


@pytest.mark.parametrize("words", RECORD_WORDS, ids=lambda words: words[0])
def test_a_missing_or_damaged_store_is_told(
    said: Callable[..., Said], home: Path, words: list[str]
) -> None:
    config = home / "shop.toml"
    (home / "curehold.db").write_bytes(b"no database at all" * 100)
    code, out, err = said(*words, "--config", config)
    assert (code, out) == (CODE_CANNOT, "")
    assert err.startswith(f"{home}/curehold.db: ")
    (home / "curehold.db").unlink()
    code, out, err = said(*words, "--config", config)
    assert (code, out) == (CODE_CANNOT, "")
    assert "there is no store" in err


def test_an_export_that_cannot_be_written_is_told(said: Callable[..., Said], home: Path) -> None:
    code, _, err = said(
        "export", "1", "--out", home / "none" / "x.csv", "--config", home / "shop.toml"
    )
    assert (code, err) == (CODE_CANNOT, f"{home}/none/x.csv: No such file or directory\n")


# Traces


def test_a_trace_is_judged_without_any_configuration(said: Callable[..., Said]) -> None:
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


def test_a_trace_is_judged_by_the_rig_that_is_named(
    said: Callable[..., Said], tmp_path: Path
) -> None:
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


def test_a_bad_trace_is_bad_input_and_nothing_is_judged(
    said: Callable[..., Said], tmp_path: Path
) -> None:
    (tmp_path / "bad.csv").write_text("time_s,pad_inner_c\n0,x\n0,20\n")
    code, out, err = said("replay", "bad.csv", "--json")
    assert (code, out) == (CODE_BAD, "")
    assert err.startswith("bad.csv:2: pad_inner_c = 'x'")
    code, _, err = said("replay", "none.csv")
    assert (code, err) == (CODE_BAD, "none.csv: cannot be read: No such file or directory\n")


# Output


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


@pytest.mark.parametrize("columns", ["60", "80"])
def test_replays_and_alarms_fit_the_terminal(
    said: Callable[..., Said], home: Path, monkeypatch: pytest.MonkeyPatch, columns: str
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    for words in (["replay", TRACE], ["alarms", "--config", home / "shop.toml"]):
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


def test_every_command_and_option_is_documented(said: Callable[..., Said]) -> None:
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    for command in COMMANDS:
        assert f"\n## {command}\n" in text
        section = text.split(f"\n## {command}\n")[1].split("\n## ")[0]
        assert f"    curehold {command}" in section
        if command == "simulate":
            continue
        _, out, _ = said(command, "--help")
        options = set(re.findall(r"--[a-z-]+", out.split("example:")[0])) - {"--help", "--config"}
        assert options <= set(re.findall(r"--[a-z-]+", section)), command

"""The command line: exit codes, JSON, help, and no traceback whatever is asked."""

import asyncio
import json
import re
from pathlib import Path

import pytest

from daemon import cli
from daemon.config import load
from daemon.control import ControlServer
from daemon.tools import check as check_module
from daemon.tools.check import heat_words, misplaced_packages
from drivers.linux_iio.fake import FakeSysfs
from drivers.modbus.fake import FakeServer, Fault
from rules.events import CommandAnswered
from rules.frame import Command
from tests.e2e.mqtt_link import state as state_of
from tests.unit.command_line import (
    CODE_BAD,
    CODE_CANNOT,
    CODE_FOUND,
    CODE_OK,
    COMMANDS,
    EXAMPLE,
    ROOT,
    Console,
    console,
    json_lines,
    process,
    quiet_logs,
    shop,
)
from tests.virtual_clock import VirtualClock

NARROW = 50  # columns
ALARM_WORDS = ("seen", "going", "quiet", "out-of-service", "in-service", "note", "journal")


@pytest.fixture
def said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Console:
    return console(tmp_path, capsys, monkeypatch)


@pytest.fixture
def installed(monkeypatch: pytest.MonkeyPatch) -> None:
    """As in an environment of its own, also where the tests run without one."""
    monkeypatch.setattr(check_module, "misplaced_packages", list)


@pytest.fixture
def secret(tmp_path: Path) -> Path:
    """The broker's password file of the example, as it must be."""
    path = tmp_path / "curehold.password"
    path.write_text("secret\n")
    path.chmod(0o600)
    return path


@pytest.mark.parametrize("columns", ["60", "80", "200"])
@pytest.mark.parametrize("command", [None, *(name for name in COMMANDS if name != "simulate")])
def test_help_fits_the_terminal_and_has_an_example_and_exit_codes(
    said: Console, monkeypatch: pytest.MonkeyPatch, command: str | None, columns: str
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


@pytest.mark.parametrize("columns", ["60", "80"])
@pytest.mark.parametrize("word", ALARM_WORDS)
def test_help_of_a_word_to_an_alarm_fits_the_terminal(
    said: Console, monkeypatch: pytest.MonkeyPatch, word: str, columns: str
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    code, out, _ = said("alarms", word, "--help")
    assert code == CODE_OK
    assert max(map(len, out.splitlines())) <= int(columns)
    assert "exit codes:" in out


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
        ["answer", "bay-2", "seen"],
        ["alarms", "reset", "bay-2"],
        ["alarms", "start", "bay-2"],
        ["alarms", "seen"],
        ["alarms", "quiet", "bay-2", "bag.low", "--minutes", "10"],
        ["alarms", "quiet", "bay-2", "bag.low", "--why", "valve"],
        ["alarms", "out-of-service", "bay-2", "bag.low"],
        ["alarms", "out-of-service", "bay-2", "--why", "valve"],
        ["alarms", "note", "bay-2"],
        ["export"],
        ["alarms", "journal", "--most", "0"],
        ["alarms", "journal", "--run", "-1"],
        ["alarms", "journal", "--since", "yesterday"],
        ["alarms", "journal", "--only", "horns"],
        ["export", "1.5"],
    ],
)
def test_words_that_make_no_command_are_bad_input(said: Console, words: list[str]) -> None:
    code, out, err = said(*words)
    assert (code, out) == (CODE_BAD, "")
    assert err


@pytest.mark.parametrize(
    "words",
    [
        ["supervise"],
        ["check"],
        ["check", "--offline"],
        ["status"],
        ["watch"],
        ["runs"],
        ["alarms"],
        ["alarms", "seen", "bay-2"],
        ["alarms", "journal"],
        ["export", "1"],
        ["replay", "1"],
    ],
    ids=" ".join,
)
def test_every_command_tells_every_mistake_of_a_bad_configuration(
    said: Console, tmp_path: Path, words: list[str]
) -> None:
    bad = shop(tmp_path, **{"set_c = 140.0": "set_c = 500.0", "port = 502": "port = 0"})
    code, out, err = said(*words, "--config", bad)
    assert (code, out) == (CODE_BAD, "")
    assert err.splitlines() == [
        "shop.toml: links.modules.port = 0: give at least 1",
        "shop.toml: rigs.bay-2.facts.set_c = 500.0: give at most 180",
    ]


def test_the_configuration_is_found_by_option_environment_or_place(
    said: Console, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, _, err = said("status")
    assert err.startswith("/etc/curehold/curehold.toml: cannot be read") or "no daemon" in err
    monkeypatch.setenv("CUREHOLD_CONFIG", str(tmp_path / "none.toml"))
    code, _, err = said("status")
    assert code == CODE_BAD
    assert err.startswith(f"{tmp_path}/none.toml: cannot be read: No such file or directory;")
    code, _, err = said("status", "--config", shop(tmp_path))
    assert code == CODE_CANNOT
    # Both places of `supervise` and `check` take the file.
    for name in ("supervise", "check"):
        for words in ([name, "none.toml"], [name, "--config", "none.toml"]):
            code, _, err = said(*words)
            assert (code, err[:9]) == (CODE_BAD, "none.toml")


def test_a_missing_or_open_password_file_is_told_before_anything_starts(
    said: Console, tmp_path: Path
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
    secret.chmod(0o600)
    with_tls = {"port = 1883\n": 'port = 8883\ntls_ca_file = "ca.crt"\n'}
    code, _, err = said("watch", "--config", shop(tmp_path, **with_tls))
    assert code == CODE_BAD
    assert err.startswith(f"mqtt.tls_ca_file {tmp_path}/ca.crt: no certificates to be read there")


@pytest.mark.usefixtures("installed", "secret")
def test_check_offline_leaves_the_wires_alone(said: Console, tmp_path: Path) -> None:
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


@pytest.mark.usefixtures("installed")
def test_check_looks_at_the_files_for_the_broker(
    said: Console, tmp_path: Path, secret: Path
) -> None:
    with_tls = {"port = 1883\n": 'port = 8883\ntls_ca_file = "ca.crt"\n'}
    plain = shop(tmp_path).rename(tmp_path / "plain.toml")
    tls = shop(tmp_path, **with_tls)
    assert said("check", "--offline", "--config", plain)[0] == CODE_OK
    code, _, err = said("check", "--offline", "--config", tls)
    assert (code, err[: err.index(": ")]) == (CODE_FOUND, f"mqtt.tls_ca_file {tmp_path}/ca.crt")
    secret.chmod(0o604)
    code, out, err = said("check", "--offline", "--config", plain)
    assert code == CODE_FOUND
    assert out.endswith(" What else is wrong is told above.\n")
    assert f"(mode 0604); run: chmod o= {secret}\n" in err
    secret.unlink()
    code, out, err = said("check", "--offline", "--json", "--config", tls)
    assert code == CODE_FOUND
    assert json_lines(out)[0]["faults"] == err.splitlines()
    assert [line.split()[0] for line in err.splitlines()] == [
        "mqtt.password_file",
        "mqtt.tls_ca_file",
    ]
    plain.write_text(re.sub(r"\[mqtt\][^\[]*", "", plain.read_text()))
    assert said("check", "--offline", "--config", plain)[0] == CODE_OK


@pytest.mark.usefixtures("installed")
async def test_check_with_the_wires_looks_at_the_password_file_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    quiet_logs(monkeypatch)
    fake = FakeServer(on_the_wire())
    await fake.start()
    try:
        config = shop(
            tmp_path, **{'"192.0.2.10"': '"127.0.0.1"', "port = 502\n": f"port = {fake.port}\n"}
        )
        code = await asyncio.to_thread(cli.main, ["check", "--config", str(config)])
    finally:
        await fake.stop()
    out, err = capsys.readouterr()
    assert code == CODE_FOUND
    assert "19 read, all good." in out
    assert err.startswith("mqtt.password_file ")


def on_the_wire() -> dict[tuple[int, str, int], int]:
    """The example's modules, cold and empty, as they answer. Invented."""
    values: dict[tuple[int, str, int], int] = {}
    values |= {(1, "input", number): 215 for number in range(3)}
    values |= {(2, "input", number): 0 for number in range(6)}
    values |= {(3, "discrete", number): 0 for number in range(8)}
    values |= {(3, "coil", number): 0 for number in range(5)}
    return values


@pytest.mark.usefixtures("installed", "secret")
async def test_check_reads_every_channel_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    quiet_logs(monkeypatch)
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
        monkeypatch.setenv("COLUMNS", str(NARROW))
        assert await asyncio.to_thread(cli.main, words) == CODE_FOUND
        narrow = capsys.readouterr().out
        fake.values[1, "input", 1] = 1398
        assert await asyncio.to_thread(cli.main, words) == CODE_OK
        out_well = capsys.readouterr().out
        assert "19 read, all good.\n" in out_well
        # With its tenths: whoever compares with a reference writes down what stands here.
        assert re.search(r"(?m)^pad_outer_c +139\.8 °C ", out_well)
    finally:
        await fake.stop()
    assert out.startswith("BAY 2 (bay-2)\nchannel ")
    assert re.search(r"(?m)^pad_inner_c +21\.5 °C +good +modules +unit 1 input 0$", out)
    assert re.search(r"(?m)^pad_outer_c +- +open circuit +modules +unit 1 input 1$", out)
    assert re.search(r"(?m)^heat_permit +off +good +modules +unit 3 coil 0$", out)
    assert "19 read, 1 of them not good." in out
    assert max(map(len, out.splitlines())) <= 80
    narrow_lines = narrow.splitlines()
    assert max(map(len, narrow_lines)) <= NARROW
    at = next(n for n, line in enumerate(narrow_lines) if line.startswith("pad_inner_c "))
    assert narrow_lines[at].endswith("good")
    assert narrow_lines[at + 1] == "    modules, unit 1 input 0"
    by_name = {row["channel"]: row for row in rows}
    assert by_name["pad_inner_c"]["value"] == 21.5
    assert by_name["pad_outer_c"]["value"] is None
    assert by_name["pad_outer_c"]["reason"] == "open_circuit"


@pytest.mark.usefixtures("installed", "secret")
@pytest.mark.parametrize(("counts", "code"), [(50, CODE_OK), (0, CODE_FOUND)])
async def test_check_tells_what_no_reading_can(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    counts: int,
    code: int,
) -> None:
    quiet_logs(monkeypatch)
    fake = FakeServer(on_the_wire() | {(3, "holding", 16): counts})
    await fake.start()
    watched = (
        f"port = {fake.port}\n"
        'units."3" = {watchdog_register = 16, watchdog_counts_per_s = 10.0, watchdog_s = 5.0}\n'
    )
    config = shop(tmp_path, **{'"192.0.2.10"': '"127.0.0.1"', "port = 502\n": watched})
    try:
        words = ["check", "--config", str(config)]
        assert await asyncio.to_thread(cli.main, words) == code
        out = capsys.readouterr().out
        assert await asyncio.to_thread(cli.main, [*words, "--json"]) == code
    finally:
        await fake.stop()
    remarks = [row["remark"] for row in json_lines(capsys.readouterr().out) if "remark" in row]
    told = (
        "link modules: unit 3: its communication time-out, holding 16, reads 0 (0 s) and should "
        "read 50 (5 s)"
    )
    assert (told in " ".join(out.split())) is (code == CODE_FOUND)
    assert ("What else is wrong is told above." in out) is (code == CODE_FOUND)
    assert len(remarks) == (code == CODE_FOUND)
    assert fake.values[3, "holding", 16] == counts, "check sets nothing"


@pytest.mark.usefixtures("installed", "secret")
async def test_check_ends_also_where_a_link_does_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    quiet_logs(monkeypatch)
    monkeypatch.setattr(check_module, "LINK_S_MAX", 0.05)
    monkeypatch.setenv("COLUMNS", str(NARROW))
    fake = FakeServer(on_the_wire())
    fake.faults = dict.fromkeys((1, 2, 3), Fault.SILENT)
    await fake.start()
    config = shop(
        tmp_path, **{'"192.0.2.10"': '"127.0.0.1"', "port = 502\n": f"port = {fake.port}\n"}
    )
    try:
        code = await asyncio.to_thread(cli.main, ["check", "--config", str(config)])
    finally:
        await fake.stop()
    told = capsys.readouterr().out
    assert max(map(len, told.splitlines())) <= NARROW
    out = " ".join(told.split())
    assert code == CODE_FOUND
    assert "link modules: not read to its end within 0.05 s; " in out
    assert "19 read, 19 of them not good. What else is wrong is told above." in out


@pytest.mark.usefixtures("installed", "secret")
def test_check_of_a_module_that_is_not_there_ends_and_says_so(
    said: Console, tmp_path: Path
) -> None:
    unused = (
        '[links.unused]\nkind = "modbus_tcp"\nhost = "127.0.0.1"\nport = 8\n\n[rigs.bay-2.facts]'
    )
    config = shop(
        tmp_path,
        **{
            '"192.0.2.10"': '"127.0.0.1"',
            "port = 502\n": "port = 9\n",
            "[rigs.bay-2.facts]": unused,
        },
    )
    code, out, _ = said("check", "--config", config)
    assert code == CODE_FOUND
    assert "link unused" not in out
    assert "link down" in out
    assert "\nlink modules: 127.0.0.1:9: no connection within" in out
    assert "19 read, 19 of them not good." in out


BOARD = """
site = "workshop"
[links.board]
kind = "linux_iio"
sysfs = "SYSFS"
[rigs.bay-2.facts]
air_mode = "relieving"
bag_max_kpa = 345.0
cutout_c = 165.0
pads = "inner_only"
[rigs.bay-2.channels.pad_inner_c]
link = "board"
device = "pads"
attribute = "in_voltage0"
sensor = { signal = "thermocouple", type = "K" }
cold_junction = { device = "pads", attribute = "in_temp0" }
correction = { on = 2026-10-01, zero_reads = 1.0 }
[rigs.bay-2.channels.tyre_wall_c]
link = "board"
device = "pads"
attribute = "in_resistance0"
sensor = { signal = "pt100" }
"""


@pytest.mark.usefixtures("installed")
@pytest.mark.parametrize(("terminals", "shown"), [("25000", "25.0 °C"), ("none", "-")])
def test_check_shows_what_a_value_is_made_of(
    said: Console,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    terminals: str,
    shown: str,
) -> None:
    monkeypatch.setenv("COLUMNS", "120")
    tree = FakeSysfs(tmp_path / "sys")
    # Type K, 140 °C less 25 °C: 4.734 mV (NIST ITS-90); a Pt100 of 109.73 ohm: 25 °C (IEC 60751).
    tree.plug(
        "iio",
        0,
        "pads",
        {
            "in_voltage0_raw": "4734",
            "in_voltage0_scale": "0.001",
            "in_resistance0_raw": "10973",
            "in_resistance0_scale": "0.01",
            "in_temp0_input": terminals,
        },
    )
    config = tmp_path / "board.toml"
    config.write_text(BOARD.replace("SYSFS", str(tree.root)))
    code, out, _ = said("check", "--config", config)
    pad = re.search(
        r"(?m)^pad_inner_c +(\S+(?: °C)?) +4\.734 mV at (\S+(?: °C)?) +2026-10-01 ", out
    )
    assert pad is not None, out
    assert pad.groups() == (("139.0 °C" if terminals == "25000" else "-"), shown)
    assert code == (CODE_OK if terminals == "25000" else CODE_FOUND)
    assert re.search(r"(?m)^tyre_wall_c +25\.0 °C +109\.7 ohm +good +board ", out)


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


@pytest.mark.usefixtures("secret")
def test_packages_from_elsewhere_are_told(
    said: Console, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check_module, "misplaced_packages", lambda: ["package rules comes from X"])
    code, _, err = said("check", "--offline", "--config", shop(tmp_path))
    assert (code, err) == (CODE_FOUND, "package rules comes from X\n")
    assert all("curehold" in fault for fault in misplaced_packages())


def test_without_a_daemon_what_asks_it_cannot(said: Console, tmp_path: Path) -> None:
    config = shop(tmp_path)
    for words in (
        ["status"],
        ["status", "--json"],
        ["alarms"],
        ["alarms", "going", "bay-2"],
    ):
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


async def test_status_and_what_people_say_reach_the_daemon(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = str(shop(tmp_path))
    codes = await with_daemon(
        tmp_path / "control.sock",
        ["status", "--config", config],
        ["status", "--json", "--config", config],
        ["alarms", "note", "bay-2", "valve changed", "--config", config],
        ["alarms", "note", "bay-2", "valve changed", "--json", "--config", config],
        ["alarms", "seen", "bay-9", "--config", config],
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


@pytest.mark.usefixtures("secret")
def test_watch_needs_a_broker_and_a_rig_that_is_there(said: Console, tmp_path: Path) -> None:
    config = shop(tmp_path, **{"port = 1883": "port = 9"})
    code, _, err = said("watch", "--rig", "bay-9", "--config", config)
    assert (code, err) == (CODE_BAD, "no rig bay-9: there are bay-2\n")
    code, _, err = said("watch", "--config", config)
    assert code == CODE_CANNOT
    assert err.startswith("the broker at 127.0.0.1:9 cannot be followed")
    config.write_text(re.sub(r"\[mqtt\][^\[]*", "", config.read_text()))
    code, _, err = said("watch", "--config", config)
    assert (code, err) == (CODE_BAD, "shop.toml: mqtt: missing; `watch` follows the broker\n")


def test_every_command_and_option_is_documented(said: Console) -> None:
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    for command in COMMANDS:
        assert f"\n## {command}\n" in text
        section = text.split(f"\n## {command}\n")[1].split("\n## ")[0]
        assert f"    curehold {command}" in section
        if command == "simulate":
            continue
        _, out, _ = said(command, "--help")
        for word in ALARM_WORDS if command == "alarms" else ():
            assert f"    curehold alarms {word}" in section
            out += said("alarms", word, "--help")[1].split("exit codes:")[0]
        out = out.replace(out[out.find("example:") : out.find("exit codes:")], "")
        options = set(re.findall(r"--[a-z-]+", out)) - {"--help", "--config"}
        assert options <= set(re.findall(r"--[a-z-]+", section)), command

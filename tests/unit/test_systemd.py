"""The unit file, judged by systemd's own tools."""

import configparser
import re
import shutil
import subprocess
from pathlib import Path

import pytest

UNIT = Path(__file__).parents[2] / "deploy" / "systemd" / "curehold.service"
EXPOSURE_MAX = 2.0

pytestmark = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is not installed"
)


def _verify(tmp_path: Path, text: str) -> str:
    unit = tmp_path / "curehold.service"
    unit.write_text(text.replace("/opt/curehold/bin/curehold", "/bin/true"))
    result = subprocess.run(
        ["systemd-analyze", "verify", "--recursive-errors=no", str(unit)],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    return result.stdout + result.stderr


def _exposure(unit: Path) -> float:
    shown = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--no-pager", str(unit)],
        capture_output=True,
        text=True,
        timeout=30,
        check=True,
    ).stdout
    found = re.search(r"Overall exposure level for .*: (\d+\.\d)", shown)
    assert found, shown
    return float(found[1])


def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path):
    assert _verify(tmp_path, UNIT.read_text()) == ""


@pytest.mark.parametrize(
    ("right", "wrong", "complaint"),
    [
        ("WatchdogSec=10", "WatchdogSecs=10", "Unknown key 'WatchdogSecs'"),
        ("DevicePolicy=closed", "DevicePolicy=shut", "shut"),
    ],
)
def test_a_slip_in_the_unit_would_be_found(tmp_path, right, wrong, complaint):
    text = UNIT.read_text()
    assert right in text
    assert complaint in _verify(tmp_path, text.replace(right, wrong))


def test_exposure_stays_low():
    assert _exposure(UNIT) <= EXPOSURE_MAX


def test_exposure_without_the_hardening_would_be_noticed(tmp_path):
    bare = tmp_path / "curehold.service"
    hardening = re.compile(r"^(Protect|Restrict|SystemCall|Capability|Device|Private).*\n", re.M)
    bare.write_text(hardening.sub("", UNIT.read_text()))
    assert _exposure(bare) > EXPOSURE_MAX


def test_what_the_daemon_relies_on():
    parser = configparser.RawConfigParser(strict=False)
    parser.optionxform = str
    parser.read(UNIT)
    service = dict(parser["Service"])
    relied_on = {
        "Type": "notify",
        "Restart": "always",
        "RestartPreventExitStatus": "2",
        "WatchdogSec": "10",
        "KillSignal": "SIGTERM",
        "StateDirectory": "curehold",
        "RuntimeDirectory": "curehold",
        "User": "curehold",
    }
    assert {key: service.get(key) for key in relied_on} == relied_on
    # The boot's id comes from /proc/sys, and clock.py asks adjtimex(2).
    assert "ProcSubset" not in service
    assert "ProtectClock" not in service
    assert "SystemCallFilter=adjtimex" in UNIT.read_text()

"""The installer, run for real into a stage: no root, no systemd, no network.

Only the Python packages from elsewhere are lent by the environment of the tests; our
own is built and installed by the script, as on a rig's computer.
"""

import os
import re
import shutil
import stat
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SCRIPT = ROOT / "deploy" / "install.sh"
CONFIGURATION = "etc/curehold/curehold.toml"
RIGHTS = "etc/mosquitto/curehold/acl"
BROKER = "etc/mosquitto/conf.d/curehold.conf"
ACCOUNTS = "etc/mosquitto/curehold/passwords"
PASSWORD = "etc/curehold/curehold.password"
UNIT = "usr/local/lib/systemd/system/curehold.service"
EDITED = (CONFIGURATION, RIGHTS, BROKER, "etc/sysusers.d/curehold.conf")
EXAMPLES = ("etc/curehold/curehold.example.toml", "etc/curehold/curehold.bus.example.toml")
RENEWED = (*EXAMPLES, UNIT)
MADE = "# put here by a person\n"

pytestmark = pytest.mark.skipif(
    shutil.which("mosquitto_passwd", path=f"{os.environ['PATH']}:/usr/sbin") is None,
    reason="mosquitto is not installed",
)


def _install(stage: Path | str, *arguments: str) -> subprocess.CompletedProcess[str]:
    offline = {"PIP_NO_INDEX": "1", "PIP_NO_DEPS": "1", "PIP_NO_BUILD_ISOLATION": "0"}
    return subprocess.run(
        ["sh", SCRIPT, *arguments],
        env={**os.environ, **offline, "DESTDIR": str(stage), "PYTHON": sys.executable},
        cwd="/",
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def _lend_packages(stage: Path) -> None:
    """An environment where the script makes its own, with what it would fetch."""
    home = stage / "opt" / "curehold"
    venv.create(home, symlinks=True, with_pip=False)
    version = f"python{sys.version_info.major}.{sys.version_info.minor}"
    lent = home / "lib" / version / "site-packages" / "lent.pth"
    lent.write_text(sysconfig.get_path("purelib") + "\n")


def _curehold(stage: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [stage / "opt/curehold/bin/curehold", *arguments],
        cwd="/",
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.fixture(scope="module")
def stage(tmp_path_factory) -> Path:
    """Installed once."""
    stage = tmp_path_factory.mktemp("stage")
    _lend_packages(stage)
    done = _install(stage)
    assert done.returncode == 0, done.stderr
    return stage


@pytest.fixture(scope="module")
def again(stage) -> Path:
    """Everything edited by a person, then installed once more."""
    for name in (*EDITED, *RENEWED):
        with (stage / name).open("a") as file:
            file.write(MADE)
    before = (stage / PASSWORD).read_text(), (stage / ACCOUNTS).read_text()
    (stage / "opt/curehold/bin/curehold").unlink()
    done = _install(stage)
    assert done.returncode == 0, done.stderr
    assert ((stage / PASSWORD).read_text(), (stage / ACCOUNTS).read_text()) == before
    return stage


def test_the_installed_example_is_right_by_the_installed_program(stage, tmp_path):
    staged = tmp_path / "staged.toml"
    text = (stage / CONFIGURATION).read_text()
    staged.write_text(text.replace('"/etc/curehold/', f'"{stage}/etc/curehold/'))
    checked = _curehold(stage, "check", "--offline", "--config", str(staged))
    assert (checked.returncode, checked.stderr) == (0, "")
    assert checked.stdout.startswith("Configuration is right: 1 rig(s)")


def test_a_mistake_in_the_installed_configuration_is_told_by_it(stage, tmp_path):
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(
        (stage / CONFIGURATION).read_text().replace("cutout_c = 165", "cutout_c = 150")
    )
    checked = _curehold(stage, "check", "--offline", "--config", str(wrong))
    assert checked.returncode == 2
    assert "less than 5 C below facts.cutout_c" in checked.stderr


def test_what_the_unit_names_is_installed(stage):
    unit = (stage / UNIT).read_text()
    (command,) = re.findall(r"^ExecStart=(.+)$", unit, re.MULTILINE)
    program, word, configuration = command.split()
    assert os.access(stage / program.lstrip("/"), os.X_OK)
    assert word == "supervise"
    assert (stage / configuration.lstrip("/")).is_file()
    (user,) = re.findall(r"^User=(.+)$", unit, re.MULTILINE)
    assert re.search(rf"^u {user} ", (stage / EDITED[3]).read_text(), re.MULTILINE)


def test_the_command_is_on_the_path(stage):
    link = stage / "usr/local/bin/curehold"
    assert str(link.readlink()) == "/opt/curehold/bin/curehold"


def test_the_password_is_where_the_configuration_says_and_nowhere_else(stage):
    text = (stage / CONFIGURATION).read_text()
    (named,) = re.findall(r'^password_file = "(.+)"$', text, re.MULTILINE)
    password = stage / named.lstrip("/")
    assert stat.S_IMODE(password.stat().st_mode) & stat.S_IRWXO == 0
    assert password.read_text().strip()
    assert list((stage / RIGHTS).parent.glob("*.password")) == []
    (account,) = (stage / ACCOUNTS).read_text().splitlines()
    assert account.startswith("curehold:$")


def test_the_broker_finds_its_rights_and_accounts_where_they_lie(stage):
    named = re.findall(r"^(?:password|acl)_file (.+)$", (stage / BROKER).read_text(), re.MULTILINE)
    assert len(named) == 2
    assert all((stage / path.lstrip("/")).is_file() for path in named)


@pytest.mark.parametrize("name", EDITED)
def test_what_a_person_may_have_edited_is_kept(again, name):
    assert (again / name).read_text().endswith(MADE)


@pytest.mark.parametrize("name", RENEWED)
def test_what_belongs_to_the_program_is_renewed(again, name):
    assert MADE not in (again / name).read_text()


def test_the_program_itself_is_renewed(again):
    assert _curehold(again, "--help").returncode == 0


def test_a_lost_password_is_told_and_nothing_is_made_up(again):
    password = again / PASSWORD
    kept = password.read_text()
    password.unlink()
    try:
        done = _install(again)
        assert done.returncode == 1
        assert f"mosquitto_passwd -D {again / ACCOUNTS} curehold" in done.stderr
        assert not password.exists()
    finally:
        password.write_text(kept)


def test_without_a_broker_nothing_of_it_is_installed(stage, tmp_path):
    (tmp_path / "opt").mkdir()
    _lend_packages(tmp_path)
    done = _install(tmp_path, "--no-broker")
    assert done.returncode == 0, done.stderr
    assert not (tmp_path / "etc/mosquitto").exists()
    assert not (tmp_path / PASSWORD).exists()
    assert "[mqtt]" in done.stderr


@pytest.mark.parametrize(
    ("stage", "arguments", "code", "said"),
    [
        ("relative/path", (), 1, "no absolute path"),
        ("/nowhere", ("--prefix",), 2, "usage"),
        ("/nowhere", ("--no-broker", "x"), 2, "usage"),
    ],
)
def test_words_it_does_not_know_install_nothing(stage, arguments, code, said):
    done = _install(stage, *arguments)
    assert done.returncode == code
    assert said in done.stderr
    assert not Path(stage).exists()

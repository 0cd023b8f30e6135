"""Settings of the broker link, its password file, and the accounts script."""

import asyncio
import stat
import subprocess
from pathlib import Path
from shutil import which

import pytest
from pydantic import ValidationError

from daemon.notify.settings import MqttSettings
from daemon.notify.waiting import Backoff, first_of, wait
from tests.virtual_clock import VirtualClock

DEPLOY = Path(__file__).parents[2] / "deploy" / "mosquitto"


def settings(path: Path) -> MqttSettings:
    return MqttSettings(username="curehold", password_file=path)


def test_the_password_is_the_one_line_of_its_file(tmp_path: Path) -> None:
    path = tmp_path / "password"
    path.write_text("a b c\n")
    path.chmod(0o640)
    assert settings(path).password() == "a b c"
    assert MqttSettings().password() is None


def test_a_path_may_come_as_text() -> None:
    found = MqttSettings.model_validate({"username": "curehold", "password_file": "/etc/x"})
    assert found.password_file == Path("/etc/x")


@pytest.mark.parametrize(("mode", "open_to_all"), [(0o644, True), (0o602, True), (0o660, False)])
def test_a_password_open_to_everyone_is_refused(
    tmp_path: Path, mode: int, *, open_to_all: bool
) -> None:
    path = tmp_path / "password"
    path.write_text("secret\n")
    path.chmod(mode)
    if not open_to_all:
        assert settings(path).password() == "secret"
        return
    with pytest.raises(ValueError, match=r"run: chmod o= .*/password") as caught:
        settings(path).password()
    assert "secret" not in str(caught.value)


@pytest.mark.parametrize("content", [b"", b"\n", b"two\nlines\n", b"x" * 1025, b"\xff\n"])
def test_a_file_without_a_password_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "password"
    path.write_bytes(content)
    path.chmod(0o600)
    with pytest.raises(ValueError, match="password_file"):
        settings(path).password()


def test_a_file_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"No such file .* make it with make-users\.sh"):
        settings(tmp_path / "password").password()
    with pytest.raises(ValueError, match="one line"):
        settings(_closed(tmp_path)).password()


def _closed(directory: Path) -> Path:
    directory.chmod(0o700)
    return directory


def test_certificates_that_cannot_be_read_are_said(tmp_path: Path) -> None:
    assert MqttSettings().tls() is None
    path = tmp_path / "ca.crt"
    with pytest.raises(ValueError, match=r"ca\.crt: no certificates to be read there \(No such"):
        MqttSettings(tls_ca_file=path).tls()
    path.write_text("not a certificate")
    with pytest.raises(ValueError, match="give the PEM file of the authority"):
        MqttSettings(tls_ca_file=path).tls()


@pytest.mark.parametrize(
    "given", [{"username": "curehold"}, {"password_file": "/etc/x"}, {"port": 0}, {"host": ""}]
)
def test_settings_that_do_not_fit_are_refused(given: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        MqttSettings.model_validate(given)


@pytest.mark.parametrize(
    ("given", "readable"),
    [
        ({}, False),
        ({"host": "localhost"}, False),
        ({"host": "::1"}, False),
        ({"host": "192.0.2.7"}, True),
        ({"host": "broker.example"}, True),
        ({"host": "broker.example", "tls_ca_file": "/etc/ca"}, False),
    ],
)
def test_it_is_known_when_a_network_can_read_along(
    given: dict[str, object], *, readable: bool
) -> None:
    assert MqttSettings.model_validate(given).readable_on_the_way is readable


def test_waits_double_up_to_the_limit_and_begin_anew() -> None:
    backoff = Backoff(3.0)
    assert [backoff.next_s() for _ in range(5)] == [0.5, 1.0, 2.0, 3.0, 3.0]
    backoff.reset()
    assert backoff.next_s() == 0.5
    assert Backoff(0.1).next_s() == 0.1


async def test_a_wait_is_the_clocks() -> None:
    clock = VirtualClock()
    task = asyncio.create_task(first_of(wait(clock, 5.0), wait(clock, 60.0)))
    await clock.advance(4.9)
    assert not task.done()
    await clock.advance(0.2)
    assert task.done()
    assert clock.sleepers == 0


async def test_an_error_in_a_wait_is_not_lost() -> None:
    async def broken() -> None:
        raise ValueError("told")

    with pytest.raises(ValueError, match="told"):
        await first_of(broken(), wait(VirtualClock(), 60.0))


def make_users(directory: Path, *names: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        ["sh", str(DEPLOY / "make-users.sh"), str(directory), *names],
        capture_output=True,
        text=True,
        check=False,
    )


def test_accounts_are_made_once_and_readable_by_few(tmp_path: Path) -> None:
    home = tmp_path / "accounts"
    assert make_users(home, "curehold", "board").returncode == 0
    before = (home / "board.password").read_text()
    assert make_users(home, "board", "bay-2-phone").returncode == 0
    assert (home / "board.password").read_text() == before
    lines = (home / "passwords").read_text().splitlines()
    assert [line.split(":")[0] for line in lines] == ["curehold", "board", "bay-2-phone"]
    assert before.strip() not in (home / "passwords").read_text()
    assert len({(home / f"{name}.password").read_text() for name in ("curehold", "board")}) == 2
    for name in ("curehold.password", "board.password"):
        assert stat.S_IMODE((home / name).stat().st_mode) == 0o600
    assert stat.S_IMODE((home / "passwords").stat().st_mode) & stat.S_IRWXO == 0
    assert sorted(item.name for item in home.iterdir() if item.name.startswith(".")) == []


@pytest.mark.parametrize("names", [(), ("a b",), ("a:b",), ("",), ("x" * 25,), ("../x",)])
def test_no_account_is_made_of_a_bad_name(tmp_path: Path, names: tuple[str, ...]) -> None:
    found = make_users(tmp_path / "accounts", *names)
    assert found.returncode == 2
    assert found.stderr
    assert not (tmp_path / "accounts").exists()


@pytest.mark.skipif(which("shellcheck") is None, reason="apt install shellcheck")
def test_the_script_is_clean() -> None:
    subprocess.run(["shellcheck", str(DEPLOY / "make-users.sh")], check=True)

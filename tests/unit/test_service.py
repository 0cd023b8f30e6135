"""The notify protocol, against a real datagram socket as sd_notify(3) describes it."""

import os
import socket

import pytest

from daemon import service


@pytest.fixture(params=["path", "abstract"])
def manager(request, tmp_path, monkeypatch):
    """The socket a service manager would listen on, both kinds that sd_notify(3) names."""
    name = f"@curehold-test-{os.getpid()}" if request.param == "abstract" else f"{tmp_path}/notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(name.replace("@", "\0", 1))
        listening.settimeout(5)
        monkeypatch.setenv("NOTIFY_SOCKET", name)
        yield listening


def test_each_message_is_one_datagram(manager):
    assert service.status("1 rig,\n 0 trips  standing")
    assert service.ready()
    assert service.alive()
    assert service.stopping()
    assert [manager.recv(200) for _ in range(4)] == [
        b"STATUS=1 rig, 0 trips standing",  # a second line would be another assignment
        b"READY=1",
        b"WATCHDOG=1",
        b"STOPPING=1",
    ]


def test_a_deaf_manager_does_not_hold_us_up(manager):
    handed_over = sum(service.alive() for _ in range(10_000))
    assert 0 < handed_over < 10_000


@pytest.mark.parametrize("address", [None, "", "notify", "/nowhere/notify", "vsock:2:1234"])
def test_without_a_manager_nothing_happens(monkeypatch, address):
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    if address is not None:
        monkeypatch.setenv("NOTIFY_SOCKET", address)
    assert not service.ready()


@pytest.mark.parametrize(
    ("usec", "pid", "period_s"),
    [
        ("10000000", None, 5.0),  # sd_watchdog_enabled(3): notify at half the time
        ("10000000", "ours", 5.0),
        ("10000000", "1", None),  # meant for another process
        ("0", "ours", None),
        ("-1", "ours", None),
        ("soon", "ours", None),
        (None, "ours", None),
    ],
)
def test_the_watchdog_is_fed_at_half_its_time(monkeypatch, usec, pid, period_s):
    for name, value in (("WATCHDOG_USEC", usec), ("WATCHDOG_PID", pid)):
        monkeypatch.delenv(name, raising=False)
        if value is not None:
            monkeypatch.setenv(name, str(os.getpid()) if value == "ours" else value)
    assert service.watchdog_period_s() == period_s

"""Logs as data: one JSON object a line, secrets hidden, libraries heard, no line worth a rig."""

import errno
import io
import json
import logging
import os
import pty
import re
import signal
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
import structlog

from daemon import logs
from drivers.modbus import PointSettings, TcpSettings, open_link
from drivers.modbus.fake import FakeServer, Fault
from rules.frame import Reason
from tests.unit.command_line import ROOT, process, shop
from tests.virtual_clock import VirtualClock

STATUS_TRIES = 60


@pytest.fixture(autouse=True)
def restored_logging():
    loggers = [logging.getLogger(name) for name in ("", *logs.TOLD_BY_US)]
    levels, handlers = [logger.level for logger in loggers], loggers[0].handlers[:]
    yield
    for logger, level in zip(loggers, levels, strict=True):
        logger.setLevel(level)
    loggers[0].handlers[:] = handlers
    structlog.reset_defaults()


def _configured(**how) -> io.StringIO:
    stream = io.StringIO()
    logs.configure(stream=stream, **how)
    return stream


def _lines(stream: io.StringIO) -> list[dict]:
    return [json.loads(line) for line in stream.getvalue().splitlines()]


def test_an_event_is_one_json_line_with_wall_time_level_and_keys():
    stream = _configured(as_json=True)
    with structlog.contextvars.bound_contextvars(rig="bay-2", run=7):
        structlog.get_logger().warning("link.down", link="modules", silent_s=6.2)
    (line,) = _lines(stream)
    said_at = datetime.fromisoformat(line.pop("timestamp"))
    assert said_at.tzinfo == UTC
    assert line == {
        "event": "link.down",
        "level": "warning",
        "link": "modules",
        "silent_s": 6.2,
        "rig": "bay-2",
        "run": 7,
    }


def test_a_person_gets_plain_lines_without_colour_codes():
    stream = _configured(as_json=False)
    structlog.get_logger().info("store.opened", rows=3)
    assert "store.opened" in stream.getvalue()
    assert "rows=3" in stream.getvalue()
    assert "\x1b" not in stream.getvalue()


@pytest.mark.parametrize(("level", "said"), [("info", True), ("warning", False)])
def test_below_the_level_nothing_is_said(level, said):
    stream = _configured(as_json=True, level=level)
    structlog.get_logger().info("store.opened")
    assert bool(stream.getvalue()) is said


@pytest.mark.parametrize(("severity", "heard"), [(logging.WARNING, True), (logging.INFO, False)])
def test_libraries_are_heard_from_warning_on(severity, heard):
    stream = _configured(as_json=True, level="debug")
    logging.getLogger("somelibrary.wire").log(severity, "lost %d bytes", 5)
    lines = _lines(stream)
    assert bool(lines) is heard
    if heard:
        assert lines[0]["event"] == "lost 5 bytes"
        assert lines[0]["logger"] == "somelibrary.wire"
        assert lines[0]["level"] == "warning"
        assert "timestamp" in lines[0]


@pytest.mark.parametrize("as_json", [True, False])
def test_secrets_are_not_logged_but_their_file_is_named(as_json):
    stream = _configured(as_json=as_json)
    structlog.get_logger().info(
        "broker.connected", password="hunter2", mqtt_secret="hunter3", password_file="/etc/p"
    )
    assert "hunter" not in stream.getvalue()
    assert logs.HIDDEN in stream.getvalue()
    assert "/etc/p" in stream.getvalue()


@pytest.mark.parametrize("as_json", [True, False])
def test_an_exception_keeps_its_trace(as_json):
    stream = _configured(as_json=as_json)
    try:
        int("pump room")
    except ValueError:
        structlog.get_logger().exception("rig.failed")
        logging.getLogger("somelibrary").exception("theirs")
    assert stream.getvalue().count("ValueError: invalid literal") == 2
    if as_json:
        assert [line["event"] for line in _lines(stream)] == ["rig.failed", "theirs"]


def test_set_up_twice_says_everything_once():
    stream = _configured(as_json=True)
    logs.configure(as_json=True, stream=stream)
    logging.getLogger("somelibrary").warning("once")
    structlog.get_logger().warning("once.too")
    assert len(_lines(stream)) == 2


def test_an_unknown_level_is_refused():
    with pytest.raises(ValueError, match="'loud': use one of debug, info, warning, error"):
        logs.configure(as_json=True, level="loud")


async def test_a_silent_unit_is_not_told_by_the_library_as_well():
    fake = FakeServer({(1, "input", 0): 215})
    await fake.start()
    link = open_link(
        "modules",
        TcpSettings(host="127.0.0.1", port=fake.port, timeout_s=0.1),
        {"bay-2/pad_inner_c": PointSettings(unit=1, register=0, table="input", type="int16")},
        {},
        VirtualClock(),
    )
    stream = _configured(as_json=True)
    try:
        await link.poll_once()
        assert link.snapshot()["bay-2/pad_inner_c"].value == 215
        fake.faults[1] = Fault.SILENT
        await link.poll_once()
        assert link.snapshot()["bay-2/pad_inner_c"].reason == Reason.NO_REPLY
    finally:
        await link.close()
        await fake.stop()
    assert stream.getvalue() == ""


class BadStream(io.StringIO):
    """Takes nothing, for a while."""

    error: Exception | None = None

    def write(self, text: str) -> int:
        if self.error is not None:
            raise self.error
        return super().write(text)


@pytest.mark.parametrize(
    "error",
    [
        BrokenPipeError(errno.EPIPE, "the reader is gone"),
        OSError(errno.EIO, "the terminal is gone"),
        OSError(errno.ENOSPC, "the disk is full"),
        ValueError("I/O operation on closed file"),
    ],
    ids=str,
)
def test_a_line_that_cannot_be_written_is_dropped_and_the_next_is_tried(
    error: Exception, monkeypatch: pytest.MonkeyPatch
) -> None:
    stream = BadStream()
    monkeypatch.setattr(sys, "stderr", stream)
    logs.configure(as_json=True)
    stream.error = error
    structlog.get_logger().warning("link.down")
    logging.getLogger("somelibrary").warning("lost")
    _library_says_wrongly()
    stream.error = None
    structlog.get_logger().warning("link.up")
    assert [line["event"] for line in _lines(stream)] == ["link.up"]


def _library_says_wrongly() -> None:
    """Straight to our handler: pytest's own beside it would fail the test."""
    (ours,) = (
        handler
        for handler in logging.getLogger().handlers
        if isinstance(handler.formatter, structlog.stdlib.ProcessorFormatter)
    )
    ours.handle(logging.makeLogRecord({"name": "somelibrary", "msg": "%d lost", "args": ("x",)}))


def test_a_closed_stream_and_none_at_all_are_no_reason_to_fail(monkeypatch):
    stream = _configured(as_json=False)
    stream.close()
    for _ in range(2):
        structlog.get_logger().warning("link.down")
        _library_says_wrongly()
        monkeypatch.setattr(sys, "stderr", None)
        logs.configure(as_json=False)


def test_what_a_library_says_wrongly_is_told_as_ours():
    stream = _configured(as_json=True)
    _library_says_wrongly()
    (line,) = _lines(stream)
    assert (line["event"], line["logger"]) == ("log.unreadable", "somelibrary")
    assert "TypeError: %d format" in line["exception"]


def _pipe() -> tuple[int, int]:
    return os.pipe()


@pytest.mark.parametrize("opened", [_pipe, pty.openpty], ids=["pipe", "terminal"])
def test_the_daemon_goes_on_when_nobody_reads_its_log_any_more(
    tmp_path: Path, opened: Callable[[], tuple[int, int]]
) -> None:
    """Nothing answers on the wire, so that there is something to log all the time."""
    config = shop(tmp_path, **{'"192.0.2.10"': '"127.0.0.1"', "port = 502\n": "port = 9\n"})
    config.write_text(re.sub(r"\[mqtt\][^\[]*", "", config.read_text()))
    reading, writing = opened()
    daemon = subprocess.Popen(
        [sys.executable, "-m", "daemon.cli", "supervise", str(config), "--log", "json"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=writing,
    )
    os.close(writing)
    try:
        assert b"store." in os.read(reading, 1000)
        os.close(reading)
        daemon.send_signal(signal.SIGHUP)  # as the system does when a terminal is closed
        first = _status(daemon, tmp_path, after="")
        assert _status(daemon, tmp_path, after=first) > first, "frames go on"
        daemon.send_signal(signal.SIGTERM)
        assert daemon.wait(30) == 0
    finally:
        daemon.kill()
        daemon.wait(10)


def _status(daemon: "subprocess.Popen[bytes]", home: Path, *, after: str) -> str:
    """The time of the newest state, once it is later than `after`."""
    for _ in range(STATUS_TRIES):
        assert daemon.poll() is None, "the daemon ended"
        told = process("status", "--json", "--config", "shop.toml", home=home)
        at = json.loads(told.stdout)["at"] if told.stdout else ""
        if at > after:
            return str(at)
    pytest.fail(f"no state after {after!r}")


TALKS_A_LOT = """
import logging
from daemon import logs
logs.configure(as_json=True)
for number in range(100):
    logs.log.warning("link.down", number=number)
    logging.getLogger("somelibrary").warning("x" * 40_000)
"""


def test_a_reader_that_reads_no_more_stops_nothing(tmp_path: Path) -> None:
    talker = subprocess.Popen(
        [sys.executable, "-c", TALKS_A_LOT],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert talker.wait(20) == 0
        _, said = talker.communicate()
    finally:
        talker.kill()
        talker.wait(10)
    events = [json.loads(line) for line in said.splitlines()[:2]]
    assert [event["event"][:9] for event in events] == ["link.down", "x" * 9]
    assert 50_000 < len(said) < 66_000, "as much as the pipe took, and the rest is dropped"

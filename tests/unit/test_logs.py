"""Logs as data: one JSON object a line, secrets hidden, libraries heard."""

import io
import json
import logging
from datetime import UTC, datetime

import pytest
import structlog

from daemon import logs


@pytest.fixture(autouse=True)
def restored_logging():
    root = logging.getLogger()
    level, handlers = root.level, root.handlers[:]
    yield
    root.setLevel(level)
    root.handlers[:] = handlers
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

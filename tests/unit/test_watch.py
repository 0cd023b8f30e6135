"""Lines of `watch`, made from the documented messages. All messages are invented."""

import json

import pytest

from daemon.notify.messages import AlarmMessage, EventMessage, StateMessage, ValueNow
from daemon.notify.topics import Topics
from daemon.tools import watch as watch_module
from daemon.tools.watch import JsonWatcher, Watcher, event_words
from rules.events import (
    AlarmChanged,
    AlarmLife,
    Escalated,
    Event,
    Interrupted,
    Nuisance,
    PermitChanged,
    PhaseChanged,
    Pressed,
    Prompted,
    RunClosed,
    RunOpened,
    as_dict,
)
from rules.frame import Quality, Reason
from rules.phases import Phase
from tests.e2e.mqtt_link import state as state_of

TOPICS = Topics("workshop")
AT = "2026-03-14T07:20:00.000Z"


def good(value: float) -> ValueNow:
    return ValueNow(value=value, quality=Quality.GOOD, reason=Reason.NONE)


def state(**changed: object) -> bytes:
    values = {
        "pad_inner_c": good(60.4),
        "pad_outer_c": good(58.6),
        "bag_inner_kpa": good(0.2),
        "bag_outer_kpa": good(-0.3),
    }
    given = {"title": "BAY 2", "at": AT, "values": values, "pretend": False, **changed}
    return state_of("bay-2").model_copy(update=given).model_dump_json().encode()


def hold(minutes: float, at: str = AT) -> bytes:
    return state(phase=Phase.CURE, hold_min=150.0, hold_s=minutes * 60, at=at, run=1)


def event(body: Event, message_id: str = "e-1") -> bytes:
    return (
        EventMessage(
            message_id=message_id,
            site="workshop",
            rig="bay-2",
            run=1,
            seq=1,
            n=0,
            at=AT,
            event=as_dict(body),
        )
        .model_dump_json()
        .encode()
    )


def alarm(
    state: str = "trip", message_id: str = "a-1", follows: str = "", *, told: bool = True
) -> bytes:
    return (
        AlarmMessage(
            message_id=message_id,
            site="workshop",
            rig="bay-2",
            run=1,
            tag="bag.burst",
            state=state,  # type: ignore[arg-type]  # one of the documented ones
            at=AT,
            said="inner air -42 kPa in 3 s",
            text="BAY 2 GO NOW: HEAT CUT. STAND CLEAR. inner air -42 kPa in 3 s. Since 07:20.",
            order=1,
            follows=follows,
            told=told,
        )
        .model_dump_json()
        .encode()
    )


BURST = AlarmChanged("bag.burst", "trip", "inner air -42 kPa in 3 s", "BAY 2 GO NOW: ...", 1)
STATE_TOPIC = TOPICS.state("bay-2")
EVENT_TOPIC = TOPICS.event("bay-2")
ALARM_TOPIC = TOPICS.alarm("bay-2", "bag.burst")


@pytest.fixture
def plain() -> Watcher:
    return Watcher(terminal=False)


@pytest.fixture
def tty() -> Watcher:
    return Watcher(terminal=True)


def lines(capsys: pytest.CaptureFixture[str]) -> list[str]:
    return capsys.readouterr().out.splitlines()


def test_a_rig_is_introduced_once(plain: Watcher, capsys: pytest.CaptureFixture[str]) -> None:
    for _ in range(3):
        plain.take(STATE_TOPIC, state())
    assert lines(capsys) == ["07:20 BAY 2: watching. pads 60/59 C  air 0/0 kPa"]
    Watcher(terminal=False).take(STATE_TOPIC, state(pretend=True))
    assert lines(capsys)[0].startswith("07:20 BAY 2: PRETEND RIG, nothing is heated.")


def test_what_nobody_is_told_is_said_to_be_recorded_only(
    plain: Watcher, capsys: pytest.CaptureFixture[str]
) -> None:
    plain.take(ALARM_TOPIC, alarm("warn", told=False))
    assert lines(capsys) == ["07:20 recorded only bag.burst: inner air -42 kPa in 3 s"]


def test_nobody_came_is_told_with_the_message_that_went_out(
    plain: Watcher, capsys: pytest.CaptureFixture[str]
) -> None:
    nobody = Escalated("bag.low", 1, "nobody has seen it in 5 min", "BAY 2 GO NOW: ...")
    plain.take(EVENT_TOPIC, event(nobody))
    assert lines(capsys) == [
        "07:20 NOBODY CAME for bag.low: nobody has seen it in 5 min",
        "      MESSAGE, by the broker: BAY 2 GO NOW: ...",
    ]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (AlarmLife("bag.low", "quiet", "quiet", "Ada", "mqtt"), ["07:20 ADA: quiet bag.low"]),
        (AlarmLife("bag.low", "quiet_over", "unseen"), []),
        (Nuisance("flood", "begun", "", "11 in 10 min"), ["07:20 FLOOD begun"]),
        (Nuisance("stale", "ended", "bag.low", ""), ["07:20 STALE bag.low ended"]),
    ],
)
def test_an_alarms_life_is_followed_where_people_or_noise_are_in_it(
    plain: Watcher, capsys: pytest.CaptureFixture[str], body: Event, words: list[str]
) -> None:
    plain.take(EVENT_TOPIC, event(body))
    assert lines(capsys) == words


def test_plain_the_hold_gives_a_line_a_quarter(
    plain: Watcher, capsys: pytest.CaptureFixture[str]
) -> None:
    plain.take(STATE_TOPIC, state())
    lines(capsys)
    for minutes in range(151):
        plain.take(STATE_TOPIC, hold(minutes))
    told = lines(capsys)
    assert [line.split("] ")[1].split(" min")[0] for line in told] == [
        "0/150",
        "38/150",
        "75/150",
        "113/150",
        "150/150",
    ]
    assert all(line.startswith("07:20 HOLD [") for line in told)
    # The next run begins anew.
    plain.take(EVENT_TOPIC, event(RunOpened(2, "pads warm up")))
    plain.take(STATE_TOPIC, hold(0))
    assert len(lines(capsys)) == 1


def test_on_a_terminal_the_bar_is_drawn_over_itself(
    tty: Watcher, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    tty.take(STATE_TOPIC, state())
    capsys.readouterr()
    tty.take(STATE_TOPIC, hold(75))
    tty.take(STATE_TOPIC, hold(76))
    out = capsys.readouterr().out
    assert "\n" not in out
    drawn = out.split("\r\x1b[K")[1:]
    assert len(drawn) == 2
    assert all(len(line) <= 59 for line in drawn), "a wrapped line cannot be drawn over"
    tty.take(ALARM_TOPIC, alarm())
    assert capsys.readouterr().out.startswith("\n07:20 TRIP bag.burst"), "the bar stays above"


def test_an_alarm_is_told_once_though_it_comes_as_event_and_as_alarm(
    plain: Watcher, capsys: pytest.CaptureFixture[str]
) -> None:
    for _ in range(2):
        plain.take(EVENT_TOPIC, event(BURST, "e-9"))
        plain.take(ALARM_TOPIC, alarm())
    told = lines(capsys)
    assert told == [
        "07:20 TRIP bag.burst: inner air -42 kPa in 3 s",
        "      MESSAGE, by the broker: BAY 2 GO NOW: HEAT CUT. STAND CLEAR. inner air -42 kPa in "
        "3 s. Since 07:20.",
    ]
    plain.take(ALARM_TOPIC, alarm("clear", "a-2"))
    assert lines(capsys) == ["07:20 OVER bag.burst"]


def test_a_second_copy_is_dropped_by_its_id(
    plain: Watcher, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watch_module, "SEEN_MAX", 2)
    pressed = Pressed("start_button", "heat allowed")
    for message_id in ("e-1", "e-1", "e-2", "e-2", "e-3"):
        plain.take(EVENT_TOPIC, event(pressed, message_id))
    assert lines(capsys) == ["07:20 START pressed: heat allowed"] * 3
    assert len(plain.seen) == 2


def test_it_leaves_after_the_event_it_waits_for(capsys: pytest.CaptureFixture[str]) -> None:
    closed = event(RunClosed(1, "done", 9000.0, 141.0))
    assert Watcher(until="run_closed", terminal=False).take(EVENT_TOPIC, closed)
    assert not Watcher(until="phase", terminal=False).take(EVENT_TOPIC, closed)
    assert not Watcher(terminal=False).take(EVENT_TOPIC, closed)
    assert lines(capsys)[0] == "07:20 RUN 1 DONE: hold 2 h 30 min"


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (Pressed("start_button", "heat allowed"), "START pressed: heat allowed"),
        (Pressed("here_button", "someone is at the rig"), ""),
        (PhaseChanged("fitting", "preheat", "x"), "PREHEAT done: mount clamp, pin it"),
        (PhaseChanged("a_later_phase", "idle", "x"), "a_later_phase"),
        (Prompted("run.unattended", "press here", "t"), "PROMPT: press here"),
        (PermitChanged("latched", "bag.burst: mend it"), "HEAT AWAY: bag.burst: mend it"),
        (PermitChanged("granted", "start pressed"), ""),
        (RunClosed(3, "aborted", 59.0, None), "RUN 3 ABORTED: hold 59 s"),
        (Interrupted(75.0, same_boot=True), "NO FRAMES for 1 min"),
        (BURST, ""),
    ],
)
def test_each_event_in_few_words(told: Event, words: str) -> None:
    assert event_words(dict(as_dict(told))) == words


def test_every_phase_has_words() -> None:
    assert set(watch_module.PHASE_WORDS) == {phase.value for phase in Phase}


@pytest.mark.parametrize(
    "payload", [b"", b"{}", b"\xff", b'{"event": 3}', b"[]", b"null", alarm()[:-9]]
)
def test_what_cannot_be_read_is_said_and_nothing_else_happens(
    plain: Watcher, capsys: pytest.CaptureFixture[str], payload: bytes
) -> None:
    for topic in (STATE_TOPIC, EVENT_TOPIC, ALARM_TOPIC):
        assert not plain.take(topic, payload)
        (line,) = lines(capsys)
        assert line.startswith(f"a message on {topic} cannot be read")


def test_an_event_of_a_later_version_is_passed_over(
    plain: Watcher, capsys: pytest.CaptureFixture[str]
) -> None:
    body = json.loads(event(BURST))
    for unknown in (
        {"event": "later"},
        {},
        {"event": "pressed"},
        {"event": "run_closed", "run": 1},
    ):
        body["event"] = unknown
        body["message_id"] = str(unknown)
        assert not plain.take(EVENT_TOPIC, json.dumps(body).encode())
    assert lines(capsys) == []


def test_a_topic_that_is_not_ours_is_passed_over(
    plain: Watcher, capsys: pytest.CaptureFixture[str]
) -> None:
    for topic in ("", "a/b", TOPICS.run("bay-2")):
        assert not plain.take(topic, state())
    assert lines(capsys) == []


def test_as_json_each_message_is_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    watcher = JsonWatcher(until="run_closed")
    assert not watcher.take(STATE_TOPIC, state())
    assert not watcher.take(ALARM_TOPIC, b"what?")
    assert watcher.take(EVENT_TOPIC, event(RunClosed(1, "done", 9000.0, 141.0)))
    first, second, third = (json.loads(line) for line in lines(capsys))
    assert first["topic"] == STATE_TOPIC
    assert StateMessage.model_validate_json(json.dumps(first["message"])).title == "BAY 2"
    assert second == {"topic": ALARM_TOPIC, "message": None}
    assert third["message"]["event"]["outcome"] == "done"


def test_what_came_with_another_alarm_gives_no_second_order(
    plain: Watcher, capsys: pytest.CaptureFixture[str]
) -> None:
    plain.take(ALARM_TOPIC, alarm(message_id="a-1", follows="pad.sensor"))
    assert lines(capsys) == ["07:20 with it bag.burst: inner air -42 kPa in 3 s"]
    plain.take(ALARM_TOPIC, alarm(message_id="a-2"))
    assert "STAND CLEAR" in capsys.readouterr().out


def test_what_will_happen_gets_a_line_a_sentence_and_no_figures_of_now(
    plain: Watcher, capsys: pytest.CaptureFixture[str]
) -> None:
    said = (
        "Hot by about 08:35. Hold ends about 11:05; heat then goes off by itself. "
        "Press here by 07:30, then every 30 min."
    )
    plain.take(STATE_TOPIC, state())
    capsys.readouterr()
    plain.take(EVENT_TOPIC, event(Prompted("run.outlook", said, said)))
    assert capsys.readouterr().out.splitlines() == [
        "07:20 PROMPT: Hot by about 08:35",
        "      Hold ends about 11:05; heat then goes off by itself",
        "      Press here by 07:30, then every 30 min",
    ]


def test_the_hold_line_fits_eighty_columns(
    plain: Watcher, capsys: pytest.CaptureFixture[str]
) -> None:
    values = {"pad_inner_c": good(140.4), "pad_outer_c": good(139.0)}
    values |= {"bag_inner_kpa": good(209.0), "bag_outer_kpa": good(208.0)}
    off = "2026-03-14T10:32:00.000Z"
    plain.take(
        STATE_TOPIC,
        state(
            phase=Phase.CURE,
            hold_min=150.0,
            hold_s=7199.0,
            run=1,
            values=values,
            heat_off_expected_at=off,
        ),
    )
    line = lines(capsys)[-1]
    assert line.endswith("120/150 min  pads 140/139 C  air 209/208 kPa  off 10:32")
    assert len(line) <= 80, line


def test_leaving_ends_the_line_being_drawn_and_only_that(
    plain: Watcher, tty: Watcher, capsys: pytest.CaptureFixture[str]
) -> None:
    tty.take(STATE_TOPIC, hold(20))
    capsys.readouterr()
    tty.leave()
    assert capsys.readouterr().out == "\n"
    plain.take(STATE_TOPIC, hold(20))
    capsys.readouterr()
    plain.leave()
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize(
    ("body", "shown"),
    [
        (PhaseChanged("preheat", "idle", "start pressed"), False),
        (PhaseChanged("preheat", "idle", "pads warm up, no air"), True),
        (PhaseChanged("done", "release", "empty, hold met"), False),
        (PhaseChanged("release", "cool_down", "cool enough"), True),
        (PermitChanged("withdrawn", "hold complete: leave under air until cool"), False),
        (PermitChanged("withdrawn", "mains lost; press start when it is back"), True),
    ],
)
def test_what_another_line_tells_is_not_told_twice(
    plain: Watcher, capsys: pytest.CaptureFixture[str], body: Event, shown: bool
) -> None:
    plain.take(EVENT_TOPIC, event(body))
    assert bool(lines(capsys)) is shown


@pytest.mark.parametrize(("hold_min", "shown"), [(150.0, False), (None, True)])
def test_the_begin_of_a_hold_is_told_where_no_bar_tells_it(
    plain: Watcher, capsys: pytest.CaptureFixture[str], hold_min: float | None, shown: bool
) -> None:
    plain.take(STATE_TOPIC, state(hold_min=hold_min))
    lines(capsys)
    plain.take(EVENT_TOPIC, event(PhaseChanged("cure", "heat_up", "air held, coldest pad hot")))
    assert bool(lines(capsys)) is shown

"""Messages, their names and ids, and how a decision becomes messages."""

import json
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from daemon.notify import document, messages
from daemon.notify.compose import compose, mark_unstored
from daemon.notify.document import sections
from daemon.notify.messages import (
    AlarmLifeMessage,
    AlarmMessage,
    EscalationMessage,
    EventMessage,
    Happened,
    Message,
    NuisanceMessage,
    RunMessage,
    utc_text,
)
from daemon.notify.topics import Topics
from rules.events import (
    AlarmChanged,
    AlarmLife,
    Decision,
    Escalated,
    Nuisance,
    Outputs,
    PermitChanged,
    PhaseChanged,
    RunClosed,
    from_dict,
)
from rules.frame import Frame, Quality, Reason

ROOT = Path(__file__).parents[2]
WALL_NS = 1_795_597_922_250_999_999  # 2026-11-25T09:12:02.250999999Z, by date(1) from GNU coreutils


def frame(seq: int = 9, wall_ns: int = WALL_NS) -> Frame:
    return Frame(seq=seq, t_ns=5, wall_ns=wall_ns, wall_trusted=True, boot_id="made-up", values={})


def decided(*events: object, run: int = 3) -> Decision:
    return Decision(Outputs(), events, run)  # type: ignore[arg-type]  # the events of each test


TRIP = AlarmChanged("bag.burst", "trip", "inner air -42 kPa in 3 s", "BAY 2 GO NOW ...", 1)


def test_time_is_rfc_3339_and_cut_not_rounded() -> None:
    assert utc_text(WALL_NS) == "2026-11-25T09:12:02.250Z"
    assert utc_text(0) == "1970-01-01T00:00:00.000Z"
    assert utc_text(-1) == "1969-12-31T23:59:59.999Z"


@settings(deadline=None)  # a busy computer is no failure
@given(st.integers(-(2**63), 2**63 - 1))
def test_any_time_a_clock_can_hold_reads_back(wall_ns: int) -> None:
    at = datetime.fromisoformat(utc_text(wall_ns))
    back_ms = (at - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds() * 1000
    assert back_ms == pytest.approx(wall_ns // 1_000_000, abs=0.1)


def test_an_alarm_goes_out_retained_and_as_an_event() -> None:
    alarm, event = compose("workshop", "bay-2", decided(TRIP), frame())
    assert (alarm.topic, alarm.retain) == ("curehold/1/workshop/bay-2/alarm/bag.burst", True)
    assert (event.topic, event.retain) == ("curehold/1/workshop/bay-2/event", False)
    assert alarm.dest == event.dest == "mqtt"
    told = AlarmMessage.model_validate_json(alarm.payload)
    assert (told.state, told.said, told.run, told.order) == ("trip", TRIP.said, 3, 1)
    assert told.at == "2026-11-25T09:12:02.250Z"
    assert not told.unstored
    assert from_dict(EventMessage.model_validate_json(event.payload).event) == TRIP


def test_the_end_of_an_alarm_is_retained_too() -> None:
    clear = AlarmChanged("bag.burst", "clear", "held again", "BAY 2 ...", 0)
    alarm, _ = compose("workshop", "bay-2", decided(clear), frame())
    assert alarm.retain
    assert AlarmMessage.model_validate_json(alarm.payload).state == "clear"


def test_an_alarm_carries_its_page_its_life_and_its_priority() -> None:
    full = AlarmChanged(
        "bag.low", "warn", "178 kPa", "BAY 2 ...", 2, "", "BAY 2 ...\nWhat:", "seen", "low", False
    )
    told = AlarmMessage.model_validate_json(
        compose("workshop", "bay-2", decided(full), frame())[0].payload
    )
    assert (told.page, told.life, told.priority, told.told) == (full.page, "seen", "low", False)
    bare = AlarmMessage.model_validate_json(
        compose("workshop", "bay-2", decided(TRIP), frame())[0].payload
    )
    assert (bare.page, bare.life, bare.priority, bare.told) == ("", "", "", True)


def test_a_change_of_life_is_retained_beside_the_alarm() -> None:
    quiet = AlarmLife("bag.low", "quiet", "quiet", "Ada", "mqtt", "valve", WALL_NS + 600 * 10**9)
    life, event = compose("workshop", "bay-2", decided(quiet), frame())
    assert (life.topic, life.retain) == ("curehold/1/workshop/bay-2/alarm_life/bag.low", True)
    told = AlarmLifeMessage.model_validate_json(life.payload)
    assert (told.change, told.life, told.who, told.via) == ("quiet", "quiet", "Ada", "mqtt")
    assert (told.why, told.until) == ("valve", "2026-11-25T09:22:02.250Z")
    assert from_dict(EventMessage.model_validate_json(event.payload).event) == quiet
    seen = AlarmLife("bag.low", "seen", "seen")
    life, _ = compose("workshop", "bay-2", decided(seen), frame())
    assert AlarmLifeMessage.model_validate_json(life.payload).until is None


def test_an_escalation_and_a_nuisance_have_topics_of_their_own() -> None:
    escalated = Escalated("bag.low", 2, "nobody has come", "BAY 2 ...", "page")
    noise = Nuisance("flood", "begun", "", "11 in 10 min", "BAY 2 ...", "page")
    made = compose("workshop", "bay-2", decided(escalated, noise), frame())
    assert [(item.topic.split("/", 3)[3], item.retain) for item in made] == [
        ("bay-2/escalation", False),
        ("bay-2/event", False),
        ("bay-2/nuisance", False),
        ("bay-2/event", False),
    ]
    told = EscalationMessage.model_validate_json(made[0].payload)
    assert (told.step, told.why, told.text, told.page) == (
        2,
        "nobody has come",
        "BAY 2 ...",
        "page",
    )
    said = NuisanceMessage.model_validate_json(made[2].payload)
    assert (said.kind, said.state, said.tag, said.why) == ("flood", "begun", "", "11 in 10 min")


def test_each_message_has_an_id_of_its_own_made_of_its_place() -> None:
    decision = decided(
        PhaseChanged("cure", "heat_up", "held, hot"), TRIP, RunClosed(3, "aborted", 61.5, None)
    )
    made = compose("workshop", "bay-2", decision, frame(seq=9))
    at = f"{frame(seq=9).wall_ns // 10**9:x}"  # a new store counts from 1 again
    assert [item.message_id for item in made] == [
        f"workshop.bay-2.9.0.{at}",
        f"workshop.bay-2.9.1.{at}.alarm",
        f"workshop.bay-2.9.1.{at}",
        f"workshop.bay-2.9.2.{at}.run",
        f"workshop.bay-2.9.2.{at}",
    ]
    assert all(json.loads(item.payload)["message_id"] == item.message_id for item in made)
    assert compose("workshop", "bay-2", decision, frame(seq=9)) == made


def test_a_closed_run_is_summed_up() -> None:
    closed, _ = compose("workshop", "bay-2", decided(RunClosed(3, "done", 9000.5, 141.2)), frame())
    assert closed.topic == "curehold/1/workshop/bay-2/run"
    assert not closed.retain
    told = RunMessage.model_validate_json(closed.payload)
    assert (told.run, told.outcome, told.hold_s, told.peak_c) == (3, "done", 9000.5, 141.2)


def test_between_runs_there_is_no_run_number() -> None:
    (event,) = compose(
        "workshop", "bay-2", decided(PermitChanged("withheld", "no press"), run=0), frame()
    )
    assert EventMessage.model_validate_json(event.payload).run is None


def test_nothing_happened_nothing_said() -> None:
    assert compose("workshop", "bay-2", decided(), frame()) == ()


def test_what_the_store_could_not_take_says_so_and_is_else_the_same() -> None:
    for item in compose(
        "workshop", "bay-2", decided(TRIP, RunClosed(3, "done", 1.0, 2.0)), frame()
    ):
        marked = mark_unstored(item)
        before, after = json.loads(item.payload), json.loads(marked.payload)
        assert after == {**before, "unstored": True}
        assert (marked.topic, marked.retain) == (item.topic, item.retain)
        assert marked.message_id == item.message_id


@pytest.mark.parametrize(
    "name", ["", "Bay-2", "bay 2", "bay/2", "bay+", "#", "bäy", "b" * 25, "bay-2\n", "daemon"]
)
def test_a_name_that_would_break_a_topic_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match=r"use 1 to 24 small letters|choose another"):
        Topics("workshop").state(name)
    with pytest.raises(ValueError, match=r"site = "):
        Topics(name)


def test_a_name_of_full_length_is_taken() -> None:
    assert Topics("w" * 24).state("b" * 24) == f"curehold/1/{'w' * 24}/{'b' * 24}/state"


def test_every_message_has_a_version_and_every_field_a_meaning() -> None:
    found = [
        kind
        for kind in vars(messages).values()
        if isinstance(kind, type) and issubclass(kind, Message) and kind not in (Message, Happened)
    ]
    assert {type(section.example) for section in sections()} == set(found)
    for kind in found:
        assert kind.model_fields["schema_version"].default == 1
        bare = [name for name, field in kind.model_fields.items() if not field.description]
        assert bare == []


@pytest.mark.parametrize("section", sections(), ids=lambda section: section.title)
def test_messages_are_frozen_and_strict(section: document.Section) -> None:
    example = section.example
    body = example.model_dump(mode="json")
    assert type(example).model_validate_json(json.dumps(body)) == example
    with pytest.raises(ValidationError, match="frozen"):
        example.schema_version = 1  # type: ignore[misc]  # that is the point
    with pytest.raises(ValidationError, match="Extra inputs"):
        type(example).model_validate_json(json.dumps({**body, "surprise": 1}))
    with pytest.raises(ValidationError, match="schema_version"):
        type(example).model_validate_json(json.dumps({**body, "schema_version": 2}))


def test_a_state_refuses_what_is_not_a_number() -> None:
    with pytest.raises(ValidationError, match="finite"):
        messages.ValueNow(value=float("nan"), quality=Quality.GOOD, reason=Reason.NONE)


def test_the_document_is_fresh() -> None:
    made = subprocess.run(
        [sys.executable, "-m", "daemon.notify.document"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert (ROOT / "docs" / "mqtt.md").read_text() == made, (
        "run: python -m daemon.notify.document > docs/mqtt.md"
    )
    for section in sections():
        assert f"## {section.title}\n" in made

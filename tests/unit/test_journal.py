"""What an upset is told by: which part of the record, in which words, and the horn."""

import asyncio
import re
from collections.abc import Sequence
from pathlib import Path

import pytest

from daemon.notify.messages import AlarmNow, OutOfServiceNow, OverNow, StateMessage
from daemon.outputs import sounding
from daemon.store.records import EventRecord
from daemon.tools.alarms import folded, standing_lines
from daemon.tools.journal import NEVER_NS, heard_in, upset
from daemon.tools.journal_words import event_lines, in_short, journal_lines
from rules.events import (
    AlarmChanged,
    AlarmLife,
    CommandAnswered,
    Escalated,
    Event,
    Horn,
    Interrupted,
    Nuisance,
    PermitChanged,
    Pressed,
)
from rules.frame import NS_PER_S, Frame
from rules.hazards.base import Priority
from rules.lifecycle import Life
from tests.e2e.mqtt_link import state
from tests.unit.command_line import (
    CODE_OK,
    Console,
    console,
    json_lines,
    record_run,
    shop,
)

PINS = "run.pins_not_in"
WALL_NS = 1_773_471_600 * NS_PER_S  # 2026-03-14 07:00:00 UTC, by `date -u -d @1773471600`


def record(at_s: int, event: Event, rig: str = "bay-2") -> EventRecord:
    return EventRecord(rig, at_s, 0, 1, WALL_NS + at_s * NS_PER_S, event, "")


def alarm(state: str, tag: str = "bag.low") -> AlarmChanged:
    return AlarmChanged(tag, state, "inner air 140 kPa", "BAY 2 GO NOW ...", 1)


def command(verb: str, *, accepted: bool = True, who: str = "Ada") -> CommandAnswered:
    return CommandAnswered("c-1", verb, who, "mqtt", "bag.low", accepted, f"{verb}: bag.low")


@pytest.mark.parametrize(
    ("changes", "span_s"),
    [
        ([(0, "warn")], (0, None)),
        ([(0, "warn"), (60, "trip"), (90, "warn")], (0, None)),
        ([(0, "warn"), (60, "clear")], (0, 60)),
        ([(0, "warn"), (60, "clear"), (100, "trip"), (130, "warn"), (200, "clear")], (100, 200)),
        ([(0, "warn"), (60, "clear"), (100, "warn")], (100, None)),
        ([], None),
    ],
)
def test_an_upset_is_the_newest_time_that_the_alarm_stood(
    changes: list[tuple[int, str]], span_s: tuple[int, int | None] | None
) -> None:
    found = upset([record(at_s, alarm(state)) for at_s, state in changes])
    if span_s is None:
        assert found is None
        return
    begin_s, end_s = span_s
    end_ns = NEVER_NS if end_s is None else WALL_NS + end_s * NS_PER_S
    assert found == ("bay-2", WALL_NS + begin_s * NS_PER_S, end_ns)


def frames(pattern: Horn, seqs: Sequence[int]) -> list[Frame]:
    """Frames in which the horn reads back as the outputs gate it."""
    return [
        Frame(seq, 0, WALL_NS + seq * NS_PER_S, True, "b", {}, {"horn": sounding(pattern, seq)})
        for seq in seqs
    ]


@pytest.mark.parametrize("pattern", [Horn.COME_WHEN_YOU_CAN, Horn.COME_NOW, Horn.STAND_CLEAR])
def test_the_horn_is_told_by_its_pattern_as_read_back(pattern: Horn) -> None:
    told = [*frames(Horn.SILENT, range(50)), *frames(pattern, range(50, 110))]
    told += frames(Horn.SILENT, range(110, 200))
    told += frames(Horn.COME_NOW, range(200, 230))
    first, second = heard_in("bay-2", told)
    assert (first.pattern, second.pattern) == (pattern, Horn.COME_NOW)
    assert 50 <= (first.first_wall_ns - WALL_NS) / NS_PER_S < 60
    assert 100 <= (first.last_wall_ns - WALL_NS) / NS_PER_S < 110


def test_a_horn_that_was_not_read_back_on_is_not_told() -> None:
    silent = frames(Horn.SILENT, range(100))
    unread = [Frame(1, 0, 0, True, "b", {}, {"horn": None}), Frame(2, 0, 0, True, "b", {})]
    assert list(heard_in("bay-2", silent + unread)) == []


UPSET = [
    record(-5, Pressed("here_button", "someone is at the rig")),
    record(0, alarm("trip")),
    record(1, PermitChanged("latched", "bag.low took heat away", "bag.low")),
    record(70, command("seen")),
    record(70, AlarmLife("bag.low", "seen", "seen", "Ada", "mqtt")),
    record(100, command("going", accepted=False, who="Bo")),
    record(130, command("going", who="Cy")),
    record(700, Pressed("reset_button", "latch ended")),
    record(900, alarm("clear")),
]


def test_in_short_says_how_soon_and_by_whom() -> None:
    (horn,) = heard_in("bay-2", frames(Horn.STAND_CLEAR, range(2, 40)))
    assert list(in_short(UPSET, [horn])) == [
        "In short, bay-2, after the first alarm:",
        "  heat taken away after 1 s",
        "  horn after 2 s",
        "  seen after 1 min, Ada",
        "  going after 2 min, Cy",
        "  pressed at the rig after 12 min, reset button",
    ]


def test_in_short_says_what_nobody_did() -> None:
    assert list(in_short(UPSET[:2], []))[1:] == [
        "  heat taken away not at all",
        "  horn not heard",
        "  seen not at all",
        "  going not at all",
        "  pressed at the rig not at all",
    ]
    assert list(in_short(UPSET[:1], [])) == [], "no alarm, no upset"


def test_rigs_are_told_apart() -> None:
    other = [record(3, alarm("warn"), "bay-1"), record(9, command("seen"), "bay-1")]
    lines = list(in_short([*UPSET, *other], []))
    assert [line for line in lines if line.startswith("In short")] == [
        "In short, bay-2, after the first alarm:",
        "In short, bay-1, after the first alarm:",
    ]
    assert "  seen after 6 s, Ada" in lines
    headings = [line for line in journal_lines([*UPSET, *other], []) if "UTC" in line]
    assert [line.split()[1] for line in headings] == ["bay-2", "bay-1", "bay-2"]


@pytest.mark.parametrize(
    ("event", "lines"),
    [
        (alarm("trip"), ["TRIP bag.low", "inner air 140 kPa"]),
        (
            AlarmChanged("bag.low", "warn", "170 kPa", "", 2, "bag.burst", told=False),
            ["WARN bag.low, with bag.burst, told to nobody", "170 kPa"],
        ),
        (
            AlarmChanged("bag.low", "clear", "", "", 0, life="over_unseen"),
            ["OVER bag.low, not seen by anybody"],
        ),
        (AlarmLife("bag.low", "seen", "seen", "Ada", "mqtt"), []),
        (
            AlarmLife("bag.low", "quiet_over", "unseen", why="valve"),
            ["quiet over bag.low", "valve"],
        ),
        (Escalated("bag.low", 1, "nobody has seen it", ""), ["ESCALATED bag.low, step 1"]),
        (Nuisance("flood", "begun", "", "11 in 10 min"), ["FLOOD begun", "11 in 10 min"]),
        (command("quiet", accepted=False), ["Ada by mqtt: quiet REFUSED"]),
        (Interrupted(45.0, same_boot=True), ["NO FRAMES for 45 s"]),
        (Pressed("here_button", "someone"), ["PRESSED here button: someone"]),
    ],
)
def test_each_event_has_its_words(event: Event, lines: list[str]) -> None:
    assert event_lines(event)[: len(lines)] == lines
    assert bool(event_lines(event)) == bool(lines)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a configuration and the record of one short, aborted run."""
    home = tmp_path_factory.mktemp("recorded")
    shop(home)
    asyncio.run(record_run(home / "curehold.db"))
    return home


@pytest.fixture
def said(
    recorded: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Console:
    monkeypatch.setenv("COLUMNS", "41")
    return console(recorded, capsys, monkeypatch)


def test_the_journal_tells_the_record_in_order(said: Console) -> None:
    code, out, _ = said("alarms", "journal", "--config", "shop.toml")
    assert code == CODE_OK
    assert max(map(len, out.splitlines())) < 41
    assert re.search(rf"(?m)^\d\d:\d\d:\d\d TRIP\s+{PINS}", out)
    flat = " ".join(out.split())
    assert flat.index("PRESSED start button") < flat.index(f"TRIP {PINS}") < flat.index("In short")
    _, whole, _ = said("alarms", "journal", "--json", "--config", "shop.toml")
    events = json_lines(whole)
    assert {"rig", "run", "time_utc", "seq", "n", "event"} <= events[0].keys()
    _, of_run, _ = said("alarms", "journal", "--json", "--run", "1", "--config", "shop.toml")
    assert set(of_run.splitlines()) <= set(whole.splitlines())


@pytest.mark.parametrize(
    ("words", "kinds"),
    [
        (["--only", "alarms"], {"alarm", "alarm_life"}),
        (["--only", "people"], {"pressed"}),
        (["--since", "2026-03-15"], set()),
        (["--around", "bag.high"], set()),
    ],
)
def test_the_journal_leaves_out_what_is_not_asked_for(
    said: Console, words: list[str], kinds: set[str]
) -> None:
    code, out, _ = said("alarms", "journal", *words, "--json", "--config", "shop.toml")
    assert code == CODE_OK
    assert {line["event"] for line in json_lines(out)} <= kinds
    _, plain, _ = said("alarms", "journal", *words, "--config", "shop.toml")
    assert ("Nothing of that is on record." in plain) == (not kinds)


def test_around_an_alarm_the_journal_tells_its_upset(said: Console) -> None:
    _, out, _ = said("alarms", "journal", "--around", PINS, "--json", "--config", "shop.toml")
    lines = json_lines(out)
    assert PINS in [line.get("tag") for line in lines]
    assert "pressed" in [line["event"] for line in lines], "from 10 min before"


def test_the_journal_of_two_spans_is_refused(said: Console) -> None:
    code, out, err = said(
        "alarms", "journal", "--run", "1", "--around", PINS, "--config", "shop.toml"
    )
    assert (code, out, err) == (2, "", "give only one of --run, --since and --around\n")


def now(tag: str, follows: str = "", **changed: object) -> AlarmNow:
    body = {
        "tag": tag,
        "state": "trip",
        "since": "2026-03-14T07:00:00.000Z",
        "said": f"{tag} said",
        "text": f"BAY 2 GO NOW: {tag}.",
        "order": 1,
        "follows": follows,
        "seen_by": None,
        "going_by": None,
        "quiet_until": None,
        "life": Life.UNSEEN,
        "priority": Priority.HIGH,
    }
    return AlarmNow.model_validate(body | changed)


@pytest.mark.parametrize(
    ("alarms", "shown"),
    [
        ([("a.a", "b.b"), ("b.b", "c.c"), ("c.c", "")], [("c.c", ["a.a", "b.b"])]),
        ([("a.a", ""), ("b.b", "x.gone")], [("a.a", []), ("b.b", [])]),
    ],
)
def test_what_came_with_another_is_folded_and_none_is_lost(
    alarms: list[tuple[str, str]], shown: list[tuple[str, list[str]]]
) -> None:
    found = folded([now(tag, follows) for tag, follows in alarms])
    assert [(one.tag, [other.tag for other in brought]) for one, brought in found] == shown


def with_alarms(*alarms: AlarmNow, **changed: object) -> StateMessage:
    return state("bay-2").model_copy(update={"alarms": alarms, **changed})


def test_what_stands_is_listed_with_what_to_do_and_who_knows() -> None:
    over = OverNow(
        tag="bag.high",
        worst="warn",
        since="2026-03-14T06:00:00.000Z",
        over="2026-03-14T06:10:00.000Z",
        said="245 kPa",
    )
    out = OutOfServiceNow(
        tag="pad.mismatch",
        who="Bo",
        via="mqtt",
        why="lead on order",
        since="2026-03-13T07:00:00.000Z",
        until="2026-03-20T07:00:00.000Z",
    )
    quiet = now(
        "bag.low",
        seen_by="Ada",
        life=Life.QUIET,
        quiet_until="2026-03-14T07:20:00.000Z",
        quiet_why="valve",
        attended=True,
        escalated=2,
    )
    message = with_alarms(
        now("bag.burst"),
        now("release.hot", "bag.burst"),
        quiet,
        over_unseen=(over,),
        out_of_service=(out,),
    )
    lines = list(standing_lines(message))
    assert lines[1].startswith("1 TRIP bag.burst, high priority, since ")
    assert lines[2:5] == [
        "  BAY 2 GO NOW: bag.burst.",
        "  NOBODY HAS SEEN IT, nobody is going",
        "  with it release.hot: release.hot said",
    ]
    assert "  seen by Ada, nobody is going, someone pressed at the rig, escalated, step 2" in lines
    text = "\n".join(lines)
    assert re.search(r"  quiet until \d\d:20: valve", text)
    assert re.search(r"OVER, NOT SEEN bag\.high, warn, \d\d:00 to \d\d:10\n  245 kPa", text)
    assert re.search(
        r"OUT OF SERVICE pad\.mismatch, by Bo until 2026-03-20 .*: lead on order", text
    )


def test_nothing_stands_and_a_flood_is_said() -> None:
    assert "No alarm stands." in list(standing_lines(with_alarms()))
    assert any("FLOOD" in line for line in standing_lines(with_alarms(now("a.b"), flood=True)))


def test_what_is_suppressed_says_why_and_gives_no_orders() -> None:
    lines = list(standing_lines(with_alarms(now("bag.low", life=Life.SUPPRESSED))))
    assert "  suppressed by design: not told in this phase" in lines
    assert not any("GO NOW" in line for line in lines)

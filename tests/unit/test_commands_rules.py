"""What may be asked from afar, and what never."""

from collections.abc import Iterator

import pytest

from rules.alarms import NEVER
from rules.commands import IDS_KEPT, carry_out
from rules.events import CommandAnswered, Horn, Level
from rules.frame import NS_PER_S, Command
from rules.lifecycle import Life
from rules.messages import telling_of
from rules.phases import Phase
from tests.unit.alarm_desk import PROMPT, TRIP, WALL_0, WARN, Desk, demo_hazards

WEEK_S = 7 * 24 * 3600


@pytest.fixture
def desk() -> Iterator[Desk]:
    """A high and a low warning stand, and a prompt."""
    with demo_hazards():
        yield Desk().see(demo__high=WARN, demo__low=WARN, demo__medium=PROMPT)


@pytest.mark.proves("start, reset and presence come only from the buttons")
@pytest.mark.parametrize("verb", ["start", "reset", "here", "open", "", "Seen"])
def test_start_reset_and_presence_are_refused(desk, verb):
    before = desk.alarms
    answer = desk.ask(verb, "demo.high", minutes=1.0, text="please")
    assert answer.startswith("refused: ")
    assert answer.endswith("come only from the buttons at the rig")
    assert (desk.alarms, desk.told) == (before, [])
    assert desk.alarms is before


@pytest.mark.parametrize(
    ("verb", "tag", "more", "answer", "life"),
    [
        ("seen", "demo.low", {}, "seen: demo.low", "seen"),
        ("seen", "", {}, "seen: demo.high, demo.low", "seen"),
        ("going", "demo.low", {}, "going: demo.low", "seen"),
        ("quiet", "demo.low", {"minutes": 60.0, "text": "hose"}, "quiet: demo.low", "quiet"),
        (
            "out_of_service",
            "demo.low",
            {"text": "sensor ordered"},
            "out of service: demo.low; a trip speaks and cuts heat all the same",
            "out_of_service",
        ),
        ("note", "", {"text": "x" * 500}, "noted", "unseen"),
    ],
)
def test_carried_out_with_who_and_how_it_came(desk, verb, tag, more, answer, life):
    assert desk.ask(verb, tag, **more) == f"done: {answer}"
    assert desk.life("demo.low") == life
    for event in desk.told:
        assert (event.event, event.change, event.life) == ("alarm_life", verb, life)
        assert (event.who, event.via, event.why) == ("Ada", "socket", more.get("text", ""))


def test_the_answer_repeats_what_was_asked(desk):
    command = Command("id-1", "note", "Ada", "mqtt", 0, "demo.low", text="looks dry")
    telling = telling_of("BAY 2", desk.frame(), watch_only=False)
    _, ids, events = carry_out(desk.limits, desk.alarms, (), command, 0, telling)
    assert ids == ("id-1",)
    assert events == (
        CommandAnswered("id-1", "note", "Ada", "mqtt", "demo.low", True, "noted", "looks dry"),
    )


OUT = {"text": "sensor ordered"}
REFUSED = [
    ("seen", "demo.trips", {}, "demo.trips does not stand now"),
    ("seen", "demo.medium", {}, "demo.medium does not stand now"),
    ("seen", "nonsense", {}, "nonsense does not stand now"),
    ("quiet", "demo.low", {"minutes": 61.0, "text": "hose"}, "quiet needs a reason and"),
    ("quiet", "demo.low", {"minutes": 0.0, "text": "hose"}, "quiet needs a reason and"),
    ("quiet", "demo.low", {"minutes": float("nan"), "text": "hose"}, "quiet needs a reason and"),
    ("quiet", "demo.low", {"minutes": 5.0, "text": " "}, "quiet needs a reason and"),
    ("note", "", {"text": ""}, "a note needs 1 to 500 characters"),
    ("note", "", {"text": "x" * 501}, "a note needs 1 to 500 characters"),
    ("out_of_service", "", OUT, "no such alarm: none named; name one"),
    ("out_of_service", "demo.none", OUT, "no such alarm: demo.none; name one"),
    ("out_of_service", "demo.trips", OUT, "demo.trips only trips, and a trip always speaks"),
    (
        "out_of_service",
        "demo.low",
        {"text": " "},
        "out of service needs a reason, and at most 10080",
    ),
    ("out_of_service", "demo.low", OUT | {"minutes": 10081.0}, "out of service needs a reason"),
    ("out_of_service", "demo.low", OUT | {"minutes": -1.0}, "out of service needs a reason"),
    ("out_of_service", "demo.low", OUT | {"minutes": float("nan")}, "out of service needs"),
    ("in_service", "demo.low", {}, "demo.low is not out of service"),
    ("in_service", "", {}, "what you mean is not out of service"),
]


@pytest.mark.parametrize(("verb", "tag", "more", "answer"), REFUSED)
def test_refused_with_what_would_be_right(desk, verb, tag, more, answer):
    before = desk.alarms
    assert desk.ask(verb, tag, **more).startswith(f"refused: {answer}")
    assert desk.alarms is before
    assert desk.told == []


def put(desk: Desk, life: Life) -> Desk:
    """The high alarm brought to a state of its lifecycle."""
    if life is Life.NORMAL:
        desk.see().ask("seen", "demo.high")
    elif life is Life.SEEN:
        desk.ask("seen", "demo.high", who="Bo")
    elif life is Life.OVER_UNSEEN:
        desk.see()
    elif life is Life.QUIET:
        desk.quiet("demo.high")
    elif life is Life.OUT_OF_SERVICE:
        desk.out("demo.high")
    assert desk.alarms.life_of("demo.high") is life
    return desk


@pytest.mark.parametrize(
    ("life", "verb", "answer"),
    [
        (Life.NORMAL, "seen", "refused: demo.high does not stand now"),
        (Life.SEEN, "seen", "refused: demo.high was seen already by Bo"),
        (Life.SEEN, "going", "done: going: demo.high"),
        (Life.SEEN, "quiet", "done: quiet: demo.high"),
        (Life.OVER_UNSEEN, "seen", "done: seen: demo.high"),
        (Life.OVER_UNSEEN, "going", "refused: demo.high is over; say seen"),
        (Life.OVER_UNSEEN, "quiet", "refused: demo.high is over; say seen"),
        (
            Life.OVER_UNSEEN,
            "out_of_service",
            "refused: demo.high is over and was not seen; say seen first",
        ),
        (Life.QUIET, "seen", "refused: demo.high was seen already by Ada and is quiet"),
        (Life.QUIET, "going", "done: going: demo.high"),
        (Life.QUIET, "quiet", "done: quiet: demo.high"),
        (Life.OUT_OF_SERVICE, "seen", "refused: demo.high is out of service and says nothing"),
        (Life.OUT_OF_SERVICE, "quiet", "refused: demo.high is out of service and says nothing"),
        (
            Life.OUT_OF_SERVICE,
            "out_of_service",
            "refused: demo.high is out of service already; put it back in service first",
        ),
        (Life.OUT_OF_SERVICE, "in_service", "done: in service: demo.high"),
    ],
)
def test_what_can_be_asked_in_which_state(desk, life, verb, answer):
    put(desk, life)
    assert desk.ask(verb, "demo.high", minutes=5.0, text="why") == answer


def test_what_is_suppressed_says_nothing_that_could_be_seen():
    with demo_hazards():
        desk = Desk(phase=Phase.PREHEAT).see(demo__phased=WARN)
        answer = desk.ask("seen", "demo.phased")
        assert answer == "refused: demo.phased says nothing in this phase, by design"


def test_a_prompt_where_an_alarm_is_over_is_left_alone(desk):
    desk.see(demo__high=PROMPT)
    prompt = desk.item("demo.high")
    assert desk.ask("seen", "demo.high") == "done: seen: demo.high"
    assert [(event.tag, event.life) for event in desk.told] == [("demo.high", "normal")]
    assert desk.item("demo.high") is prompt


def test_all_at_once_takes_what_it_can(desk):
    desk.ask("seen", "demo.low")
    assert desk.ask("seen") == "done: seen: demo.high"
    assert desk.ask("seen") == "refused: what stands was seen already by Ada"
    assert desk.see().ask("seen") == "refused: any alarm does not stand now"


def test_the_end_of_the_quiet_is_told_by_the_wall_clock(desk):
    desk.quiet("demo.low", 30)
    assert desk.told[0].until_ns == WALL_0 + round((desk.now_s + 1800) * NS_PER_S)
    assert desk.item("demo.low").quiet_why == "busy"


def test_the_same_id_twice_is_done_once(desk):
    telling = telling_of("BAY 2", desk.frame(), watch_only=False)
    first = Command("id-1", "seen", "Ada", "mqtt", 0, "demo.low")
    alarms, ids, _ = carry_out(desk.limits, desk.alarms, (), first, 0, telling)
    second = Command("id-1", "quiet", "Bo", "mqtt", 0, "", minutes=5.0, text="x")
    later, ids, (answer,) = carry_out(desk.limits, alarms, ids, second, 0, telling)
    assert later is alarms
    assert (answer.accepted, answer.answer, ids) == (True, "already done", ("id-1",))


def test_ids_are_kept_in_a_bounded_list_newest_last(desk):
    telling = telling_of("BAY 2", desk.frame(), watch_only=False)
    ids: tuple[str, ...] = ()
    for number in range(IDS_KEPT + 10):
        command = Command(f"id-{number}", "seen", "Ada", "mqtt", 0)
        _, ids, _ = carry_out(desk.limits, desk.alarms, ids, command, 0, telling)
    assert len(ids) == IDS_KEPT
    assert ids[-1] == f"id-{IDS_KEPT + 9}"


def test_out_of_service_a_warning_is_recorded_and_says_nothing(desk):
    desk.out("demo.high")
    assert "OUT OF SERVICE" in desk.told[0].text
    assert desk.told[0].until_ns == WALL_0 + round((desk.now_s + WEEK_S) * NS_PER_S)
    desk.out("demo.low")
    assert desk.on().sounds is Horn.SILENT
    assert desk.see().short() == [("demo.high", "-clear"), ("demo.low", "-clear")]
    assert [event.life for event in desk.told] == ["out_of_service"] * 2
    assert desk.see(demo__high=WARN).short() == [("demo.high", "-warn")]
    assert (desk.told[0].life, desk.sounds) == ("out_of_service", Horn.SILENT)
    assert desk.alarms.tags(Level.WARN) == ("demo.high",), "found all the same"
    assert desk.during(12 * 3600, 600).told == []


def test_a_trip_speaks_also_of_what_is_out_of_service(desk):
    desk.out("demo.high")
    assert desk.see(demo__high=TRIP).short()[0] == ("demo.high", "trip")
    assert (desk.sounds, desk.alarms.tags(Level.TRIP)) == (Horn.COME_NOW, ("demo.high",))
    # It speaks until it is over and seen; then it is out of service as before.
    assert desk.see(demo__high=WARN).short() == [("demo.high", "warn")]
    assert desk.see().told[0].life == "over_unseen"
    assert desk.ask("seen", "demo.high") == "done: seen: demo.high"
    assert desk.told[0].life == desk.life("demo.high") == "out_of_service"
    assert desk.see(demo__high=WARN).short() == [("demo.high", "-warn")]


def test_what_tripped_cannot_be_put_out_of_service(desk):
    desk.see(demo__high=TRIP)
    answer = desk.ask("out_of_service", "demo.high", text="noise")
    assert answer == "refused: demo.high tripped, and a trip always speaks; mend it first"
    desk.see(demo__high=WARN)
    assert desk.ask("out_of_service", "demo.high", text="noise").startswith("refused")


def test_back_in_service_it_speaks_if_it_stands(desk):
    desk.out("demo.high")
    assert desk.ask("in_service", "demo.high", who="Bo") == "done: in service: demo.high"
    assert [(event.change, event.who, event.life) for event in desk.told] == [
        ("in_service", "Bo", "unseen")
    ]
    assert "back in service" in desk.told[0].text
    assert desk.on().short() == [("demo.high", "warn")]
    silent = desk.see().out("demo.medium")
    silent.ask("in_service", "demo.medium")
    assert silent.told[0].life == "normal"
    assert silent.on().told == []


def test_it_comes_back_by_itself_after_a_week_or_sooner(desk):
    desk.out("demo.high", 60).out("demo.medium")
    assert ("demo.high", "in_service") not in desk.during(3590).short()
    told = desk.on(10)
    assert told.short()[:2] == [("demo.high", "in_service"), ("demo.high", "warn")]
    assert (told.told[0].who, told.told[0].why) == (
        "",
        "the time allowed is over; Ada had taken it out: sensor ordered",
    )
    desk.see(WEEK_S - 3600 - 1)
    assert desk.life("demo.medium") == "out_of_service"
    assert desk.see(1).short() == [("demo.medium", "in_service")]
    assert (desk.alarms.out, desk.alarms.next_ns == NEVER) == ((), not desk.alarms.over)


def test_a_trip_over_its_out_of_service_is_not_disturbed_by_going_back(desk):
    desk.out("demo.high").see(demo__high=TRIP)
    desk.ask("seen", "demo.high")
    assert desk.ask("in_service", "demo.high") == "done: in service: demo.high"
    assert desk.told[0].life == "seen"
    assert desk.on().told == []


def test_out_of_service_does_not_touch_a_prompt(desk):
    desk.out("demo.medium")
    assert desk.item("demo.medium").life is Life.NORMAL
    assert desk.see(demo__medium=PROMPT).told[0].event == "alarm"
    assert desk.see(demo__medium=WARN).short() == [("demo.medium", "-warn")]

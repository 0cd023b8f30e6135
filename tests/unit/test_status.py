"""The state of a rig as one message, and as lines for people. Courses are invented."""

import pytest

from daemon.notify.messages import StateMessage
from daemon.status import state_message
from daemon.tools.live import hold_line, measured, status_lines
from rules.frame import NS_PER_S, Command
from rules.limits import LimitsBase
from tests.unit.story import FITTED, WALL_0, Story, limits_with, story_in


def message_of(story: Story, limits: LimitsBase, *, pretend: bool = False) -> StateMessage:
    return state_message(
        "workshop", "bay-2", limits, story.state, story.frames[-1], story.decision, pretend=pretend
    )


def in_hold(hold_min: float | None = 60.0) -> tuple[Story, LimitsBase]:
    story = story_in("cure", 1.0, hold_min=hold_min)
    story.limits = limits_with(facts={"title": "BAY 2", "hold_min": hold_min})
    return story.run(2), story.limits


def text_of(message: StateMessage) -> str:
    return "\n".join(status_lines(message))


def test_between_runs_there_is_no_run_and_no_end_of_heat() -> None:
    limits = limits_with(facts={"title": "BAY 2", "hold_min": 60.0})
    message = message_of(Story(limits=limits).run(10), limits)
    assert (message.run, message.phase, message.permit) == (None, "idle", "withheld")
    assert message.heat_off_expected_at is None
    assert not message.watch_only
    assert "no run" in text_of(message)
    assert "hold [" not in text_of(message)


def test_in_the_hold_it_says_when_heat_is_expected_to_go_off() -> None:
    story, limits = in_hold()
    message = message_of(story, limits)
    assert (message.run, message.phase, message.phase_title) == (1, "cure", "hold")
    frame = story.frames[-1]
    left_s = 3600 - message.hold_s
    expected_ns = frame.wall_ns + round(left_s * NS_PER_S)
    assert message.heat_off_expected_at is not None
    assert message.heat_off_expected_at[:19] == at(expected_ns)
    assert measured(message) == "pads 140/140 C  air 207/207 kPa"
    assert hold_line(message).startswith("hold [")
    assert message.heat_off_expected_at[11:16] in hold_line(message)
    assert message.outputs.heat_permit
    assert f"heat granted: {message.permit_why}" in text_of(message)


def at(wall_ns: int) -> str:
    """UTC by hand: the stories begin at 07:00 on 14 March 2026 and last under a day."""
    minutes, seconds = divmod((wall_ns - WALL_0) // NS_PER_S, 60)
    return f"2026-03-14T{7 + minutes // 60:02d}:{minutes % 60:02d}:{seconds:02d}"


def test_the_phases_begin_is_told_in_wall_time() -> None:
    story = story_in("heat_up", 1.0).run(600, pad_inner_c=140.0, pad_outer_c=140.0).run(300)
    began_s = next(t_s for t_s, event in story.told if getattr(event, "phase", "") == "cure")
    story.run(90)
    assert message_of(story, story.limits).phase_since[:19] == at(
        WALL_0 + round(began_s * NS_PER_S)
    )


def test_without_a_hold_time_no_end_and_no_bar() -> None:
    message = message_of(*in_hold(None))
    assert message.hold_min is None
    assert message.heat_off_expected_at is None
    assert "hold [" not in text_of(message)


def test_alarms_stand_in_order_with_who_has_seen_them() -> None:
    story, limits = in_hold()
    story.run(60, bag_inner_kpa=140.0)
    story.set(pins_in=0.0).run(5)
    seen = Command("c-1", "seen", "Ada", "mqtt", WALL_0, "bag.low")
    quiet = Command("c-2", "quiet", "Ada", "mqtt", WALL_0, "bag.low", 10.0, "going there")
    story.commands += [seen, quiet]
    story.run(5)
    message = message_of(story, limits)
    by_tag = {alarm.tag: alarm for alarm in message.alarms}
    assert [alarm.order for alarm in message.alarms] == sorted(
        alarm.order for alarm in message.alarms
    )
    assert by_tag["bag.low"].state == "trip"
    assert by_tag["bag.low"].seen_by == "Ada"
    assert by_tag["bag.low"].quiet_until is not None
    assert (by_tag["bag.low"].life, by_tag["bag.low"].quiet_why) == ("quiet", "going there")
    assert by_tag["bag.low"].priority == "high"
    assert by_tag["release.pins_under_pressure"].life == "unseen"
    assert by_tag["release.pins_under_pressure"].seen_by is None
    assert message.outputs.beacon_red
    assert message.permit == "latched"
    text = text_of(message)
    assert "TRIP bag.low  seen by Ada" in text
    assert "no alarm" not in text


def test_what_is_over_and_unseen_and_what_is_out_of_service_is_told() -> None:
    story, limits = in_hold()
    out = Command("c-1", "out_of_service", "Ada", "mqtt", WALL_0, "pad.mismatch", 60.0, "lead")
    story.commands.append(out)
    story.run(40, pad_inner_c=156.0, pad_outer_c=156.0).run(
        60, pad_inner_c=140.0, pad_outer_c=140.0
    )
    story.run(120)
    message = message_of(story, limits)
    (over,) = [item for item in message.over_unseen if item.tag == "pad.overtemperature"]
    assert over.worst == "trip"
    assert over.since < over.over
    assert "pad.overtemperature" not in [alarm.tag for alarm in message.alarms]
    (gone,) = message.out_of_service
    assert (gone.tag, gone.who, gone.via, gone.why) == ("pad.mismatch", "Ada", "mqtt", "lead")
    hour_later = f"{int(gone.since[11:13]) + 1:02d}{gone.since[13:16]}"
    assert gone.until[11:16] == hour_later
    assert StateMessage.model_validate_json(message.model_dump_json()) == message


def test_a_prompt_is_no_alarm() -> None:
    story, limits = in_hold()
    story.press("here_button").run(46 * 60)
    assert story.events("prompt")
    message = message_of(story, limits)
    assert message.alarms == ()
    assert "no alarm" in text_of(message)


def test_what_is_not_fitted_or_not_read_is_said_and_never_made_up() -> None:
    limits = limits_with(facts={"title": "BAY 2"})
    story = Story(limits=limits, values={**FITTED, "pad_inner_c": "open_circuit"})
    del story.values["bag_outer_kpa"]
    del story.values["start_button"]
    message = message_of(story.run(3), limits)
    assert message.values["pad_inner_c"].value is None
    assert "bag_outer_kpa" in message.not_fitted
    assert message.watch_only
    text = text_of(message)
    assert "pads open circuit/20 C  air 0 kPa" in text
    assert "WATCH-ONLY: this program has no power over the heat of this rig." in text
    assert "not judged, for it is not fitted: bag_outer_kpa" in text


@pytest.mark.parametrize(
    ("pretend", "first"), [(True, "PRETEND RIG: nothing is heated."), (False, "BAY 2")]
)
def test_a_pretend_rig_says_so_first(pretend: bool, first: str) -> None:
    story, limits = in_hold()
    message = message_of(story, limits, pretend=pretend)
    assert next(iter(status_lines(message))).startswith(first)


def test_a_failing_store_is_said() -> None:
    story, limits = in_hold()
    message = message_of(story, limits)
    assert "RECORDS ARE NOT BEING STORED" not in text_of(message)
    failing = message.model_copy(update={"store_ok": False})
    assert "RECORDS ARE NOT BEING STORED: look at the disk." in text_of(failing)


def test_a_state_survives_the_wire() -> None:
    story, limits = in_hold()
    message = message_of(story, limits)
    assert StateMessage.model_validate_json(message.model_dump_json()) == message


def test_pads_that_are_all_unplugged_are_said_once_and_without_a_unit() -> None:
    limits = limits_with(facts={"title": "BAY 2"})
    unplugged = {"pad_inner_c": "open_circuit", "pad_outer_c": "open_circuit"}
    message = message_of(Story(limits=limits, values={**FITTED, **unplugged}).run(3), limits)
    assert measured(message) == "pads open circuit  air 0/0 kPa"

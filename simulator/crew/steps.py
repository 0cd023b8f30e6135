"""The procedure as tables: what is done by hand when a stage begins, and when it is over."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from simulator.bags import AirMode
from simulator.crew.plan import Skip, Stage
from simulator.panel import Controls, Shown

if TYPE_CHECKING:
    from simulator.crew.person import Crew

EMPTY_KPA = 2.0
UP_WITHIN_KPA = 6.0
AT_TEMPERATURE_C = 120.0
SWITCHES_OFF_AFTER_S = 120.0  # nobody runs to turn a knob when the lamp goes dark
# The crew's watch is not the supervisor's.
GRACE_S = 300.0

_SKIPPED_WHOLE = {Stage.PREHEAT: Skip.PREHEAT, Stage.FEEL_SOFT: Skip.FEEL_SOFT}


def after(stage: Stage, skips: frozenset[Skip]) -> Stage:
    """The stage that comes next for whoever leaves these out."""
    following = _NEXT[stage]
    while _SKIPPED_WHOLE.get(following) in skips:
        following = _NEXT[following]
    return following


def begin(crew: Crew, controls: Controls) -> None:
    """Do what begins the crew's stage."""
    act = _ACTS.get(crew.stage)
    if act is not None:
        act(crew, controls)


def is_over(crew: Crew, now_s: float, shown: Shown) -> bool:
    """The crew's stage is over, by what can be seen."""
    return _OVER[crew.stage](crew, now_s, shown)


def _preheat(crew: Crew, controls: Controls) -> None:
    _plug(crew, controls)
    controls.set_c = crew.plan.preheat_c


def _mount(crew: Crew, controls: Controls) -> None:
    controls.set_c = None
    if crew.habits.unplugs:
        controls.plugged = dict.fromkeys(controls.plugged, False)


def _air_up(crew: Crew, controls: Controls) -> None:
    controls.mounted = True
    controls.pins_in = Skip.PINS not in crew.habits.skips
    _plug(crew, controls)
    for valves in controls.valves.values():
        valves.mode = crew.plan.air_mode
        valves.set_kpa = crew.by_eye_kpa(crew.plan.set_kpa)
        valves.feed_open = True
        valves.exhaust_open = False


def _plug(_crew: Crew, controls: Controls) -> None:
    controls.plugged = dict.fromkeys(controls.plugged, True)


def _heat_up(crew: Crew, controls: Controls) -> None:
    controls.set_c = crew.plan.set_c
    controls.taped |= crew.habits.tapes
    if crew.plan.air_mode is AirMode.LOCKED_OFF:
        for valves in controls.valves.values():
            valves.feed_open = False


def _cool(crew: Crew, controls: Controls) -> None:
    if Skip.SWITCH_OFF not in crew.habits.skips:
        controls.set_c = None


def _let_down(_crew: Crew, controls: Controls) -> None:
    controls.release_request = True
    for valves in controls.valves.values():
        valves.feed_open = False
        valves.exhaust_open = True


def _take_off(_crew: Crew, controls: Controls) -> None:
    controls.release_request = False
    controls.pins_in = False
    controls.mounted = False
    controls.taped.clear()


def _home(crew: Crew, controls: Controls) -> None:
    if Skip.SWITCH_OFF not in crew.habits.skips:
        controls.plugged = dict.fromkeys(controls.plugged, False)


_ACTS: dict[Stage, Callable[[Crew, Controls], None]] = {
    Stage.PREHEAT: _preheat,
    Stage.MOUNT: _mount,
    Stage.AIR_UP: _air_up,
    Stage.HEAT_UP: _heat_up,
    Stage.COOL: _cool,
    Stage.LET_DOWN: _let_down,
    Stage.TAKE_OFF: _take_off,
    Stage.HOME: _home,
}


def _waited(crew: Crew, now_s: float, _shown: Shown) -> bool:
    return crew.in_stage_s(now_s) >= crew.plan.start_after_s


def _preheated(crew: Crew, now_s: float, shown: Shown) -> bool:
    warm = min(shown.pads_c.values()) >= crew.plan.preheat_c - 2
    return warm and crew.in_stage_s(now_s) >= crew.takes_s(crew.plan.preheat_s_min)


def _mounted(crew: Crew, now_s: float, _shown: Shown) -> bool:
    return crew.in_stage_s(now_s) >= crew.takes_s(crew.plan.mount_s)


def _aired_up(crew: Crew, now_s: float, shown: Shown) -> bool:
    if min(shown.bags_kpa.values()) < crew.plan.set_kpa - UP_WITHIN_KPA:
        crew.up_at_s = None
        return False
    if crew.up_at_s is None:
        crew.up_at_s = now_s
    settle_s = 0.0 if Skip.SETTLE in crew.habits.skips else crew.takes_s(crew.plan.settle_s)
    return now_s - crew.up_at_s >= settle_s


def _at_temperature(_crew: Crew, _now_s: float, shown: Shown) -> bool:
    return min(shown.pads_c.values()) >= AT_TEMPERATURE_C


def _held(crew: Crew, now_s: float, _shown: Shown) -> bool:
    in_stage_s = crew.in_stage_s(now_s)
    dark = crew.permit_gone_s(now_s) >= SWITCHES_OFF_AFTER_S
    return (dark and in_stage_s >= crew.plan.hold_s - GRACE_S) or (
        in_stage_s >= crew.plan.hold_s_max
    )


def _cooled(crew: Crew, _now_s: float, shown: Shown) -> bool:
    opens_at_c = crew.habits.opens_at_c
    below_c = crew.plan.cool_below_c if opens_at_c is None else opens_at_c
    return max(shown.pads_c.values()) < below_c


def _let_out(_crew: Crew, _now_s: float, shown: Shown) -> bool:
    return max(shown.bags_kpa.values()) <= EMPTY_KPA


def _felt_soft(crew: Crew, now_s: float, _shown: Shown) -> bool:
    return crew.in_stage_s(now_s) >= crew.takes_s(crew.plan.empty_s)


def _taken_off(crew: Crew, now_s: float, _shown: Shown) -> bool:
    return crew.in_stage_s(now_s) >= crew.takes_s(crew.plan.take_off_s)


_OVER: dict[Stage, Callable[[Crew, float, Shown], bool]] = {
    Stage.WAIT: _waited,
    Stage.PREHEAT: _preheated,
    Stage.MOUNT: _mounted,
    Stage.AIR_UP: _aired_up,
    Stage.HEAT_UP: _at_temperature,
    Stage.HOLD: _held,
    Stage.COOL: _cooled,
    Stage.LET_DOWN: _let_out,
    Stage.FEEL_SOFT: _felt_soft,
    Stage.TAKE_OFF: _taken_off,
}

_NEXT: dict[Stage, Stage] = {
    Stage.WAIT: Stage.PREHEAT,
    Stage.PREHEAT: Stage.MOUNT,
    Stage.MOUNT: Stage.AIR_UP,
    Stage.AIR_UP: Stage.HEAT_UP,
    Stage.HEAT_UP: Stage.HOLD,
    Stage.HOLD: Stage.COOL,
    Stage.COOL: Stage.LET_DOWN,
    Stage.LET_DOWN: Stage.FEEL_SOFT,
    Stage.FEEL_SOFT: Stage.TAKE_OFF,
    Stage.TAKE_OFF: Stage.WAIT,
}

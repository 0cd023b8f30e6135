"""A crew that follows the procedure by what it can see and hear.

The procedure is a table of steps: each begins with something done by hand and
is over when something can be seen. Beside it run the habits: press the here
button now and then and when the horn sounds, stand clear while the red beacon
is lit. A crew sees `Shown` and sets `Controls`; the truth is hidden from it.
"""

from collections.abc import Callable
from random import Random

from simulator.bags import AirMode
from simulator.crew.plan import RepairPlan, Stage
from simulator.panel import Controls, Shown

PRESS_S = 2.0
STARTS_MAX = 6
RESETS_MAX = 5
EMPTY_KPA = 2.0
AT_TEMPERATURE_C = 120.0
WALKS_AFTER_S = 40.0
SWITCHES_OFF_AFTER_S = 120.0  # nobody runs to turn a knob when the lamp goes dark


class Crew:
    """Two hands, two eyes and a plan.

    Attributes:
        plans: the repairs still to do, the present one first.
        stage: of the present repair.
        repair: number of the present repair, from 1.
        began_at_s: plant time by (repair, stage).
        habits: of the person who is at the rig now.
        away: nobody is near; nothing is done, pressed or heard.
        away_until_s: nobody is near until this plant time either, s.
        slow_factor: on all handwork; above 1 is slow.
        deaf: the horn is not heard.
        orders: what is to be done out of turn at the next look; see `Order`.
        mending: in this step the crew mends whatever is broken.
    """

    def __init__(self, plans: tuple[RepairPlan, ...], random: Random) -> None:
        self.plans = plans
        self.stage = Stage.WAIT
        self.repair = 1
        self.began_at_s: dict[tuple[int, Stage], float] = {(1, Stage.WAIT): 0.0}
        self.habits = plans[0].habits
        self.away = False
        self.away_until_s = 0.0
        self.slow_factor = 1.0
        self.deaf = False
        self.orders: list[str] = []
        self.mending = False
        self._random = random
        self._here_at_s = 0.0
        self._horn_at_s: float | None = None
        self._red_at_s: float | None = None
        self._permit_seen_at_s = 0.0
        self._start_at_s = 0.0
        self._starts = 0
        self._resets = 0

    @property
    def plan(self) -> RepairPlan:
        """The present repair's plan."""
        return self.plans[self.repair - 1]

    @property
    def at_home(self) -> bool:
        """All repairs are done."""
        return self.stage is Stage.HOME

    def in_stage_s(self, now_s: float) -> float:
        """How long the present stage has lasted, s."""
        return now_s - self.began_at_s[(self.repair, self.stage)]

    def advance(self, now_s: float, shown: Shown, controls: Controls) -> None:
        """Look, listen and act once."""
        self.mending = False
        if self.away or self.at_home:
            return
        if shown.lamps["heat_permit"]:
            self._permit_seen_at_s = now_s
        if shown.lamps["beacon_red"]:
            self._meet_trip(now_s, controls)
            return
        self._red_at_s = None
        self._be_present(now_s, shown, controls)
        self._ask_for_heat(now_s, shown, controls)
        if _OVER[self.stage](self, now_s, shown):
            self._begin(_NEXT[self.stage], now_s, controls)

    def permit_gone_s(self, now_s: float) -> float:
        """How long the heat permit lamp has been dark, s."""
        return now_s - self._permit_seen_at_s

    def by_eye_kpa(self, wanted_kpa: float) -> float:
        """What a hand on a knob and an eye on a dial make of `wanted_kpa`."""
        return wanted_kpa + self._random.uniform(-1.0, 1.0)

    def _begin(self, stage: Stage, now_s: float, controls: Controls) -> None:
        if stage is Stage.WAIT:
            if self.repair == len(self.plans):
                stage = Stage.HOME
            else:
                self.repair += 1
                controls.tyre += 1
        self.stage = stage
        self.began_at_s[(self.repair, stage)] = now_s
        self._starts = 0
        act = _ACTS.get(stage)
        if act is not None:
            act(self, controls)

    def _meet_trip(self, now_s: float, controls: Controls) -> None:
        """Stand clear; or, if the plan says so, mend and reset after a while."""
        if self._red_at_s is None:
            self._red_at_s = now_s
        mends_after_s = self.plan.mends_after_s
        if mends_after_s is None or now_s - self._red_at_s < mends_after_s:
            return
        if self._resets >= RESETS_MAX:
            return
        self._resets += 1
        self._red_at_s = now_s
        self.mending = True
        controls.press("reset_button", now_s, PRESS_S)
        self._here_at_s = now_s

    def _be_present(self, now_s: float, shown: Shown, controls: Controls) -> None:
        if not shown.lamps["horn"]:
            heard = self._horn_at_s
        else:
            heard = now_s if self._horn_at_s is None else self._horn_at_s
        self._horn_at_s = heard
        answers = heard is not None and now_s - heard >= WALKS_AFTER_S
        busy = self.stage in {Stage.WAIT, Stage.TAKE_OFF}
        due = not busy and now_s - self._here_at_s >= self.plan.here_every_s
        if answers or due:
            controls.press("here_button", now_s, PRESS_S)
            self._here_at_s = now_s
            self._horn_at_s = None

    def _ask_for_heat(self, now_s: float, shown: Shown, controls: Controls) -> None:
        """Press start when heat is wanted and the permit lamp stays dark."""
        if shown.lamps["heat_permit"] or self._starts >= STARTS_MAX:
            return
        first = self.stage is Stage.PREHEAT and self._starts == 0
        patience_s = 0.0 if first else 60.0
        wanted = self.stage in {Stage.PREHEAT, Stage.HEAT_UP} or self._hold_cut_short(now_s)
        if wanted and min(self.permit_gone_s(now_s), now_s - self._start_at_s) >= patience_s:
            controls.press("start_button", now_s, PRESS_S)
            self._start_at_s = now_s
            self._here_at_s = now_s
            self._starts += 1

    def _hold_cut_short(self, now_s: float) -> bool:
        # Five minutes' grace: the crew's watch is not the supervisor's.
        return self.stage is Stage.HOLD and self.in_stage_s(now_s) < self.plan.hold_s - 300


def _preheat(crew: Crew, controls: Controls) -> None:
    controls.set_c = crew.plan.preheat_c


def _mount(_crew: Crew, controls: Controls) -> None:
    controls.set_c = None


def _air_up(crew: Crew, controls: Controls) -> None:
    controls.mounted = True
    controls.pins_in = True
    for valves in controls.valves.values():
        valves.mode = crew.plan.air_mode
        valves.set_kpa = crew.by_eye_kpa(crew.plan.set_kpa)
        valves.feed_open = True
        valves.exhaust_open = False


def _heat_up(crew: Crew, controls: Controls) -> None:
    controls.set_c = crew.plan.set_c
    if crew.plan.air_mode is AirMode.LOCKED_OFF:
        for valves in controls.valves.values():
            valves.feed_open = False


def _cool(_crew: Crew, controls: Controls) -> None:
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


_ACTS: dict[Stage, Callable[[Crew, Controls], None]] = {
    Stage.PREHEAT: _preheat,
    Stage.MOUNT: _mount,
    Stage.AIR_UP: _air_up,
    Stage.HEAT_UP: _heat_up,
    Stage.COOL: _cool,
    Stage.LET_DOWN: _let_down,
    Stage.TAKE_OFF: _take_off,
}


def _waited(crew: Crew, now_s: float, _shown: Shown) -> bool:
    return crew.in_stage_s(now_s) >= crew.plan.start_after_s


def _preheated(crew: Crew, now_s: float, shown: Shown) -> bool:
    warm = min(shown.pads_c.values()) >= crew.plan.preheat_c - 2
    return warm and crew.in_stage_s(now_s) >= crew.plan.preheat_s_min


def _mounted(crew: Crew, now_s: float, _shown: Shown) -> bool:
    return crew.in_stage_s(now_s) >= crew.plan.mount_s


def _aired_up(crew: Crew, now_s: float, shown: Shown) -> bool:
    up = min(shown.bags_kpa.values()) >= crew.plan.set_kpa - 6
    return up and crew.in_stage_s(now_s) >= crew.plan.settle_s


def _at_temperature(_crew: Crew, _now_s: float, shown: Shown) -> bool:
    return min(shown.pads_c.values()) >= AT_TEMPERATURE_C


def _held(crew: Crew, now_s: float, _shown: Shown) -> bool:
    in_stage_s = crew.in_stage_s(now_s)
    ended = (
        crew.permit_gone_s(now_s) >= SWITCHES_OFF_AFTER_S and in_stage_s >= crew.plan.hold_s - 300
    )
    return ended or in_stage_s >= crew.plan.hold_s_max


def _cooled(crew: Crew, _now_s: float, shown: Shown) -> bool:
    return max(shown.pads_c.values()) < crew.plan.cool_below_c


def _let_out(_crew: Crew, _now_s: float, shown: Shown) -> bool:
    return max(shown.bags_kpa.values()) <= EMPTY_KPA


def _felt_soft(crew: Crew, now_s: float, _shown: Shown) -> bool:
    return crew.in_stage_s(now_s) >= crew.plan.empty_s


def _taken_off(crew: Crew, now_s: float, _shown: Shown) -> bool:
    return crew.in_stage_s(now_s) >= crew.plan.take_off_s


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

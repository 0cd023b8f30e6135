"""A crew that follows the procedure by what it can see and hear.

The procedure is a table of steps: each begins with something done by hand and
is over when something can be seen. Beside it run the habits: press the here
button now and then and when the horn sounds, stand clear while the red beacon
is lit. Errands come between, and orders out of turn. A crew sees `Shown` and
sets `Controls`; the truth is hidden from it.
"""

from random import Random

from simulator.crew import steps
from simulator.crew.orders import PRESS_S, carry_out
from simulator.crew.plan import Errand, ErrandKind, RepairPlan, Skip, Stage
from simulator.crew.trim import Trimmer
from simulator.panel import BUTTONS, Controls, Shown

STARTS_MAX = 6
RESETS_MAX = 5
STARTS_AGAIN_AFTER_S = 60.0
SEES_MISTAKE_AFTER_S = 10.0
# No two people, and no two days, take the same time over the same work.
UNEVEN = (0.9, 1.1)
NIGHT_HORN_FACTOR = 4.0
NIGHT_ROUND_FACTOR = 1.5

_NO_ROUNDS = frozenset({Stage.WAIT, Stage.TAKE_OFF})
_TRIMS = frozenset({Stage.HEAT_UP, Stage.HOLD, Stage.COOL})


class Crew:
    """Two hands, two eyes and a plan.

    Attributes:
        plans: the repairs still to do, the present one first.
        stage: of the present repair.
        repair: number of the present repair, from 1.
        began_at_s: plant time by (repair, stage).
        habits: of the person who is at the rig now; the plan's at each repair's begin.
        away: nobody is near; nothing is done, pressed or heard.
        away_until_s: nobody is near until this plant time either, s.
        slow_factor: on all handwork; above 1 is slow.
        deaf: the horn is not heard.
        orders: what is done out of turn at the next look, by whoever is there, also
            while the crew is away; see `Order`.
        mending: in this step the crew mends whatever is broken.
        up_at_s: since when both dials have shown enough in this air-up, s.
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
        self.up_at_s: float | None = None
        self._random = random
        self._uneven = 1.0
        self._trimmer = Trimmer()
        self._errands = self._errands_of(Stage.WAIT)
        self._errand: Errand | None = None
        self._errand_ends_s = 0.0
        self._here_at_s = 0.0
        self._horn_at_s: float | None = None
        self._red_at_s: float | None = None
        self._permit_seen_at_s = 0.0
        self._start_at_s = 0.0
        self._starts = 0
        self._resets = 0
        self._meant: tuple[str, float] | None = None

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

    def permit_gone_s(self, now_s: float) -> float:
        """How long the heat permit lamp has been dark, s."""
        return now_s - self._permit_seen_at_s

    def takes_s(self, planned_s: float) -> float:
        """What this person makes of a time planned for handwork, s."""
        return planned_s * self.habits.pace * self.slow_factor * self._uneven

    def by_eye_kpa(self, wanted_kpa: float) -> float:
        """What a hand on a knob and an eye on a dial make of `wanted_kpa`."""
        return wanted_kpa + self._random.uniform(-1.0, 1.0)

    def is_near(self, now_s: float) -> bool:
        """Somebody of the crew is at the rig or within earshot."""
        errand = self._errand
        gone = errand is not None and errand.kind is not ErrandKind.NEIGHBOUR
        return not (gone or self.away or self.at_home or now_s < self.away_until_s)

    def advance(self, now_s: float, shown: Shown, controls: Controls) -> None:
        """Look, listen and act once."""
        self.mending = False
        if self.orders:
            for order in self.orders:
                carry_out(order, now_s, controls)
            self.orders.clear()
        if self._errand is not None or self._errands:
            self._run_errands(now_s, controls)
        if self.is_near(now_s):
            self._look_and_act(now_s, shown, controls)

    def _look_and_act(self, now_s: float, shown: Shown, controls: Controls) -> None:
        lamps = shown.lamps
        if lamps["heat_permit"]:
            self._permit_seen_at_s = now_s
        if lamps["beacon_red"]:
            self._meet_trip(now_s, controls)
            return
        self._red_at_s = None
        self._be_present(now_s, horn=lamps["horn"], controls=controls)
        if not lamps["heat_permit"]:
            self._ask_for_heat(now_s, controls)
        if self._errand is not None:
            return
        if self.habits.trims and self.stage in _TRIMS:
            self._trimmer.advance(now_s, self.plan, shown, controls)
        if steps.is_over(self, now_s, shown):
            self._begin(steps.after(self.stage, self.habits.skips), now_s, controls)

    def _begin(self, stage: Stage, now_s: float, controls: Controls) -> None:
        self._trimmer.let_go(controls)
        if stage is Stage.WAIT:
            if self.repair == len(self.plans):
                stage = Stage.HOME
            else:
                self.repair += 1
                self.habits = self.plan.habits
                controls.tyre += 1
        self.stage = stage
        self.began_at_s[(self.repair, stage)] = now_s
        self._starts = 0
        self._uneven = self._random.uniform(*UNEVEN)
        self._errands = self._errands_of(stage)
        steps.begin(self, controls)

    def _errands_of(self, stage: Stage) -> list[Errand]:
        here = [errand for errand in self.plan.errands if errand.stage is stage]
        return sorted(here, key=lambda errand: errand.after_s)

    def _run_errands(self, now_s: float, controls: Controls) -> None:
        """End the errand that is over; begin the one that is due."""
        errand = self._errand
        if errand is not None and now_s >= self._errand_ends_s:
            self._errand = None
            self.habits = errand.habits or self.habits
            if errand.kind is ErrandKind.NEIGHBOUR:
                controls.set_c = None
        if self._errand is not None or not self._errands:
            return
        if self.in_stage_s(now_s) >= self._errands[0].after_s:
            self._errand = self._errands.pop(0)
            self._errand_ends_s = now_s + self._errand.for_s
            self._trimmer.let_go(controls)
            if self._errand.kind is ErrandKind.NEIGHBOUR:
                controls.set_c = self.plan.set_c
                self._starts = 0

    def _meet_trip(self, now_s: float, controls: Controls) -> None:
        """Stand clear; or, if the plan says so, mend and reset after a while."""
        if self._red_at_s is None:
            self._red_at_s = now_s
            self._trimmer.let_go(controls)
            self._errand_ends_s = now_s  # nobody goes on reheating next door
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

    def _be_present(self, now_s: float, *, horn: bool, controls: Controls) -> None:
        """Press the here button on the round, when the horn has called, or instead of a slip."""
        habits = self.habits
        if horn and not self.deaf and self._horn_at_s is None:
            self._horn_at_s = now_s
        comes_after_s = habits.answers_horn_after_s * (NIGHT_HORN_FACTOR if habits.night else 1.0)
        answers = self._horn_at_s is not None and now_s - self._horn_at_s >= comes_after_s
        round_s = self.plan.here_every_s * (NIGHT_ROUND_FACTOR if habits.night else 1.0)
        forgets = Skip.HERE in habits.skips or self.stage in _NO_ROUNDS
        if answers or (not forgets and now_s - self._here_at_s >= round_s):
            self._press("here_button", now_s, controls)
            self._here_at_s = now_s
            self._horn_at_s = None
        if self._meant is not None and now_s >= self._meant[1]:
            controls.press(self._meant[0], now_s, PRESS_S)
            self._meant = None

    def _ask_for_heat(self, now_s: float, controls: Controls) -> None:
        """Press start when heat is wanted and the permit lamp stays dark."""
        if self._starts >= STARTS_MAX or not self._wants_heat(now_s):
            return
        first = self.stage is Stage.PREHEAT and self._starts == 0
        patience_s = 0.0 if first else STARTS_AGAIN_AFTER_S
        if min(self.permit_gone_s(now_s), now_s - self._start_at_s) >= patience_s:
            self._press("start_button", now_s, controls)
            self._start_at_s = now_s
            self._here_at_s = now_s
            self._starts += 1

    def _wants_heat(self, now_s: float) -> bool:
        if self._errand is not None or self.stage in {Stage.PREHEAT, Stage.HEAT_UP}:
            return True
        short = self.in_stage_s(now_s) < self.plan.hold_s - steps.GRACE_S
        return self.stage is Stage.HOLD and short

    def _press(self, button: str, now_s: float, controls: Controls) -> None:
        """Press a button; those who press the wrong one see it soon after."""
        if self.habits.presses_wrong and self._random.random() < 0.5:
            others = [other for other in BUTTONS if other != button]
            controls.press(self._random.choice(others), now_s, PRESS_S)
            self._meant = (button, now_s + SEES_MISTAKE_AFTER_S)
            return
        controls.press(button, now_s, PRESS_S)

"""A stand-in for the supervisor, for tests that drive a yard with no wire.

It grants on a press of start, takes away while a pad is unplugged off the tyre, at
the end of the hold, or when told to trip; reset clears the trip. It judges nothing.
"""

from simulator.crew import Stage
from simulator.panel import BUTTONS


class StandIn:
    """Moves a yard step by step and keeps what it saw of the first rig.

    `rows` holds (plant time, stage, truth) and grows only while `keeps`.
    """

    def __init__(self, yard, *, keeps=True):
        self.yard = yard
        self.keeps = keeps
        self.trips = False
        self.rows = []
        for rig in yard.rigs:
            rig.relays.timeout_s = 0.0

    def step(self):
        yard = self.yard
        yard.advance()
        for rig, crew in zip(yard.rigs, yard.crews, strict=True):
            self._judge(rig, crew)
        if self.keeps:
            self.rows.append((yard.now_s, yard.crews[0].stage, yard.rigs[0].truth()))

    def _judge(self, rig, crew):
        coils = rig.relays.coils
        controls, now_s = rig.controls, rig.now_s
        if controls.pressed("start_button", now_s) and not coils["beacon_red"]:
            coils["heat_permit"] = True
        held = crew.stage is Stage.HOLD and crew.in_stage_s(now_s) >= crew.plan.hold_s
        if held or not (controls.mounted or all(controls.plugged.values())):
            coils["heat_permit"] = False
        if controls.pressed("reset_button", now_s):
            coils["beacon_red"] = coils["horn"] = False
        if self.trips:
            coils["heat_permit"], coils["beacon_red"] = False, True
            self.trips = False

    def run(self, until):
        while not until() and not self.yard.over:
            self.step()
        return self

    def run_to(self, stage, *, plus_s=0.0, repair=1):
        """Until the first crew has been in a stage for so long; that it comes is asserted."""
        crew = self.yard.crews[0]
        self.run(
            lambda: (
                (repair, stage) in crew.began_at_s
                and self.yard.now_s >= crew.began_at_s[(repair, stage)] + plus_s
            )
        )
        assert (repair, stage) in crew.began_at_s, f"{stage} of repair {repair} never came"
        return self


def presses(run, until):
    """Rising edges of all buttons of the first rig while it runs: [(plant time, button)]."""
    rig = run.yard.rigs[0]
    down = {button: rig.controls.pressed(button, rig.now_s) for button in BUTTONS}
    found = []

    def noting():
        for button in BUTTONS:
            is_down = rig.controls.pressed(button, rig.now_s)
            if is_down and not down[button]:
                found.append((rig.now_s, button))
            down[button] = is_down
        return until()

    run.run(noting)
    return found

"""Frames for tests, told as a story of straight lines between keyframes.

All figures in these stories are invented for the tests.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from rules.events import Decision, Event
from rules.frame import NS_PER_S, Command, Frame, Quality, Reading, Reason
from rules.limits import Limits, LimitsBase
from rules.state import State
from rules.step import step

WALL_0 = 1_773_471_600 * NS_PER_S  # 2026-03-14 07:00 UTC
RELAY = {"heat_permit": False}
FITTED = {
    "pad_inner_c": 20.0,
    "pad_outer_c": 20.0,
    "bag_inner_kpa": 0.0,
    "bag_outer_kpa": 0.0,
    "ambient_c": 20.0,
    "pins_in": 0.0,
    "mains_ok": 1.0,
    "estop_ok": 1.0,
    "start_button": 0.0,
    "here_button": 0.0,
    "reset_button": 0.0,
}


@dataclass
class Story:
    """One rig's frames, one after another, through the real step.

    The relay follows the decision with one frame's delay, as a real one does.
    """

    limits: LimitsBase = field(default_factory=Limits)
    state: State = field(default_factory=State)
    values: dict[str, float | str] = field(default_factory=lambda: dict(FITTED))
    readback: dict[str, bool | None] = field(default_factory=lambda: dict(RELAY))
    t_s: float = 0.0
    seq: int = 0
    boot_id: str = "boot-1"
    frames: list[Frame] = field(default_factory=list)
    told: list[tuple[float, Event]] = field(default_factory=list)
    decision: Decision | None = None
    commands: list[Command] = field(default_factory=list)
    last_good_ns: dict[str, int] = field(default_factory=dict)

    @property
    def permit(self) -> str:
        return self.state.permit.state.value

    @property
    def phase(self) -> str:
        return self.state.place.phase.value

    def frame(self) -> Frame:
        t_ns = round(self.t_s * NS_PER_S)
        readings = {}
        for name, value in self.values.items():
            if isinstance(value, str):
                dead = value in ("no_reply", "link_down", "never_read")
                at_ns = self.last_good_ns.get(name, 0) if dead else t_ns
                readings[name] = Reading(None, Quality.BAD, Reason(value), at_ns)
            else:
                self.last_good_ns[name] = t_ns
                readings[name] = Reading(float(value), Quality.GOOD, Reason.NONE, t_ns)
        self.seq += 1
        frame = Frame(
            self.seq,
            t_ns,
            WALL_0 + t_ns,
            True,
            self.boot_id,
            readings,
            dict(self.readback),
            commands=tuple(self.commands),
        )
        self.commands.clear()
        return frame

    def tick(self, dt_s: float = 1.0) -> "Story":
        """One frame now; time then moves on."""
        frame = self.frame()
        self.state, self.decision = step(self.limits, self.state, frame)
        self.frames.append(frame)
        self.told += [(self.t_s, event) for event in self.decision.events]
        if "heat_permit" in self.readback:
            self.readback["heat_permit"] = self.decision.outputs.heat_permit
        self.t_s += dt_s
        return self

    def run(self, seconds: float, dt_s: float = 1.0, **targets: float) -> "Story":
        """Frames for a while, each target reached in a straight line."""
        begins = {name: self.values[name] for name in targets}
        count = max(1, round(seconds / dt_s))
        for index in range(1, count + 1):
            for name, target in targets.items():
                begin = begins[name]
                assert isinstance(begin, float | int)
                self.values[name] = begin + (target - begin) * index / count
            self.tick(dt_s)
        return self

    def set(self, **values: float | str) -> "Story":
        self.values.update(values)
        return self

    def press(self, button: str, seconds: int = 1) -> "Story":
        """Press and let go; one frame pressed, one after."""
        self.values[button] = 1.0
        for _ in range(seconds):
            self.tick()
        self.values[button] = 0.0
        return self.tick()

    def hold(self, minutes: float) -> "Story":
        """Frames for a while with someone pressing the here button each 20 min."""
        left_s = minutes * 60
        while left_s > 0:
            part_s = min(left_s, 1200)
            self.run(part_s)
            self.press("here_button")
            left_s -= part_s
        return self

    def to_preheat(self) -> "Story":
        self.run(65)
        self.press("start_button")
        return self.run(1200, pad_inner_c=60.0, pad_outer_c=60.0)

    def to_inflation(self) -> "Story":
        self.to_preheat()
        self.run(600, pad_inner_c=50.0, pad_outer_c=50.0)
        self.set(pins_in=1.0).press("here_button")
        self.run(180, bag_inner_kpa=207.0, bag_outer_kpa=207.0)
        return self.run(60)

    def to_cure(self) -> "Story":
        self.to_inflation()
        self.press("here_button")
        self.run(1500, pad_inner_c=140.0, pad_outer_c=140.0)
        self.press("here_button")
        return self.run(120)

    def events(self, kind: str) -> list[Event]:
        return [event for _, event in self.told if event.event == kind]

    def phases(self) -> list[str]:
        return [event.phase for event in self.events("phase")]  # type: ignore[union-attr]  # only phase events

    def alarms(self) -> list[tuple[str, str]]:
        return [(event.tag, event.state) for event in self.events("alarm")]  # type: ignore[union-attr]  # only alarm events


def with_facts(**facts: object) -> LimitsBase:
    """Default limits with some facts stated."""
    return Limits.model_validate({"facts": facts})


def fold(limits: LimitsBase, frames: Iterable[Frame], state: State) -> Iterator[Decision]:
    for frame in frames:
        state, decision = step(limits, state, frame)
        yield decision

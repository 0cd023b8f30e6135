"""Frames for tests, told as a story of straight lines between keyframes.

All figures in these stories are invented for the tests.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import cache

from rules.events import Decision, Event, Outputs
from rules.frame import NS_PER_S, Command, Frame, Health, Quality, Reading, Reason
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
UNANSWERED = ("no_reply", "link_down", "never_read")


def limits_with(period_s: float = 1.0, **sections: dict[str, object]) -> LimitsBase:
    """Default limits of a commissioned rig, with some keys stated; `facts` is a section too."""
    stated = {"frame_period_s": period_s, "commissioned_on": "2026-03-14"}
    facts = {**stated, **sections.pop("facts", {})}
    return Limits.model_validate({"facts": facts, **sections})


@dataclass
class Story:
    """One rig's frames, one after another, through the real step.

    The relay follows the decision with one frame's delay, as a real one does.

    Attributes:
        t_s: the story's own time; goes on through restarts.
        booted_s: story time of the last restart of the computer.
        wall_s: how far the wall clock is wrong.
    """

    limits: LimitsBase = field(default_factory=limits_with)
    state: State = field(default_factory=State)
    values: dict[str, float | str] = field(default_factory=lambda: dict(FITTED))
    readback: dict[str, bool | None] = field(default_factory=lambda: dict(RELAY))
    t_s: float = 0.0
    seq: int = 0
    boot_id: str = "boot-1"
    booted_s: float = 0.0
    wall_s: float = 0.0
    frames: list[Frame] = field(default_factory=list)
    told: list[tuple[float, Event]] = field(default_factory=list)
    decision: Decision = Decision(Outputs())
    commands: list[Command] = field(default_factory=list)
    health: Health = Health()
    last_good_ns: dict[str, int] = field(default_factory=dict)

    @property
    def permit(self) -> str:
        return self.state.permit.state.value

    @property
    def phase(self) -> str:
        return self.state.place.phase.value

    @property
    def period_s(self) -> float:
        return self.limits.facts.frame_period_s

    def copy(self) -> "Story":
        """The same story, to be told on in another way."""
        return replace(
            self,
            values=dict(self.values),
            readback=dict(self.readback),
            frames=list(self.frames),
            told=list(self.told),
            commands=list(self.commands),
            last_good_ns=dict(self.last_good_ns),
        )

    def frame(self) -> Frame:
        t_ns = round((self.t_s - self.booted_s) * NS_PER_S)
        readings = {}
        for name, value in self.values.items():
            if isinstance(value, str):
                at_ns = self.last_good_ns.get(name, 0) if value in UNANSWERED else t_ns
                readings[name] = Reading(None, Quality.BAD, Reason(value), at_ns)
            else:
                self.last_good_ns[name] = t_ns
                readings[name] = Reading(float(value), Quality.GOOD, Reason.NONE, t_ns)
        self.seq += 1
        frame = Frame(
            self.seq,
            t_ns,
            WALL_0 + round((self.t_s + self.wall_s) * NS_PER_S),
            True,
            self.boot_id,
            readings,
            dict(self.readback),
            health=self.health,
            commands=tuple(self.commands),
        )
        self.commands.clear()
        return frame

    def tick(self, dt_s: float | None = None) -> "Story":
        """One frame now; time then moves on."""
        frame = self.frame()
        self.state, self.decision = step(self.limits, self.state, frame)
        self.frames.append(frame)
        self.told += [(self.t_s, event) for event in self.decision.events]
        if "heat_permit" in self.readback:
            self.readback["heat_permit"] = self.decision.outputs.heat_permit
        self.t_s += self.period_s if dt_s is None else dt_s
        return self

    def run(self, seconds: float, **targets: float) -> "Story":
        """Frames for a while, each target reached in a straight line."""
        begins = {name: self.values[name] for name in targets}
        count = max(1, round(seconds / self.period_s))
        for index in range(1, count + 1):
            for name, target in targets.items():
                begin = begins[name]
                assert isinstance(begin, float | int)
                self.values[name] = begin + (target - begin) * index / count
            self.tick()
        return self

    def play(self, seconds: float, **curves: Callable[[float], float]) -> "Story":
        """Frames for a while, each channel by a function of the time since now."""
        began_s = self.t_s
        while self.t_s - began_s < seconds:
            for name, curve in curves.items():
                self.values[name] = curve(self.t_s - began_s)
            self.tick()
        return self

    def set(self, **values: float | str) -> "Story":
        self.values.update(values)
        return self

    def pads(self, inner_c: float, outer_c: float | None = None) -> "Story":
        return self.set(pad_inner_c=inner_c, pad_outer_c=inner_c if outer_c is None else outer_c)

    def bags(self, kpa: float) -> "Story":
        return self.set(bag_inner_kpa=kpa, bag_outer_kpa=kpa)

    def without(self, *names: str) -> "Story":
        """These channels are not fitted."""
        for name in names:
            self.values.pop(name, None)
        return self

    def press(self, button: str, frames: int = 1) -> "Story":
        """Press and let go; some frames pressed, one after."""
        self.values[button] = 1.0
        for _ in range(frames):
            self.tick()
        self.values[button] = 0.0
        return self.tick()

    def gap(self, seconds: float, *, boot_id: str | None = None) -> "Story":
        """No frames for a while; with a `boot_id` the computer restarted in it.

        The next frame comes `seconds` after the last one.
        """
        self.t_s += seconds - self.period_s
        if boot_id is not None:
            self.boot_id, self.booted_s, self.last_good_ns = boot_id, self.t_s - 5.0, {}
        self.readback = dict.fromkeys(self.readback, False)
        return self

    def command(self, verb: str, tag: str = "", **more: object) -> "Story":
        """Someone afar asks for something in the next frame."""
        name = f"c-{self.seq}-{len(self.commands)}"
        asked = {"id": name, "who": "Ada", "via": "socket", "issued_ns": 0, **more}
        self.commands.append(Command(verb=verb, tag=tag, **asked))  # type: ignore[arg-type]  # fields by name
        return self

    def events(self, kind: str) -> list[Event]:
        return [event for _, event in self.told if event.event == kind]

    def phases(self) -> list[str]:
        return [event.phase for event in self.events("phase")]  # type: ignore[union-attr]  # only phase events

    def alarms(self) -> list[tuple[str, str]]:
        return [(event.tag, event.state) for event in self.events("alarm")]  # type: ignore[union-attr]  # only alarm events

    def permits(self) -> list[str]:
        return [event.permit for event in self.events("permit")]  # type: ignore[union-attr]  # only permit events

    def since(self) -> "Story":
        """Forget what was told so far, and go on."""
        self.told.clear()
        return self


PLACES = ("idle", "preheat", "fitting", "inflation", "heat_up", "cure", "cool_down", "release")


@cache
def _told_to(place: str, period_s: float, hold_min: float | None) -> Story:
    """An ordinary repair up to a phase, someone passing by every 20 min."""
    if place == "idle":
        story = Story(limits_with(period_s)).run(max(65, 3 * period_s))
    else:
        before = PLACES[PLACES.index(place) - 1]
        # Up to the heating the hold's length makes no difference.
        held = None if before == "inflation" else hold_min
        story = _told_to(before, period_s, held).copy()
        if hold_min is not None:
            story.limits = limits_with(period_s, facts={"hold_min": hold_min})
        _NEXT[place](story)
    assert story.phase == place, f"meant to be in {place}, is in {story.phase}"
    return story


def _preheated(story: Story) -> None:
    story.press("start_button").run(600, pad_inner_c=60.0, pad_outer_c=60.0)


def _mounted(story: Story) -> None:
    story.run(300, pad_inner_c=50.0, pad_outer_c=50.0).set(pins_in=1.0).press("here_button")


def _aired(story: Story) -> None:
    story.run(180, bag_inner_kpa=207.0, bag_outer_kpa=207.0).run(120)


def _heated(story: Story) -> None:
    story.press("here_button").run(400, pad_inner_c=90.0, pad_outer_c=90.0)


def _hot(story: Story) -> None:
    story.press("here_button").run(600, pad_inner_c=140.0, pad_outer_c=140.0).run(300)


def _cooled(story: Story) -> None:
    story.press("here_button").run(600).press("here_button")
    story.run(600, pad_inner_c=115.0, pad_outer_c=115.0)


def _let_down(story: Story) -> None:
    story.press("here_button").run(600, pad_inner_c=80.0, pad_outer_c=80.0)
    story.press("here_button").run(240, bag_inner_kpa=100.0, bag_outer_kpa=100.0)


_NEXT = {
    "preheat": _preheated,
    "fitting": _mounted,
    "inflation": _aired,
    "heat_up": _heated,
    "cure": _hot,
    "cool_down": _cooled,
    "release": _let_down,
}


def story_in(place: str, period_s: float = 10.0, *, hold_min: float | None = None) -> Story:
    """A copy of an ordinary repair that has come to a phase; what was told is forgotten."""
    return _told_to(place, period_s, hold_min).copy().since()


def fold(limits: LimitsBase, frames: Iterable[Frame], state: State) -> Iterator[Decision]:
    for frame in frames:
        state, decision = step(limits, state, frame)
        yield decision

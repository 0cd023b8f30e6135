"""What judging a frame costs: all phases of a healthy cure, and hazard by hazard.

The yardstick is the standard library alone: the same frame written as JSON and
read again, which is what a program must do that only passes readings on. The
floor is a fold that does nothing: as many functions as there are hazards, each
given the frame and handing its memory back.
"""

from collections.abc import Callable, Iterator
from dataclasses import asdict
from json import dumps, loads
from time import process_time_ns
from typing import Any

from rules.facts import AirMode, RigFacts
from rules.frame import Frame
from rules.hazards.base import Finding
from rules.limits import Limits, LimitsBase
from rules.phases import Phase
from rules.state import State
from rules.step import step
from rules.view import View
from simulator.scenarios import find_scenario
from simulator.yard import Yard
from tests.bench.figures import Row, to_bare
from tests.campaign.course import begin
from tests.campaign.wires import FITTINGS

STRETCH = 600  # frames of a phase that are judged again and again
CURE_MS = 12_000  # about, for the progress bar
ROUND_MS = 1_500
AIM_US = 60
PHASES = (Phase.PREHEAT, Phase.HEAT_UP, Phase.CURE, Phase.COOL_DOWN)

Judge = Callable[[Any, Any, View], tuple[Any, Finding]]
Stretch = tuple[State, list[Frame]]


def measured(count: int, tell: Callable[[int], None]) -> list[Row]:
    """Some rounds over the same frames of one healthy cure."""
    limits = Limits(facts=RigFacts(air_mode=AirMode.RELIEVING, hold_min=150.0))
    stretches = dict(_stretches(limits))
    tell(CURE_MS)
    ours: dict[Phase, list[float]] = {phase: [] for phase in stretches}
    empty, passed_on = [], []
    for _ in range(count):
        for phase, (state, frames) in stretches.items():
            ours[phase].append(_fold_us(limits, state, frames))
        frames = stretches[Phase.CURE][1]
        empty.append(_empty_us(limits, frames))
        passed_on.append(_json_us(frames))
        tell(ROUND_MS)
    note = (
        f"aim {AIM_US} us; bare: the frame as JSON and back; a fold of nothing {min(empty):.1f} us"
    )
    return [
        to_bare(f"judging a frame in {phase.value}", "us", times, passed_on, note)
        for phase, times in ours.items()
    ]


def by_hazard(count: int) -> list[tuple[str, float]]:
    """Each hazard's own cost in the hold, us, dearest first: where to look when it grows."""
    limits = Limits(facts=RigFacts(hold_min=150.0))
    state, frames = dict(_stretches(limits))[Phase.CURE]
    views = _views(limits, state, frames)
    found = []
    for (judge, of_hazard, tag), memory in zip(limits.in_order, state.memories, strict=True):
        best_us = min(_judged_us(judge, of_hazard, memory, views) for _ in range(count))
        found.append((tag, best_us))
    return sorted(found, key=lambda item: -item[1])


def _stretches(limits: LimitsBase) -> Iterator[tuple[Phase, Stretch]]:
    """The state in the middle of each phase, and the frames from there."""
    course = begin(Yard(find_scenario("whole_cure"), rigs=1, seed=0), limits, FITTINGS["all"])
    frames: list[Frame] = []
    course.wires.frame = _kept(course.wires.frame, frames)  # type: ignore[method-assign]  # listens in
    waiting = list(PHASES)
    while waiting and not course.yard.over:
        course.advance()
        if course.state.place.phase is not waiting[0] or _in_phase_s(course.state) < 300:
            continue
        start = course.state
        frames.clear()
        for _ in range(STRETCH):
            course.advance()
        yield waiting.pop(0), (start, list(frames))


def _kept(frame: Callable[..., Frame], into: list[Frame]) -> Callable[..., Frame]:
    def listened(*given: Any) -> Frame:
        into.append(frame(*given))
        return into[-1]

    return listened


def _in_phase_s(state: State) -> float:
    return (state.now_ns - state.place.since_ns) / 1e9


def _views(limits: LimitsBase, state: State, frames: list[Frame]) -> list[View]:
    """What the hazards are shown of each frame."""
    views: list[View] = []
    seen = limits.model_copy()
    (judge, of_hazard, tag), *rest = limits.in_order

    def listened(of: Any, memory: Any, view: View) -> tuple[Any, Finding]:
        views.append(view)
        return judge(of, memory, view)

    seen._in_order = ((listened, of_hazard, tag), *rest)
    _fold_us(seen, state, frames)
    return views


def _judged_us(judge: Judge, of_hazard: Any, memory: Any, views: list[View]) -> float:
    began_ns = process_time_ns()
    for view in views:
        memory, _ = judge(of_hazard, memory, view)
    return (process_time_ns() - began_ns) / len(views) / 1000


def _fold_us(limits: LimitsBase, state: State, frames: list[Frame]) -> float:
    began_ns = process_time_ns()
    for frame in frames:
        state, _ = step(limits, state, frame)
    return (process_time_ns() - began_ns) / len(frames) / 1000


def _empty_us(limits: LimitsBase, frames: list[Frame]) -> float:
    judges = [_nothing] * len(limits.in_order)
    began_ns = process_time_ns()
    for frame in frames:
        memories: list[None] = []
        for judge in judges:
            memory, _ = judge(None, None, frame)
            memories.append(memory)
    return (process_time_ns() - began_ns) / len(frames) / 1000


def _nothing(_limits: None, memory: None, _frame: Frame) -> tuple[None, None]:
    return memory, None


def _json_us(frames: list[Frame]) -> float:
    bodies = [asdict(frame) for frame in frames]
    began_ns = process_time_ns()
    for body in bodies:
        loads(dumps(body))
    return (process_time_ns() - began_ns) / len(frames) / 1000


if __name__ == "__main__":
    for tag, cost_us in by_hazard(5):
        print(f"{cost_us:6.2f} us  {tag}")  # noqa: T201 - this is the command's output

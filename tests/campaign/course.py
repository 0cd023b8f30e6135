"""One cure: plant, people, wires and rules moved together, second by second.

The rules' outputs reach the relays before the plant's next step, as over a
wire; what the crew sees of them are lamps and horn. A course can be forked at
any second: the plant is copied, the state of the rules is immutable.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field

from rules.events import Event, Outputs
from rules.frame import NS_PER_S
from rules.limits import LimitsBase
from rules.state import State
from rules.step import step
from simulator.crew import Crew
from simulator.planned import PlannedFault
from simulator.plant import Rig
from simulator.yard import Yard
from tests.campaign.wires import Wires


@dataclass(frozen=True, slots=True)
class Told:
    """One event, and the plant time at which the rules told it.

    Attributes:
        at_s: plant time, s.
        event: what was told.
    """

    at_s: float
    event: Event


def hash_of(limits: LimitsBase) -> str:
    """A name for limits, as frames carry it."""
    return hashlib.sha256(limits.model_dump_json().encode()).hexdigest()


@dataclass
class Course:
    """A cure going on.

    Attributes:
        yard: plant and crew, one rig.
        limits: the rig's.
        wires: between them.
        state: of the rules.
        outputs: last decided.
        told: all events, in order.
    """

    yard: Yard
    limits: LimitsBase
    wires: Wires
    state: State = field(default_factory=State)
    outputs: Outputs = Outputs()
    told: list[Told] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._hash = hash_of(self.limits)
        self._was_down = False

    @property
    def rig(self) -> Rig:
        """The rig."""
        return self.yard.rigs[0]

    @property
    def crew(self) -> Crew:
        """The people at it."""
        return self.yard.crews[0]

    @property
    def now_s(self) -> float:
        """Plant time, s."""
        return self.yard.now_s

    def advance(self) -> None:
        """Move by one second: plant first, then one frame, judged and carried out."""
        yard = self.yard
        yard.advance()
        rig = yard.rigs[0]
        if rig.host.down:
            self._was_down = True
            return
        if self._was_down:
            self._was_down = False
            self.wires.restarted()
        self._mind_papers(rig)
        frame = self.wires.frame(rig, yard.wall_ns, self._hash)
        self.state, decision = step(self.limits, self.state, frame)
        self.outputs = decision.outputs
        self.wires.write(rig, decision.outputs)
        if decision.events:
            self.told += [Told(yard.now_s, event) for event in decision.events]

    def fork(self, faults: Iterable[PlannedFault] = (), *, tail_s: float | None = None) -> "Course":
        """Another that goes on from here, with more faults to come; this one is not touched."""
        twin = Course(
            self.yard.fork(faults, tail_s=tail_s),
            self.limits,
            self.wires.copy(),
            self.state,
            self.outputs,
            list(self.told),
        )
        twin._was_down = self._was_down
        return twin

    def close_in(self, after_s: float) -> None:
        """The owner has stated this as the time at which the last one goes home.

        Args:
            after_s: from now, s.
        """
        at_s = self.yard.wall_ns // NS_PER_S + round(after_s)
        minutes = at_s // 60 % (24 * 60)
        self.state_facts(closing_time=f"{minutes // 60:02}:{minutes % 60:02}")

    def _mind_papers(self, rig: Rig) -> None:
        """What the papers say comes to the rules with the limits."""
        facts = self.limits.facts
        if rig.papers.no_cure_time and facts.hold_min is not None:
            self.state_facts(hold_min=None)
        if rig.papers.not_commissioned and facts.commissioned_on is not None:
            self.state_facts(commissioned_on=None)

    def state_facts(self, **facts: object) -> None:
        """The owner states something else from now on.

        Args:
            facts: of `rules.facts.RigFacts`, by name.
        """
        self.limits = self.limits.model_copy(
            update={"facts": self.limits.facts.model_copy(update=facts)}
        )
        self._hash = hash_of(self.limits)


def begin(yard: Yard, limits: LimitsBase, fitted: frozenset[str]) -> Course:
    """A course at plant time 0."""
    return Course(yard, limits, Wires(fitted))

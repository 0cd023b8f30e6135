"""What a crew means to do, how it is, and what it may be told to do out of turn.

All times are invented and of a plausible size; common practice, no source.
"""

from dataclasses import dataclass
from enum import StrEnum

from simulator.bags import AirMode


class Stage(StrEnum):
    """What the crew is at; the words of the trade where it has them."""

    WAIT = "wait"
    PREHEAT = "preheat"
    MOUNT = "mount"
    AIR_UP = "air_up"
    HEAT_UP = "heat_up"
    HOLD = "hold"
    COOL = "cool"
    LET_DOWN = "let_down"
    FEEL_SOFT = "feel_soft"
    TAKE_OFF = "take_off"
    HOME = "home"


class Skip(StrEnum):
    """What a forgetful crew leaves out."""

    PREHEAT = "preheat"  # mounts cold pads
    PINS = "pins"  # airs up a clamp without its pins
    SETTLE = "settle"  # heats without watching for leaks
    HERE = "here"  # presses the here button only when the horn sounds
    SWITCH_OFF = "switch_off"  # leaves the knob up after the hold, the plugs in at home
    FEEL_SOFT = "feel_soft"  # takes off as soon as the gauges show nothing


class Order(StrEnum):
    """What hands can do out of turn, at the crew's next look."""

    LET_DOWN = "let_down"
    SHUT_EXHAUST = "shut_exhaust"
    OPEN_FEED = "open_feed"
    SHUT_FEED = "shut_feed"
    TRIM_UP = "trim_up"
    TRIM_DOWN = "trim_down"
    PULL_PINS = "pull_pins"
    PUT_PINS_IN = "put_pins_in"
    RAISE_SET = "raise_set"
    LOWER_SET = "lower_set"
    TURN_OFF = "turn_off"
    UNPLUG = "unplug"
    PLUG = "plug"
    TAKE_OFF = "take_off"
    PRESS_START = "press_start"
    PRESS_HERE = "press_here"
    PRESS_RESET = "press_reset"
    TAPE_HERE = "tape_here"
    UNTAPE = "untape"
    PRESS_ESTOP = "press_estop"
    FREE_ESTOP = "free_estop"


class ErrandKind(StrEnum):
    """What may call the crew away from the procedure for a while."""

    AWAY = "away"  # nobody is near
    NEIGHBOUR = "neighbour"  # the pads, plugged and hot, reheat a repair on another tyre
    HANDOVER = "handover"  # nobody is near, then somebody else comes


@dataclass(frozen=True, slots=True)
class Habits:
    """How a person is.

    Attributes:
        pace: factor on all handwork and watching; below 1 hurries.
        skips: what is forgotten.
        presses_wrong: every other time another button goes down first.
        tapes: buttons taped down from the heat-up to the take-off.
        trims: turns the air up or down by hand when a dial shows off.
        unplugs: pulls the pads' plugs to carry them, and puts them in after.
        opens_at_c: lets down once both displays are below, °C; None: as planned.
        night: alone and tired: longer rounds, and slow to come.
        answers_horn_after_s: from the horn's first sound to the here button, s.
    """

    pace: float = 1.0
    skips: frozenset[Skip] = frozenset()
    presses_wrong: bool = False
    tapes: frozenset[str] = frozenset()
    trims: bool = False
    unplugs: bool = True
    opens_at_c: float | None = None
    night: bool = False
    answers_horn_after_s: float = 40.0


@dataclass(frozen=True, slots=True)
class Errand:
    """Something that calls the crew away from the procedure.

    Attributes:
        kind: what it is.
        stage: in which it happens.
        after_s: the stage's begin, s.
        for_s: how long it takes, s.
        habits: of whoever is there afterwards; None: the same person.
    """

    kind: ErrandKind
    stage: Stage
    after_s: float
    for_s: float
    habits: Habits | None = None


@dataclass(frozen=True, slots=True)
class RepairPlan:
    """One repair as the crew means to do it.

    Attributes:
        start_after_s: the crew waits this long first, s.
        preheat_c: thermostats' setting for the preheat, °C.
        preheat_s_min: and at least for this long, s.
        mount_s: to carry, mount and pin, heat off, s.
        set_kpa: regulators' setting (30 psi; 1 psi = 6.894757 kPa, NIST SP 811).
        air_mode: how the air is held.
        settle_s: watching for leaks once the air is up, before heat, s.
        set_c: thermostats' setting for the cure, °C.
        hold_s: the data sheet's time at temperature, s.
        hold_s_max: switch off by hand if the supervisor has not by then, s.
        cool_below_c: let down once both displays are below, °C.
        empty_s: wait with the gauges at zero, feeling the bags, s.
        take_off_s: to unpin and take off, s.
        here_every_s: between presses of the here button, s.
        mends_after_s: after a trip, mend and reset; None: stand clear and wait.
        habits: of the person who begins it.
        errands: that come between.
    """

    start_after_s: float = 20.0
    preheat_c: float = 60.0
    preheat_s_min: float = 1200.0
    mount_s: float = 840.0
    set_kpa: float = 206.84
    air_mode: AirMode = AirMode.RELIEVING
    settle_s: float = 180.0
    set_c: float = 140.0
    hold_s: float = 9000.0
    hold_s_max: float = 12_000.0
    cool_below_c: float = 70.0
    empty_s: float = 180.0
    take_off_s: float = 300.0
    here_every_s: float = 1200.0
    mends_after_s: float | None = None
    habits: Habits = Habits()
    errands: tuple[Errand, ...] = ()

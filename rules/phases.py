"""The phases of a cure, and the one table of how a rig passes between them.

`TABLE` is read from top to bottom; the first row whose `source` fits and whose
`when` holds is taken, at most one per frame. `docs/phases.md` is drawn from it.

Source:
    This project's design, "Phases"; figures are common practice, no source.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from pydantic import BaseModel, Field

from rules.boiling import opens_below_c
from rules.facts import STRICT
from rules.signals import Now, PadSignal, Signals, fall, lasted_s, rise


class Phase(StrEnum):
    """Where a rig is in the work. Shown to people by `TITLES`."""

    IDLE = "idle"
    PREHEAT = "preheat"
    FITTING = "fitting"
    INFLATION = "inflation"
    HEAT_UP = "heat_up"
    CURE = "cure"
    COOL_DOWN = "cool_down"
    RELEASE = "release"
    DONE = "done"
    ABORTED = "aborted"


TITLES: dict[Phase, str] = {
    Phase.IDLE: "idle",
    Phase.PREHEAT: "preheat",
    Phase.FITTING: "mount",
    Phase.INFLATION: "air up",
    Phase.HEAT_UP: "heat up",
    Phase.CURE: "hold",
    Phase.COOL_DOWN: "cool",
    Phase.RELEASE: "let down",
    Phase.DONE: "done",
    Phase.ABORTED: "aborted",
}

BETWEEN_RUNS = frozenset({Phase.IDLE, Phase.DONE})


class PhaseLimits(BaseModel):
    """Figures of the phase table.

    Attributes:
        held_kpa: the lower bag is held from here up.
        held_s: for this long.
        empty_kpa: the higher bag is empty from here down.
        empty_s: for this long.
        filling_kpa: air is going in from here up.
        filling_s: for this long.
        preheat_rise_c: rise of the hottest pad that begins a preheat.
        peak_drop_c: drop of every pad below its peak that ends a preheat.
        rise_c: rise that counts as heating.
        cure_c: the coldest pad at or above this begins the hold.
        cure_s: for this long.
        cool_drop_c: drop of every pad below its plateau that is cooling.
        open_c: nothing is opened from here up, nor from where water boils at the
            rig's altitude.
        cold_c: an aborted rig is free again below this.
        let_down_kpa: fall within a minute that is a let-down.
        given_up_s: a preheat or mounting without heat or air ends after this.
        history_gap_s: after a longer gap the history is lost.
        settle_s: how long to wait for first good readings.
    """

    model_config = STRICT

    held_kpa: float = Field(default=180.0, gt=0, le=600)
    held_s: float = Field(default=30.0, ge=0, le=600)
    empty_kpa: float = Field(default=10.0, gt=0, le=20)
    empty_s: float = Field(default=60.0, ge=0, le=600)
    filling_kpa: float = Field(default=20.0, gt=0, le=100)
    filling_s: float = Field(default=5.0, ge=0, le=600)
    preheat_rise_c: float = Field(default=10.0, gt=0, le=50)
    peak_drop_c: float = Field(default=5.0, gt=0, le=50)
    rise_c: float = Field(default=3.0, gt=0, le=20)
    cure_c: float = Field(default=120.0, ge=60, le=180)
    cure_s: float = Field(default=60.0, ge=0, le=600)
    cool_drop_c: float = Field(default=10.0, gt=0, le=50)
    open_c: float = Field(default=100.0, ge=50, le=100)
    cold_c: float = Field(default=50.0, ge=20, le=60)
    let_down_kpa: float = Field(default=15.0, gt=0, le=100)
    given_up_s: float = Field(default=7200.0, ge=600, le=86400)
    history_gap_s: float = Field(default=600.0, ge=60, le=3600)
    settle_s: float = Field(default=60.0, ge=0, le=600)


@dataclass(frozen=True, slots=True)
class Place:
    """Where the rig is, and since when.

    Attributes:
        phase: the phase.
        since_ns: process time at which it began, ns.
        settled: the first good readings have been classified.
        unsettled_ns: process time since which they have been waited for, ns.
        history_known: False when the way here was not seen.
        pressurised: held in this run and not empty since.
        been_cured: the hold was reached in this run.
    """

    phase: Phase = Phase.IDLE
    since_ns: int = 0
    settled: bool = False
    unsettled_ns: int = 0
    history_known: bool = True
    pressurised: bool = False
    been_cured: bool = False


class Scene(NamedTuple):
    """What a row of the table may look at.

    Attributes:
        limits: figures.
        signals: timers and windows.
        now: the frame's digest.
        now_ns: process time, ns.
        place: the present phase.
        granted: the heat permit was granted on the frame before.
        heat_cut: a trip took heat away and is not reset; the run waits for it.
        hold_over: the permit was withdrawn at the planned end of the hold; never
            on a rig that is only watched, whose heat may still be on.
        hold_met: the hold time is met, or none was set and the hold was reached.
        unplugged: pads were unplugged on purpose.
        site_altitude_m: of the rig, m.
    """

    limits: PhaseLimits
    signals: Signals
    now: Now
    now_ns: int
    place: Place
    granted: bool
    heat_cut: bool
    hold_over: bool
    hold_met: bool
    unplugged: bool
    site_altitude_m: float = 0.0

    @property
    def opens_below_c(self) -> float:
        """Every pad must be below this before anything is opened, °C.

        Source:
            `rules.boiling`.
        """
        return opens_below_c(self.site_altitude_m, self.limits.open_c)

    @property
    def held(self) -> bool:
        """Both bags have been held.

        Source:
            Own method.
        """
        return lasted_s(self.signals.held_since_ns, self.now_ns) >= self.limits.held_s

    @property
    def empty(self) -> bool:
        """Both bags have been empty.

        Source:
            Own method.
        """
        return lasted_s(self.signals.empty_since_ns, self.now_ns) >= self.limits.empty_s

    @property
    def in_phase_s(self) -> float:
        """How long the present phase has lasted, s.

        Source:
            Own method.
        """
        return lasted_s(self.place.since_ns, self.now_ns)

    def every_pad(self, test: Callable[[PadSignal], bool]) -> bool:
        """Every fitted pad passes, and all of them are good now.

        Source:
            Own method.
        """
        return self.now.coldest_c is not None and all(test(pad) for pad in self.signals.pads)

    def any_pad(self, test: Callable[[PadSignal], bool]) -> bool:
        """One fitted pad that is good now passes.

        Source:
            Own method.
        """
        return any(
            pad.minutes.newest.end_ns == self.now_ns and test(pad)
            for pad in self.signals.pads
            if pad.minutes.newest is not None
        )


def _warmed(scene: Scene) -> bool:
    # Against the last hour only: a workshop warming up by day is no preheat.
    rise_c = scene.limits.preheat_rise_c
    return scene.any_pad(lambda pad: rise(pad.hour, scene.now_ns, 3600) >= rise_c)


def _preheating(scene: Scene) -> bool:
    return scene.empty and _warmed(scene)


def _preheating_again(scene: Scene) -> bool:
    return _preheating(scene) and scene.in_phase_s >= 300


def _off_peak(scene: Scene) -> bool:
    limit_c = scene.limits.peak_drop_c

    def below(pad: PadSignal) -> bool:
        last_c = pad.minutes.last
        return last_c is not None and pad.peak_c is not None and pad.peak_c - last_c > limit_c

    return scene.empty and (scene.unplugged or scene.every_pad(below))


def _warming_again(scene: Scene) -> bool:
    rise_c = scene.limits.rise_c
    # A pad plugged in again reads warmer, and has not been heated.
    return (
        scene.empty
        and not scene.unplugged
        and scene.any_pad(lambda pad: rise(pad.minutes, scene.now_ns, 120) >= rise_c)
    )


def _filling(scene: Scene) -> bool:
    since_ns = scene.signals.filling_since_ns
    return lasted_s(since_ns, scene.now_ns) >= scene.limits.filling_s


def _let_out_again(scene: Scene) -> bool:
    return scene.empty and scene.now.hottest_c is not None and scene.now.hottest_c < 80


def _heating(scene: Scene) -> bool:
    # Large pads on cold rubber may never rise by 3 in 3 min; they do rise by 10.
    rise_c = scene.limits.rise_c
    return scene.held and (
        scene.any_pad(lambda pad: rise(pad.minutes, scene.now_ns, 180) >= rise_c) or _warmed(scene)
    )


def _found_cooling(scene: Scene) -> bool:
    hottest_c = scene.now.hottest_c
    if scene.place.history_known or hottest_c is None or not 50 <= hottest_c < scene.opens_below_c:
        return False
    return scene.held and scene.every_pad(lambda pad: _falling(pad, scene.now_ns, 180))


def _hot(scene: Scene) -> bool:
    since_ns = scene.signals.hot_since_ns
    return scene.held and lasted_s(since_ns, scene.now_ns) >= scene.limits.cure_s


def _falling(pad: PadSignal, now_ns: int, span_s: float) -> bool:
    return fall(pad.minutes, now_ns, span_s) >= 1.0 and rise(pad.minutes, now_ns, span_s) <= 0.5


def _planned_end(scene: Scene) -> bool:
    return scene.hold_over


def _cooling(scene: Scene) -> bool:
    if scene.heat_cut:
        # It stays a hold, heat cut: mended and reset, the same run goes on.
        return False
    limit_c = scene.limits.cool_drop_c

    def cooling(pad: PadSignal) -> bool:
        # Against the highest 10-min median of the last hour, not the newest one:
        # a pad that cools by under 2 K/min drags its own median down with it.
        plateau_c, last_c = pad.plateau.high, pad.minutes.last
        return plateau_c is not None and last_c is not None and plateau_c - last_c >= limit_c

    return scene.every_pad(cooling) and scene.every_pad(
        lambda pad: _falling(pad, scene.now_ns, 120)
    )


def _heated_again(scene: Scene) -> bool:
    if scene.hold_over:
        # Nothing is cured further in this run; a thermostat left on is no heating up.
        return False
    rise_c = scene.limits.rise_c
    return scene.held and scene.every_pad(
        lambda pad: rise(pad.minutes, scene.now_ns, 180) >= rise_c
    )


def _hot_and_steady(scene: Scene) -> bool:
    if scene.hold_over or not _hot(scene):
        return False

    def steady(pad: PadSignal) -> bool:
        last_c, median_c = pad.minutes.last, pad.minutes.median
        return last_c is not None and median_c is not None and last_c >= median_c - 1.0

    return scene.in_phase_s >= 600 and scene.every_pad(steady)


def _let_down(scene: Scene) -> bool:
    limits, hottest_c, higher_kpa = scene.limits, scene.now.hottest_c, scene.now.higher_kpa
    if hottest_c is None or hottest_c >= scene.opens_below_c or higher_kpa is None:
        return False
    fell_kpa = fall(scene.signals.higher_bag, scene.now_ns, 60)
    return fell_kpa >= limits.let_down_kpa or higher_kpa <= limits.filling_kpa


def _emptied_well(scene: Scene) -> bool:
    return scene.empty and scene.hold_met


def _emptied_unseen(scene: Scene) -> bool:
    hottest_c = scene.now.hottest_c
    cool = hottest_c is not None and hottest_c < scene.opens_below_c
    return scene.empty and cool and scene.hold_met


def _emptied_badly(scene: Scene) -> bool:
    hottest_c = scene.now.hottest_c
    hot = hottest_c is None or hottest_c >= scene.opens_below_c
    return scene.empty and (hot or not scene.hold_met)


def _cold_and_empty(scene: Scene) -> bool:
    hottest_c = scene.now.hottest_c
    return scene.empty and hottest_c is not None and hottest_c < scene.limits.cold_c


def _given_up(scene: Scene) -> bool:
    return (
        _cold_and_empty(scene)
        and not scene.granted
        and scene.in_phase_s >= scene.limits.given_up_s
        and not scene.any_pad(lambda pad: rise(pad.hour, scene.now_ns, 3600) >= scene.limits.rise_c)
    )


@dataclass(frozen=True, slots=True)
class Row:
    """One way from phases to a phase.

    Attributes:
        sources: phases it leaves.
        target: phase it enters.
        why: in words, for the event and the page.
        when: the condition.
    """

    sources: frozenset[Phase]
    target: Phase
    why: str
    when: Callable[[Scene], bool]


def _row(sources: str, target: Phase, why: str, when: Callable[[Scene], bool]) -> Row:
    return Row(frozenset(Phase(name) for name in sources.split()), target, why, when)


TABLE: tuple[Row, ...] = (
    _row("idle", Phase.PREHEAT, "pads warm up, no air", _preheating),
    _row("done", Phase.PREHEAT, "pads warm up again, no air for 5 min", _preheating_again),
    _row("preheat", Phase.FITTING, "pads off their peak or unplugged, no air", _off_peak),
    _row("fitting", Phase.PREHEAT, "pads warm up again, no air", _warming_again),
    _row("idle preheat fitting done", Phase.INFLATION, "air goes in", _filling),
    _row("preheat fitting", Phase.IDLE, "given up: cold, no air, no heat", _given_up),
    _row("inflation", Phase.FITTING, "air let out again before heat", _let_out_again),
    _row("inflation", Phase.COOL_DOWN, "found under air, warm and cooling", _found_cooling),
    _row("inflation", Phase.HEAT_UP, "air held, pads warm up", _heating),
    _row("heat_up", Phase.CURE, "air held, coldest pad hot", _hot),
    _row("heat_up cure", Phase.COOL_DOWN, "the planned end of the hold came", _planned_end),
    _row("cure", Phase.COOL_DOWN, "every pad cools", _cooling),
    _row("cool_down", Phase.HEAT_UP, "air held, every pad warms up again", _heated_again),
    _row("cool_down", Phase.HEAT_UP, "air held, every pad stays hot", _hot_and_steady),
    _row("cool_down", Phase.RELEASE, "cool enough, air let down", _let_down),
    _row("heat_up cure", Phase.RELEASE, "found empty and cool, hold met", _emptied_unseen),
    _row("release", Phase.DONE, "empty, hold met", _emptied_well),
    _row(
        "heat_up cure cool_down release",
        Phase.ABORTED,
        "empty while hot, or before the hold was met",
        _emptied_badly,
    ),
    _row("aborted", Phase.IDLE, "empty and cold", _cold_and_empty),
)


_LEAVING = {phase: tuple(row for row in TABLE if phase in row.sources) for phase in Phase}


def classify(limits: PhaseLimits, now: Now, site_altitude_m: float = 0.0) -> Phase | None:
    """The phase of a rig whose past is not known, from one frame.

    Args:
        limits: figures.
        now: the frame's digest.
        site_altitude_m: of the rig, m.

    Returns:
        The phase, or None while pads or bags cannot be read.

    Source:
        This project's design, "History lost". A hot rig with some air in it
        counts as in cure, so that low air speaks.
    """
    if now.hottest_c is None or now.higher_kpa is None or now.lower_kpa is None:
        return None
    if now.hottest_c >= opens_below_c(site_altitude_m, limits.open_c):
        return Phase.CURE if now.higher_kpa >= limits.filling_kpa else Phase.ABORTED
    return Phase.INFLATION if now.lower_kpa >= limits.held_kpa else Phase.IDLE


def next_row(scene: Scene) -> Row | None:
    """The first row of the table that holds, or None.

    Source:
        This project's design, "Phases".
    """
    for row in _LEAVING[scene.place.phase]:
        if row.when(scene):
            return row
    return None

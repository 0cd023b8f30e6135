"""What will happen tonight, said before it begins: a few plain lines for whoever starts a run.

Told as a prompt when somebody presses here before the start, and when start allows
heat; `curehold status` may ask at any time. The times of heat-up and of opening are
usual ones (`rules.usual`) and rough: nothing here knows the rubber.

Source:
    This project's design, "what will happen tonight"; common practice, no source.
"""

from dataclasses import dataclass

from rules.alphabet import SHORT_MAX, basic, room
from rules.events import Prompted
from rules.facts import AirMode
from rules.frame import NS_PER_S, Frame
from rules.hazards import BY_TAG, HAZARDS
from rules.limits import LimitsBase
from rules.messages import clock_time
from rules.permit import PermitState
from rules.phases import Phase
from rules.state import State

TAG = "run.outlook"
ROUND_S = 300
PREHEATED_C = 60.0
NOTHING_TO_COME = frozenset({Phase.RELEASE, Phase.DONE, Phase.ABORTED})
OVERNIGHT = {
    AirMode.RELIEVING: "Overnight: air stays in, the compressor stays on.",
    AirMode.NON_RELIEVING: "Overnight: compressor off only with lock-off valves shut.",
    AirMode.LOCKED_OFF: "Overnight: valves stay shut, the compressor may go off.",
}
LET_DOWN = "Let-down: somebody at the rig, gauges at zero, then pins."
_UNATTENDED = HAZARDS.index(BY_TAG["run.unattended"])


@dataclass(frozen=True, slots=True)
class _Now:
    """What the lines are made from.

    Attributes:
        limits: facts and limits of the rig.
        state: the fold with this frame.
        frame: the newest frame.
    """

    limits: LimitsBase
    state: State
    frame: Frame

    @property
    def phase(self) -> Phase:
        return self.state.place.phase

    @property
    def watch_only(self) -> bool:
        return self.state.permit.state is PermitState.WATCH_ONLY

    def at(self, after_s: float) -> str:
        """Local time, to the earlier minute; without a clock that is set, how long from now."""
        if self.frame.wall_trusted:
            return clock_time(self.frame.wall_ns + int(after_s * NS_PER_S), self.frame.utc_offset_s)
        minutes = max(0, int(after_s // 60))
        words = f"{minutes // 60} h {minutes % 60} min" if minutes >= 60 else f"{minutes} min"
        return f"{words} from now"

    def about(self, after_s: float) -> str:
        """The same, to five minutes, later rather than sooner."""
        wall_s = self.frame.wall_ns // NS_PER_S if self.frame.wall_trusted else 0
        whole_s = -(-int(wall_s + after_s) // ROUND_S) * ROUND_S
        return self.at(whole_s - wall_s)


def outlook(limits: LimitsBase, state: State, frame: Frame) -> tuple[str, ...]:
    """Plain lines about what is to come on this rig, soonest first.

    Args:
        limits: facts and limits of the rig.
        state: the fold with this frame.
        frame: the newest frame.

    Returns:
        Lines of at most 75 basic characters; none when nothing is to come: while
        air is let down, when a run is done or aborted.

    Source:
        This project's design.
    """
    now = _Now(limits, state, frame)
    if now.phase in NOTHING_TO_COME:
        return ()
    if now.phase is Phase.COOL_DOWN:
        gone_s = (state.now_ns - state.place.since_ns) / NS_PER_S
        return (*_opening(now, -gone_s), LET_DOWN, OVERNIGHT[limits.facts.air_mode])
    hot_s = _until_hot_s(now)
    end_s = _until_end_s(now, hot_s)
    heat = (f"Hot by about {now.about(hot_s)}.",) if hot_s > 0 else ()
    return (
        *heat,
        _hold(now, end_s),
        *_presses(now),
        *(_opening(now, end_s) if end_s is not None else ()),
        LET_DOWN,
        OVERNIGHT[limits.facts.air_mode],
    )


def outlook_told(limits: LimitsBase, state: State, frame: Frame) -> tuple[Prompted, ...]:
    """The outlook as a prompt; none when nothing is to come.

    Args:
        limits: facts and limits of the rig.
        state: the fold with this frame.
        frame: the newest frame.

    Source:
        This project's design; `rules.alphabet` for what fits a short message.
    """
    lines = outlook(limits, state, frame)
    if not lines:
        return ()
    title = f"{basic(limits.facts.title)}:"
    short = title
    for line in lines:
        if room(f"{short} {line}") > SHORT_MAX:
            break
        short = f"{short} {line}"
    page = "\n".join((f"{title} what is to come", *lines))
    return (Prompted(TAG, " ".join(lines), short, page),)


def _until_hot_s(now: _Now) -> float:
    """Until the hold begins, s, as it usually goes."""
    usual = now.limits.usual
    steps = (
        (Phase.PREHEAT, usual.preheat_min),
        (Phase.FITTING, usual.mount_min),
        (Phase.INFLATION, usual.air_min),
        (Phase.HEAT_UP, usual.heat_up_min),
    )
    if now.phase is Phase.CURE:
        return 0.0
    if now.phase is Phase.HEAT_UP:
        return usual.heat_up_min * 60 * _still_to_heat(now)
    left_s, begun = 0.0, now.phase is Phase.IDLE
    for phase, usual_min in steps:
        if begun:
            left_s += usual_min * 60
        elif phase is now.phase:
            begun = True
            gone_s = (now.state.now_ns - now.state.place.since_ns) / NS_PER_S
            left_s += max(0.0, usual_min * 60 - gone_s)
    return left_s


def _still_to_heat(now: _Now) -> float:
    """The share of heat-up still to come, by the coldest pad; all of it when none was read."""
    read_c = [pad.minutes.last for pad in now.state.signals.pads]
    known_c = [value for value in read_c if value is not None]
    if not known_c:
        return 1.0
    hot_c = now.limits.phases.cure_c
    return min(1.0, max(0.0, (hot_c - min(known_c)) / max(1.0, hot_c - PREHEATED_C)))


def _until_end_s(now: _Now, hot_s: float) -> float | None:
    """Until heat goes off at the planned end, s; None when no time is set."""
    hold_min, hold = now.limits.facts.hold_min, now.state.hold
    if hold_min is None:
        return None
    if hold.over:
        return 0.0
    counted_s = hold.held_s if now.state.run.open else 0.0
    return hot_s + max(0.0, hold_min * 60 - counted_s)


def _hold(now: _Now, end_s: float | None) -> str:
    if end_s is None:
        return "No hold time set: say when heat is to end."
    if end_s <= 0:
        return "Hold complete: SWITCH HEAT OFF." if now.watch_only else "Hold complete, heat off."
    heat = "then SWITCH HEAT OFF" if now.watch_only else "heat then goes off by itself"
    return f"Hold ends about {now.about(end_s)}; {heat}."


def _presses(now: _Now) -> tuple[str, ...]:
    limits = now.limits.of("run_unattended")
    if "here_button" not in now.frame.values:
        return ("No here button: do not leave it alone.",)
    often = f"every {limits.prompt_after_min:g} min"
    if not now.state.run.open:
        return (f"Once it is started press here {often}.",)
    alone_ns = now.state.memories[_UNATTENDED].alone_ns
    pressed_s = 0.0 if alone_ns is None else (alone_ns - now.state.now_ns) / NS_PER_S
    by = now.at(pressed_s + limits.prompt_after_min * 60)
    last = now.at(pressed_s + limits.trip_after_min * 60)
    if now.watch_only:
        then = f"Nobody there by {last}: heat must go off."
    else:
        then = f"Nobody there by {last}: heat goes off by itself."
    quiet = f"({limits.quiet_prompt_min:g} in a quiet hold)"
    return (f"Press here by {by}, then {often} {quiet}.", then)


def _opening(now: _Now, end_s: float) -> tuple[str, ...]:
    cool_s = end_s + now.limits.usual.cool_min * 60
    if cool_s <= 0:
        return ("Cooling for as long as it usually takes; look at the pads.",)
    return (f"Not to be opened before about {now.about(cool_s)}, roughly.",)

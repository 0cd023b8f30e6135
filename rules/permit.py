"""The heat permit: the one power this program has, and how it is given and taken.

Closing the permit lets a calling thermostat heat, so closing it is treated as
switching heat on. Resetting never switches heat on by itself; a fresh press of
start does.

Source:
    IEC 60204-1 (unexpected start; a reset does not restart) and ISO 13850, as
    read in this project's design; figures are common practice, no source.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple

from pydantic import BaseModel, Field

from rules.channels import BAGS, PADS
from rules.events import Event, PermitChanged, Pressed
from rules.facts import STRICT
from rules.frame import NS_PER_S
from rules.phases import Phase
from rules.view import View

LastGood = tuple[float | None, float | None, float | None, float | None]
NEVER_GOOD: LastGood = (None, None, None, None)


class PermitState(StrEnum):
    """What the permit is."""

    WATCH_ONLY = "watch_only"
    WITHHELD = "withheld"
    GRANTED = "granted"
    WITHDRAWN = "withdrawn"
    LATCHED = "latched"


class PermitLimits(BaseModel):
    """Figures of the permit.

    Attributes:
        long_press_s: start held this long resets a latch, as reset does.
        gap_s: a longer gap between frames is an interruption; also how long a
            link keeps a rig's coil closed without a sign of life.
        regrant_gap_s: after a gap of at most this, heat may come back by itself.
        regrant_pad_c: if no pad has changed by this much,
        regrant_bag_kpa: and no bag by this much,
        regrant_wait_s: and all of it can be seen within this time.
        replug_s: pads plugged in again must read well this long.
        relay_s: a granted permit whose relay reads back open this long is
            withdrawn: closing it again would be switching heat on.
    """

    model_config = STRICT

    long_press_s: float = Field(default=3.0, ge=1, le=9)
    gap_s: float = Field(default=3.0, ge=1, le=3)
    regrant_gap_s: float = Field(default=60.0, ge=0, le=60)
    regrant_pad_c: float = Field(default=8.0, gt=0, le=8)
    regrant_bag_kpa: float = Field(default=10.0, gt=0, le=10)
    regrant_wait_s: float = Field(default=15.0, ge=1, le=60)
    replug_s: float = Field(default=30.0, ge=30, le=600)
    relay_s: float = Field(default=5.0, ge=2, le=30)


@dataclass(frozen=True, slots=True)
class Before:
    """How the rig stood just before a gap that took a granted permit away.

    Attributes:
        since_ns: process time just after the gap, ns.
        values: pads and bags as last read well, by channel.
    """

    since_ns: int
    values: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Permit:
    """The permit and what is remembered for it.

    Attributes:
        state: what it is.
        why: in words.
        tag: the hazard that took heat away, or empty.
        before: set while heat may still come back by itself after a gap.
        open_since_ns: since when the relay has read back open though granted.
        since_ns: process time at which heat was last granted or taken away, ns; 0
            before the first grant.
    """

    state: PermitState = PermitState.WITHHELD
    why: str = "press start at the rig"
    tag: str = ""
    before: Before | None = None
    open_since_ns: int | None = None
    since_ns: int = 0

    @property
    def granted(self) -> bool:
        """Heat may be on.

        Source:
            Own method.
        """
        return self.state is PermitState.GRANTED


class Asked(NamedTuple):
    """What this frame asks of the permit.

    Attributes:
        start: start was newly pressed.
        reset: the button that asks for a reset: reset newly pressed, or start
            held long; empty when none does.
        trips: tags of the hazards that stand at trip, in started-with order.
        warns: tags that stand at warning or above, but for the gap's own.
        hold_over: the planned end of the hold has just been reached.
        hold_spent: the hold of this run is over.
        same_boot: the computer has not restarted since the frame before.
        last_good: pads and bags as last read well before this frame, in the order
            of `rules.channels.PADS` and `BAGS`; None: never.
    """

    start: bool = False
    reset: str = ""
    trips: tuple[str, ...] = ()
    warns: tuple[str, ...] = ()
    hold_over: bool = False
    hold_spent: bool = False
    same_boot: bool = True
    last_good: LastGood = NEVER_GOOD


NEEDED_TO_START = (*PADS, "estop_ok", "mains_ok")
NO_HEAT_PHASES = {
    Phase.RELEASE: "air is being let down",
    Phase.ABORTED: "the run was aborted; wait until the pads are below 50 C",
}


def decide(
    limits: PermitLimits, permit: Permit, view: View, asked: Asked
) -> tuple[Permit, tuple[Event, ...]]:
    """The permit after one frame, and what is to be told of it.

    Taking away comes first; nothing below can grant in a frame that takes away.

    Source:
        This project's design, "What it is, and is not".
    """
    if view.watch_only:
        return _watch_only(permit, asked)
    taken = _take_away(limits, permit, view, asked)
    events: list[Event] = []
    # Start before reset: both in one frame must not switch heat on.
    if asked.start:
        taken, told = _start(taken, view, asked)
        events.append(told)
    elif taken.before is not None and not taken.granted:
        taken = _come_back(limits, taken, view, asked)
    if asked.reset:
        taken, told = _reset(taken, asked)
        events.append(told)
    if (taken.state, taken.tag) != (permit.state, permit.tag):
        events.append(PermitChanged(taken.state.value, taken.why, taken.tag))
    since_ns = view.now_ns if taken.granted is not permit.granted else permit.since_ns
    if taken.since_ns != since_ns:
        taken = replace(taken, since_ns=since_ns)
    return taken, tuple(events)


def _watch_only(permit: Permit, asked: Asked) -> tuple[Permit, tuple[Event, ...]]:
    why = "no heat permit relay or no start button is fitted: this rig is only watched"
    told: tuple[Event, ...] = (
        (Pressed("start_button", "watch-only: start has no power here"),) if asked.start else ()
    )
    if permit.state is PermitState.WATCH_ONLY:
        return permit, told
    # A latch is kept through it: taking a relay away is no reset.
    tag = permit.tag if permit.state is PermitState.LATCHED else ""
    return Permit(PermitState.WATCH_ONLY, why, tag), (*told, PermitChanged("watch_only", why, tag))


def _take_away(limits: PermitLimits, permit: Permit, view: View, asked: Asked) -> Permit:
    if permit.state is PermitState.WATCH_ONLY:
        permit = _latched(permit.tag) if permit.tag else Permit()
    if asked.trips:
        if permit.state is PermitState.LATCHED:
            return permit
        return _latched(asked.trips[0])
    if permit.state is PermitState.LATCHED:
        return permit
    why = _why_not(view, asked)
    if permit.granted and view.gap_s > 0:
        return _interrupted(limits, permit, view, asked, why)
    permit = _watch_relay(permit, view)
    if _opened_by_itself(limits, permit, view):
        why = why or "the heat relay opened by itself; look at its module, then press start"
    if permit.granted and why:
        return Permit(PermitState.WITHDRAWN, why)
    if (why or view.gap_s > 0) and permit.before is not None:
        return replace(permit, before=None)
    return permit


def _latched(tag: str) -> Permit:
    return Permit(PermitState.LATCHED, f"{tag}: mend it, then reset at the rig", tag)


def _watch_relay(permit: Permit, view: View) -> Permit:
    if not permit.granted or view.frame.readback.get("heat_permit") is True:
        return permit if permit.open_since_ns is None else replace(permit, open_since_ns=None)
    # A read-back that failed says nothing, either way.
    if permit.open_since_ns is None and view.frame.readback.get("heat_permit") is False:
        return replace(permit, open_since_ns=view.now_ns)
    return permit


def _opened_by_itself(limits: PermitLimits, permit: Permit, view: View) -> bool:
    if permit.open_since_ns is None:
        return False
    patience_s = max(limits.relay_s, 3 * view.facts.frame_period_s)
    return view.now_ns - permit.open_since_ns > patience_s * NS_PER_S


def _why_not(view: View, asked: Asked) -> str:
    """Why heat must go now without a latch; empty when it may stay."""
    if view.is_on("estop_ok") is False:
        return "emergency stop pressed; press start when it is released"
    if view.is_on("mains_ok") is False:
        return "mains lost; press start when it is back"
    if view.unplugged:
        return "pads unplugged; plug them in, wait 30 s, press start"
    if asked.hold_over:
        return "hold complete: leave under air until cool"
    return NO_HEAT_PHASES.get(view.phase, "")


def _interrupted(
    limits: PermitLimits, permit: Permit, view: View, asked: Asked, why_not: str
) -> Permit:
    why = f"no frames for {view.gap_s:.0f} s; press start at the rig"
    if why_not or not asked.same_boot or view.gap_s > limits.regrant_gap_s:
        return Permit(PermitState.WITHDRAWN, why)
    # Without a pad and a bag to compare, nobody knows that nothing changed.
    values = _named(asked.last_good)
    if {name.rpartition("_")[2] for name, _ in values} != {"c", "kpa"}:
        return Permit(PermitState.WITHDRAWN, why)
    before = Before(view.now_ns, values)
    return Permit(PermitState.WITHDRAWN, why, before=before)


def _named(last_good: LastGood) -> tuple[tuple[str, float], ...]:
    pairs = zip((*PADS, *BAGS), last_good, strict=True)
    return tuple((name, value) for name, value in pairs if value is not None)


def _reset(permit: Permit, asked: Asked) -> tuple[Permit, Event]:
    if permit.state is not PermitState.LATCHED:
        return permit, Pressed(asked.reset, "nothing to reset")
    if asked.trips:
        return permit, Pressed(asked.reset, f"not reset: {asked.trips[0]} still stands")
    freed = Permit(PermitState.WITHHELD, "reset at the rig; press start to heat")
    return freed, Pressed(asked.reset, f"reset after {permit.tag}")


def _start(permit: Permit, view: View, asked: Asked) -> tuple[Permit, Event]:
    if permit.granted:
        return permit, Pressed("start_button", "heat is already allowed")
    why = _why_no_start(permit, view, asked)
    if why:
        return permit, Pressed("start_button", f"heat not allowed: {why}")
    granted = Permit(PermitState.GRANTED, "start pressed at the rig")
    return granted, Pressed("start_button", "heat allowed")


def _why_no_start(permit: Permit, view: View, asked: Asked) -> str:
    if permit.state is PermitState.LATCHED:
        return f"{permit.tag} tripped; mend it, then reset at the rig"
    if asked.hold_spent and view.run_open:
        return "the hold of this run is complete"
    unread = [name for name in NEEDED_TO_START if _unread(view, name)]
    if unread:
        return f"{unread[0]} cannot be read"
    if not view.pads_c:
        return "no pad temperature is fitted"
    if not view.frame.health.store_ok:
        # Granted only after the commit that records it, so it could not close.
        return "the record cannot be stored; make room on the disk"
    return _why_not(view, asked)


def _unread(view: View, channel: str) -> bool:
    return view.reading(channel) is not None and view.good(channel) is None


def _come_back(limits: PermitLimits, permit: Permit, view: View, asked: Asked) -> Permit:
    """After a short gap heat may come back by itself; any doubt ends the chance."""
    before = permit.before
    if before is None:
        return permit
    waited_s = (view.now_ns - before.since_ns) / NS_PER_S
    if asked.warns or waited_s > limits.regrant_wait_s:
        return replace(permit, before=None)
    # Mains not watched is mains not known: then a person presses.
    if view.reading("mains_ok") is None or _why_not(view, asked):
        return replace(permit, before=None)
    # The frame after the gap takes heat away; only a later one may give it back.
    if view.gap_s > 0 or view.is_on("mains_ok") is None or _unread(view, "estop_ok"):
        return permit
    values = {**view.pads_c, **view.bags_kpa}
    if any(name not in values for name, _ in before.values):
        return permit
    for name, was in before.values:
        limit = limits.regrant_pad_c if name.endswith("_c") else limits.regrant_bag_kpa
        if abs(values[name] - was) >= limit:
            return replace(permit, before=None)
    return Permit(PermitState.GRANTED, "back after a short gap, nothing changed meanwhile")

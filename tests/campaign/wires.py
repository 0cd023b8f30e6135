"""What stands between plant and rules: frames as the drivers would give them, outputs as written.

Three modules as in the example configuration. A module that does not answer
leaves readings without a value whose `at_ns` is that of its last answer; what
is written to it then is not done. Nothing here judges.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import isnan

from daemon.outputs import sounding
from rules.events import Outputs
from rules.frame import NS_PER_S, Frame, Health, Quality, Reading, Reason
from simulator.panel import COILS
from simulator.plant import Rig
from simulator.sensors import Failure
from simulator.wire import Trouble

TEMPERATURES = ("pad_inner_c", "pad_outer_c", "ambient_c", "tyre_wall_c")
PRESSURES = ("bag_inner_kpa", "bag_outer_kpa", "supply_kpa")
CURRENTS = ("heat_current_inner_a", "heat_current_outer_a")
SWITCHES = (
    "start_button",
    "here_button",
    "reset_button",
    "pins_in",
    "heat_on",
    "mains_ok",
    "estop_ok",
    "release_request",
)
# What the generic modules of the example do not have.
MORE_SWITCHES = ("contactor_closed", "cutout_ok", "horn_heard", "supervisor_power_ok")
CHANNELS = (*TEMPERATURES, *PRESSURES, *CURRENTS, *SWITCHES, *MORE_SWITCHES)

FITTINGS: Mapping[str, frozenset[str]] = {
    "all": frozenset((*CHANNELS, *COILS)),
    "usual": frozenset((*TEMPERATURES[:3], *PRESSURES, *SWITCHES, *COILS)),
    "few": frozenset(
        (*TEMPERATURES[:2], *PRESSURES[:2], "start_button", "here_button", "reset_button", *COILS)
    ),
}

# What comes of each trouble; one that is not here is answered well. On a serial
# bus a doubled answer is taken for the next one and thrown away with it.
BECOMES = {
    Trouble.SILENT: Reason.NO_REPLY,
    Trouble.LATE: Reason.NO_REPLY,
    Trouble.GARBLED: Reason.BAD_REPLY,
    Trouble.TRUNCATED: Reason.BAD_REPLY,
    Trouble.FOREIGN: Reason.BAD_REPLY,
    Trouble.EXCEPTION: Reason.REFUSED,
    Trouble.DOUBLED: Reason.BAD_REPLY,
    Trouble.HANGS_UP: Reason.LINK_DOWN,
    Trouble.BABBLES: Reason.BAD_REPLY,
}
DOES_NOTHING = frozenset({Trouble.SILENT, Trouble.EXCEPTION, Trouble.HANGS_UP})

# Ranges of the example's pressure channels, kPa; the temperature module's is the rules' business.
RANGES_KPA = {
    "bag_inner_kpa": (-20.0, 700.0),
    "bag_outer_kpa": (-20.0, 700.0),
    "supply_kpa": (-20.0, 1600.0),
}
FAILED = (Failure.OPEN, Failure.SHORT)
COUNTS_MAX_C = 3276.6  # int16 in tenths of a degree; its ends say open and short
POLLED_BEFORE_NS = NS_PER_S // 4  # a frame is made a quarter of a period after its poll
UP_SINCE_S = 100.0

# How long a first undelivered message waits before it counts as late, s (invented).
LATE_AFTER_S = 300.0
FREE_MB = 20_000
WELL = Health(broker_ok=True, store_free_mb=FREE_MB)


def module_of(channel: str) -> str:
    """The module a channel is read from."""
    if channel == "supervisor_power_ok":
        return "computer"
    if channel in TEMPERATURES:
        return "temperatures"
    return "pressures" if channel in PRESSURES else "relays"


@dataclass
class Wires:
    """One rig's wires and modules, from the supervisor's side.

    Attributes:
        fitted: channels and outputs.
        seq: of the newest frame.
    """

    fitted: frozenset[str]
    seq: int = 0

    def __post_init__(self) -> None:
        self._answered_ns = dict.fromkeys(("temperatures", "pressures", "relays"), 0)
        # Not known to be off until written: the first act is to open everything.
        self._written: dict[str, bool | None] = dict.fromkeys(self._outputs())
        self._gateway_away_s: float | None = None
        self._layout = [
            (name, module_of(name), READS.get(name)) for name in CHANNELS if name in self.fitted
        ]

    def copy(self) -> "Wires":
        """Another that goes on from here."""
        twin = Wires(self.fitted, self.seq)
        twin._answered_ns = dict(self._answered_ns)
        twin._written = dict(self._written)
        twin._gateway_away_s = self._gateway_away_s
        return twin

    def restarted(self) -> None:
        """The supervisor has begun anew; what was written before is not known."""
        self._written = dict.fromkeys(self._outputs())

    def frame(self, rig: Rig, wall_ns: int, limits_hash: str) -> Frame:
        """The next frame, of what instruments and switches show now."""
        t_ns = round((rig.now_s + UP_SINCE_S) * NS_PER_S)
        polled_ns = t_ns - POLLED_BEFORE_NS
        failing = self._poll(rig, polled_ns)
        switches = rig.switches()
        values = {}
        for name, module, read in self._layout:
            reason = failing[module]
            if reason:
                values[name] = Reading(None, Quality.BAD, reason, self._answered_ns[module])
                continue
            told = float(switches[name]) if read is None else read(rig, name)
            if isinstance(told, Reason):
                values[name] = Reading(None, Quality.BAD, told, polled_ns)
            else:
                values[name] = Reading(told, Quality.GOOD, Reason.NONE, polled_ns)
        self.seq += 1
        return Frame(
            self.seq,
            t_ns,
            wall_ns,
            True,
            "campaign",
            values,
            self._readback(rig, failing["relays"]),
            self._health(rig),
            limits_hash=limits_hash,
        )

    def write(self, rig: Rig, outputs: Outputs) -> None:
        """Carry out one decision; the plant moves on with it in its next step."""
        relays = rig.relays
        trouble = rig.wire.of("relays")
        done = relays.powered and trouble not in DOES_NOTHING
        answered = done and trouble not in BECOMES
        # Heat is granted only after the commit that records it.
        permit = outputs.heat_permit and not rig.host.disk_full
        wanted = {
            "heat_permit": permit,
            "horn": sounding(outputs.horn, self.seq),
            "beacon_red": outputs.beacon_red,
            "beacon_amber": outputs.beacon_amber,
            "release_permit": outputs.release_permit,
        }
        if permit is False and outputs.heat_permit and self._written.get("heat_permit"):
            wanted["heat_permit"] = True  # granted and recorded before the disk was full
        for name, was in self._written.items():
            on = wanted[name]
            on_though_off = answered and not on and was is False and relays.coils[name]
            if was == on and not on_though_off:
                continue
            if done:
                relays.coils[name] = on
            failed = True if on and name == "heat_permit" else None
            self._written[name] = on if answered else failed

    def _health(self, rig: Rig) -> Health:
        host = rig.host
        if not host.gateway_away:
            self._gateway_away_s = None
        elif self._gateway_away_s is None:
            self._gateway_away_s = rig.now_s
        if not (host.disk_full or host.broker_away or host.gateway_away):
            return WELL
        away_s = self._gateway_away_s
        late = away_s is not None and rig.now_s - away_s >= LATE_AFTER_S
        return Health(
            store_ok=not host.disk_full,
            broker_ok=not host.broker_away,
            store_free_mb=0 if host.disk_full else FREE_MB,
            delivery_failing="phones" if late else "",
        )

    def _outputs(self) -> list[str]:
        return [name for name in COILS if name in self.fitted]

    def _poll(self, rig: Rig, at_ns: int) -> dict[str, Reason]:
        failing = {"computer": Reason.NONE}
        for module in self._answered_ns:
            trouble = rig.wire.of(module)
            reason = BECOMES.get(trouble, Reason.NONE)
            if module == "relays":
                if not rig.relays.powered:
                    reason = Reason.NO_REPLY
                elif trouble not in DOES_NOTHING:
                    rig.relays.heard()
            if not reason:
                self._answered_ns[module] = at_ns
            failing[module] = reason
        return failing

    def _readback(self, rig: Rig, failing: Reason) -> dict[str, bool | None]:
        if failing:
            return dict.fromkeys(self._written)
        return {name: rig.relays.coils[name] for name in self._written}


def _pressure(rig: Rig, name: str) -> float | Reason:
    instrument = rig.instruments[name]
    shown = instrument.shown
    # Its module gives no number for an open or shorted transmitter.
    if instrument.failure in FAILED or isnan(shown):
        return Reason.NOT_A_NUMBER
    low, high = RANGES_KPA[name]
    if shown < low:
        return Reason.BELOW_RANGE
    return Reason.ABOVE_RANGE if shown > high else shown


def _temperature(rig: Rig, name: str) -> float | Reason:
    instrument = rig.instruments[name]
    telling = instrument.telling
    if telling is Failure.OPEN:
        return Reason.OPEN_CIRCUIT
    if telling is Failure.SHORT:
        return Reason.SHORT_CIRCUIT
    # With the bound first, what is no number (a converter gone mad) ends there too.
    return max(-COUNTS_MAX_C, min(COUNTS_MAX_C, instrument.shown))


READS: Mapping[str, Callable[[Rig, str], float | Reason]] = {
    **dict.fromkeys(TEMPERATURES, _temperature),
    **dict.fromkeys(PRESSURES, _pressure),
    **dict.fromkeys(CURRENTS, lambda rig, name: rig.instruments[name].shown),
    "contactor_closed": lambda rig, _: float(rig.electrics.contactor_closed > 0.5),
    "cutout_ok": lambda rig, _: float(all(pad.cutout_ok for pad in rig.pads.values())),
    "horn_heard": lambda rig, _: float(rig.relays.shown()["horn"]),
    "supervisor_power_ok": lambda rig, _: float(not rig.host.on_battery),
}

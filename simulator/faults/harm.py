"""What does harm, and how soon: small pure sums for the faults' deadlines.

Every figure is one of physics with its source, or one of the trade, marked so.
Nothing here knows what a supervisor watches or when it speaks. Where a sum has
to leave something out it errs to the early side: harm never comes sooner than
it says.
"""

from itertools import pairwise
from math import exp, inf, log, pi, sqrt

from simulator.crew import Crew, Stage
from simulator.gas import (
    ATMOSPHERE_KPA,
    CRITICAL_RATIO,
    GAS_J_MOL_K,
    REFERENCE_MOL_M3,
    ZERO_C_K,
    flow_mol_s,
)
from simulator.plant import Rig, RigSettings

# From here rubber blows and its surface reverts while one looks on (common practice, no source).
BLOWS_C = 160.0
# Below this under the pad the hold does not count (common practice, no source).
CURES_FROM_C = 120.0
# Below this a minute is worth two fifths of one at 140 °C (Arrhenius, 90 kJ/mol): no hold is
# long enough for the rim without overdoing the middle.
RIM_CURES_FROM_C = 126.0
# A repair is safe to let down once cooler than this (common practice, no source).
SAFE_LET_DOWN_C = 100.0
# Steam and trapped air open the rubber once a bag presses less (common practice, no source).
PRESSED_KPA = 150.0
# Set on each bag: 30 psi; 1 psi = 6.894757 kPa, NIST SP 811.
WORKING_KPA = 206.84
WORKING_C = 140.0
# Wood, cotton and paper left against something this hot char and may smoulder (from memory:
# the low end of what is told of wood beside steam pipes).
BENCH_CHARS_C = 120.0
PREHEAT_C = 60.0
WARM_C = 70.0  # the preheat's upper end (common practice, no source)
# The data sheet's time of the invented compound, and what of it can be spared: a tenth more or
# less, in minutes' worth at the working temperature (common practice, no source).
HOLD_S = 9000.0
CURE_SPARE_MIN = 15.0
# A plug chars when its joint sheds this, W (from memory: ten times what one is made to shed).
JOINT_CHARS_W = 50.0
MAINS_V = 230.0  # IEC 60038
# A contactor of this size lasts about so many operations at its rated load (from memory).
CONTACT_LIFE = 100_000
CHATTER_HZ = 20.0
FETCHES_TOOL_S = 60.0  # a minute (common practice, no source)
# A leak that a hand can still find and stop before the bag is down.
STOPPABLE_DM3_S_BAR = 0.01
# A bag's gas stands between the pad and the air (common practice, no source).
WARM_GAS_C = 80.0

# Arrhenius figures of over-cure, invented within what is published: five hours' worth at
# 140 °C with the activation energy of the cure itself, 90 kJ/mol (span 79 to 155).
REVERTS_MIN = 300.0
ACTIVATION_J_MOL = 90_000.0
REFERENCE_C = 140.0

# A person: sees or hears, understands and moves (from memory: 1 to 2 s for the unready).
REACTION_S = 1.5
WALKING_M_S = 1.6  # ISO 13855, from memory

# Bare metal this hot burns in a second of touch; ISO 13732-1, from memory.
BURNS_AT_ONCE_C = 65.0

# IAPWS-IF97, region 4, saturation line; from memory, held against the release's check values.
_SATURATION = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)
_FALL_STEPS = 200
_COURSE_STEP_S = 5.0


def lump_s(
    heat_capacity_j_k: float,
    power_w: float,
    from_c: float,
    to_c: float,
    *,
    loss_w_k: float = 0.0,
    around_c: float = 20.0,
) -> float:
    """Time a lump takes from one temperature to another, warming or cooling.

    Args:
        heat_capacity_j_k: of the lump, J/K.
        power_w: put in, W; 0 lets it cool.
        from_c: at the start, °C.
        to_c: at the end, °C.
        loss_w_k: to its surroundings, W/K.
        around_c: the surroundings, °C.

    Returns:
        Seconds; infinite when it never gets there.
    """
    if from_c == to_c:
        return 0.0
    if loss_w_k <= 0:
        seconds = heat_capacity_j_k * (to_c - from_c) / power_w if power_w else inf
        return seconds if seconds > 0 else inf
    settles_c = around_c + power_w / loss_w_k
    # Both ends lie on the same side of where it settles, the end nearer.
    left = (to_c - settles_c) / (from_c - settles_c) if from_c != settles_c else inf
    if not 0 < left < 1:
        return inf
    return -heat_capacity_j_k / loss_w_k * log(left)


def cure_rate(temperature_c: float) -> float:
    """Equivalent minutes at 140 °C earned in a minute; Arrhenius with 90 kJ/mol."""
    colder = 1 / (temperature_c + ZERO_C_K) - 1 / (REFERENCE_C + ZERO_C_K)
    return exp(-ACTIVATION_J_MOL / GAS_J_MOL_K * colder)


def reversion_s(temperature_c: float, *, spent_min: float = 0.0) -> float:
    """Time at a steady temperature until rubber reverts, s.

    Args:
        temperature_c: of the rubber, °C.
        spent_min: equivalent minutes at 140 °C that it has had already.
    """
    return max(0.0, REVERTS_MIN - spent_min) * 60 / cure_rate(temperature_c)


def boiling_c(gauge_kpa: float) -> float:
    """Boiling point of water under a gauge pressure at sea level; IAPWS-IF97 region 4.

    Args:
        gauge_kpa: kPa above the atmosphere, which is taken as 101.325 kPa.
    """
    n = _SATURATION
    beta = sqrt(sqrt((gauge_kpa + ATMOSPHERE_KPA) / 1000))
    e = beta**2 + n[2] * beta + n[5]
    f = n[0] * beta**2 + n[3] * beta + n[6]
    g = n[1] * beta**2 + n[4] * beta + n[7]
    d = 2 * g / (-f - sqrt(f**2 - 4 * e * g))
    kelvin = (n[9] + d - sqrt((n[9] + d) ** 2 - 4 * (n[8] + n[9] * d))) / 2
    return kelvin - ZERO_C_K


def emptying_s(
    volume_l: float,
    hole_dm3_s_bar: float,
    from_kpa: float,
    to_kpa: float,
    *,
    gas_c: float = 20.0,
    exponent: float = 1.0,
) -> float:
    """Time in which a volume of air loses pressure through a hole; flow by ISO 6358.

    Args:
        volume_l: litre, taken as rigid.
        hole_dm3_s_bar: sonic conductance, dm³/(s bar).
        from_kpa: gauge at the start.
        to_kpa: gauge at the end.
        gas_c: of the air, °C.
        exponent: 1 isothermal, as a slow leak; 1.4 adiabatic, as a burst: the air
            cools, and the pressure is lost sooner.

    Returns:
        Seconds; infinite without a hole or down to 0 kPa.
    """
    if hole_dm3_s_bar <= 0 or to_kpa <= 0:
        return inf
    per_mol_kpa = GAS_J_MOL_K * (gas_c + ZERO_C_K) / volume_l
    high, low = from_kpa + ATMOSPHERE_KPA, to_kpa + ATMOSPHERE_KPA
    # Even steps of ln p: choked flow crosses each in the same time.
    fall = log(low / high) / _FALL_STEPS
    edges = [high * exp(fall * step) for step in range(_FALL_STEPS + 1)]
    total_s = 0.0
    for upper, lower in pairwise(edges):
        flow = flow_mol_s(hole_dm3_s_bar, sqrt(upper * lower), ATMOSPHERE_KPA)
        total_s += (upper - lower) / (exponent * per_mol_kpa * flow)
    return total_s


def hole_dm3_s_bar(kpa_per_h: float, volume_l: float, gauge_kpa: float, gas_c: float) -> float:
    """The hole through which a bag at a pressure loses so much an hour; isothermal, ISO 6358."""
    per_mol_kpa = GAS_J_MOL_K * (gas_c + ZERO_C_K) / volume_l
    unit_mol_s = flow_mol_s(1.0, gauge_kpa + ATMOSPHERE_KPA, ATMOSPHERE_KPA)
    return kpa_per_h / 3600 / per_mol_kpa / unit_mol_s if unit_mol_s > 0 else 0.0


def choked(gauge_kpa: float) -> bool:
    """Air leaves at the speed of sound from this pressure; ISO 6358."""
    return ATMOSPHERE_KPA / (gauge_kpa + ATMOSPHERE_KPA) <= CRITICAL_RATIO


def filling_s(volume_l: float, flow_mol_per_s: float, from_kpa: float, to_kpa: float) -> float:
    """Time a steady flow takes to raise a rigid volume at 20 °C, s."""
    per_mol_kpa = GAS_J_MOL_K * (20.0 + ZERO_C_K) / volume_l
    return (to_kpa - from_kpa) / (flow_mol_per_s * per_mol_kpa) if flow_mol_per_s > 0 else inf


def choked_mol_s(conductance_dm3_s_bar: float, gauge_kpa: float) -> float:
    """The most that passes a restriction from this pressure; ISO 6358."""
    return conductance_dm3_s_bar * 1e-3 * (gauge_kpa + ATMOSPHERE_KPA) / 100 * REFERENCE_MOL_M3


def clamp_kn(area_m2: float, gauge_kpa: float) -> float:
    """Force of a bag on its clamp, kN."""
    return area_m2 * gauge_kpa


def stands_clear_s(distance_m: float) -> float:
    """A person at the rig hears, understands and walks away this far, s."""
    return REACTION_S + distance_m / WALKING_M_S


def top_c(built: RigSettings, set_c: float) -> float:
    """The warmest a working thermostat may have its pad, with its knob's error, °C."""
    return set_c + built.pad.hysteresis_c + built.knob_error_c_max


def least_loss_w_k(built: RigSettings) -> float:
    """What a pad loses to the air with the clamp behind it as warm as it ever gets, W/K.

    Through the clamp, back and clamp are one after the other.
    """
    pad, clamp_w_k = built.pad, built.clamp.loss_w_k
    back_w_k = pad.area_m2 * pad.back_loss_w_m2k
    into_clamp_w_k = back_w_k * pad.back_clamp_share
    through_w_k = into_clamp_w_k * clamp_w_k / (into_clamp_w_k + clamp_w_k)
    return back_w_k - into_clamp_w_k + through_w_k + pad.edge_loss_w_k


def most_loss_w_k(built: RigSettings) -> float:
    """What a pad loses while the clamp behind it is still cold, W/K."""
    pad = built.pad
    return pad.area_m2 * pad.back_loss_w_m2k + pad.edge_loss_w_k


def rubber_takes_w_m2(built: RigSettings, held_s: float) -> float:
    """The most a face takes that has been at the working temperature for so long, W/m².

    A half-space from the air's temperature, k dT / sqrt(pi a t): Carslaw & Jaeger,
    Conduction of Heat in Solids, 2nd ed., ch. 2. The layer that takes most counts.
    """
    most = max(
        layer.conductivity_w_mk / sqrt(layer.diffusivity_m2_s) for layer in built.slab.layers
    )
    return most * (WORKING_C - built.ambient_c) / sqrt(pi * held_s)


def rise_s(built: RigSettings, from_c: float, to_c: float) -> float:
    """The least time a pad heated without pause takes, s; rubber and clamp take nothing."""
    return lump_s(
        built.pad.heat_capacity_j_k,
        built.pad.power_w,
        top_c(built, from_c),
        to_c,
        loss_w_k=least_loss_w_k(built),
        around_c=built.ambient_c,
    )


def runaway_s(built: RigSettings) -> float:
    """The least time from the working temperature to where rubber blows, s."""
    return rise_s(built, WORKING_C, BLOWS_C)


def cooling_s(built: RigSettings, *, into_hold_s: float = 600.0, power_share: float = 0.0) -> float:
    """The least time a pad takes from the hold to where it no longer counts, s.

    Early in the hold the rubber is cold inside and takes more heat than the air.

    Args:
        built: the rig.
        into_hold_s: how long the hold has lasted at the onset, s.
        power_share: of the heater's power that still comes.
    """
    pad = built.pad
    to_rubber_w = pad.area_m2 * rubber_takes_w_m2(built, into_hold_s)
    return lump_s(
        pad.heat_capacity_j_k,
        power_share * pad.power_w - to_rubber_w,
        WORKING_C - pad.hysteresis_c - built.knob_error_c_max,
        CURES_FROM_C,
        loss_w_k=most_loss_w_k(built),
        around_c=built.ambient_c,
    )


def rim_lag_c(built: RigSettings) -> float:
    """How much colder than its middle a sound pad's rim comes to rest in the hold, °C.

    Middle and rim share the heater's power in a fixed way and lose by their own areas.
    """
    pad = built.pad
    back_w_k = pad.area_m2 * pad.back_loss_w_m2k
    rim_w_k = back_w_k * pad.edge_area_share + pad.edge_loss_w_k
    middle_w_k = back_w_k * (1 - pad.edge_area_share)
    of_middle = pad.edge_power_share / (1 - pad.edge_power_share)
    missing_w = (rim_w_k - of_middle * middle_w_k) * (WORKING_C - built.ambient_c)
    return max(0.0, missing_w / (pad.between_w_k * (1 + of_middle) + rim_w_k))


def rim_cooling_s(built: RigSettings, *, into_hold_s: float, left_share: float) -> float:
    """The least time a pad's rim takes from the hold to where no hold is long enough, s.

    Args:
        built: the rig.
        into_hold_s: how long the hold has lasted at the onset, s.
        left_share: of the rim's elements that still work.
    """
    pad = built.pad
    rim_m2 = pad.area_m2 * pad.edge_area_share
    from_middle_w = pad.between_w_k * (WORKING_C - built.ambient_c)
    own_w = left_share * pad.edge_power_share * pad.power_w
    to_rubber_w = rim_m2 * rubber_takes_w_m2(built, into_hold_s)
    return lump_s(
        pad.heat_capacity_j_k * pad.edge_area_share,
        from_middle_w + own_w - to_rubber_w,
        WORKING_C - pad.hysteresis_c - built.knob_error_c_max - rim_lag_c(built),
        RIM_CURES_FROM_C,
        loss_w_k=rim_m2 * pad.back_loss_w_m2k + pad.edge_loss_w_k + pad.between_w_k,
        around_c=built.ambient_c,
    )


def uneven_s(built: RigSettings) -> float:
    """The least time from the begin of heat-up until one face is too far ahead, s.

    The sound pad rises from the warmest preheat and the other face cures nothing.
    """
    pad_c, earned_min, seconds = WARM_C, 0.0, 0.0
    while earned_min < CURE_SPARE_MIN:
        loss_w = least_loss_w_k(built) * (pad_c - built.ambient_c)
        pad_c += (built.pad.power_w - loss_w) / built.pad.heat_capacity_j_k * _COURSE_STEP_S
        pad_c = min(pad_c, top_c(built, WORKING_C))
        earned_min += cure_rate(pad_c) * _COURSE_STEP_S / 60
        seconds += _COURSE_STEP_S
    return seconds


def misjudged_s(error_c: float, drift_c_per_h: float) -> float:
    """Time until a thermocouple that reads high has earned too much credit, s.

    Args:
        error_c: at the start, °C.
        drift_c_per_h: and growing by this.
    """
    false_min, seconds = 0.0, 0.0
    while false_min < CURE_SPARE_MIN:
        seconds += _COURSE_STEP_S
        shown_c = WORKING_C + error_c + drift_c_per_h * seconds / 3600
        false_min += (cure_rate(shown_c) - 1) * _COURSE_STEP_S / 60
    return seconds


def joint_chars_ohm(built: RigSettings) -> float:
    """What a joint in a pad's lead has grown to when it chars its plug, ohm.

    The smaller root of V² r / (R + r)² = W.
    """
    heater_ohm = MAINS_V**2 / built.pad.power_w
    half = MAINS_V**2 / JOINT_CHARS_W / 2 - heater_ohm
    return half - sqrt(half**2 - heater_ohm**2)


def unseen_leak_s(built: RigSettings) -> float:
    """Time a leak that could still be stopped takes to where the rubber opens, s."""
    return emptying_s(
        built.bag.volume_l, STOPPABLE_DM3_S_BAR, WORKING_KPA, PRESSED_KPA, gas_c=WARM_GAS_C
    )


def hottest_pad_c(rig: Rig, side: str) -> float:
    """The hotter of a pad's two zones, °C."""
    return max(rig.pads[side].centre_c, rig.pads[side].edge_c)


def holding(rig: Rig, crew: Crew) -> bool:
    """The hold is on and its planned time is not over."""
    return crew.stage is Stage.HOLD and crew.in_stage_s(rig.now_s) < crew.plan.hold_s


def cold_in_hold(rig: Rig, crew: Crew, *sides: str) -> bool:
    """One of the sides' pads is too cold in its middle for the hold to count.

    A degree more, for a hold begins by displays that show whole ones.
    """
    coldest_c = min(rig.pads[side].centre_c for side in sides)
    return holding(rig, crew) and coldest_c < CURES_FROM_C - 1


def cold_rim_in_hold(rig: Rig, crew: Crew, side: str) -> bool:
    """A pad is hot in its middle and its rim too cold for any hold to be long enough."""
    pad = rig.pads[side]
    hot = pad.centre_c > WORKING_C - 5
    return holding(rig, crew) and hot and pad.edge_c < RIM_CURES_FROM_C


def uneven_min(rig: Rig) -> float:
    """How far one face has run ahead of the other in the middle column, equivalent minutes."""
    earned_min = [float(minutes) for minutes in rig.cured.centre_min if minutes > 0]
    return abs(earned_min[0] - earned_min[-1]) if earned_min else 0.0

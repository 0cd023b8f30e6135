"""What becomes of lost air: how soon a rig as built loses its pressure, and whether it has.

Sums for the deadlines of bags and supply. Where something has to be left out
they err to the early side, as in `harm`.
"""

from math import inf, pi, sqrt

from simulator.faults.harm import (
    PRESSED_KPA,
    REACTION_S,
    SAFE_LET_DOWN_C,
    WALKING_M_S,
    WARM_C,
    WORKING_C,
    WORKING_KPA,
    emptying_s,
    hole_dm3_s_bar,
    least_loss_w_k,
    lump_s,
    most_loss_w_k,
    top_c,
)
from simulator.gas import ATMOSPHERE_KPA, GAS_J_MOL_K, ZERO_C_K, flow_mol_s, in_series
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings

# The greatest pressure on an invented bag's plate, 50 psi; 1 psi = 6.894757 kPa, NIST SP 811.
BAG_BEARS_KPA = 344.7
# A pore a millimetre wide grows as fast as heat comes to its steam: radius² / diffusivity
# (scale of bubble growth led by heat; rubber 1.1e-7 m²/s, from memory).
PORE_S = 0.001**2 / 1.1e-7
# This much on a clamp that nothing locks throws it open: a third of a tonne's weight.
THROWS_KN = 3.0
# Hand and eye on a dial (common practice, no source).
BY_EYE_KPA = 1.0
# What a coupling loses that begins to work loose (common practice, no source).
SEEPS_KPA_H = 45.0
PINS_APART_M = 2.0
# The warmest pads at the begin of the heat-up: carried, pinned and aired up they have lost a
# good third of the warmth of the preheat's 50 to 70 °C (common practice, no source).
FITTED_SHARE = 0.7
_COURSE_STEP_S = 5.0
_COURSE_S_MAX = 14_400.0
_FALL_STEPS = 60


def lowest_kpa(built: RigSettings) -> float:
    """The least that a bag well set and fed stands at: just before its regulator refills."""
    return WORKING_KPA - built.bag.reopens_below_kpa - BY_EYE_KPA


def gas_c(built: RigSettings, pad_c: float = WORKING_C) -> float:
    """What a bag's air comes to behind a pad of this temperature."""
    return built.ambient_c + built.bag.gas_share * (pad_c - built.ambient_c)


def bag_falls_s(
    built: RigSettings,
    hole_dm3_s_bar: float,
    *,
    to_kpa: float = PRESSED_KPA,
    exponent: float = 1.0,
    bags: int = 1,
) -> float:
    """Time in which a hot bag, no longer fed, falls from its working pressure through a hole.

    Args:
        built: the rig.
        hole_dm3_s_bar: all ways out together.
        to_kpa: gauge at the end.
        exponent: 1 isothermal, 1.4 adiabatic and sooner.
        bags: so many share the hole.
    """
    return emptying_s(
        bags * built.bag.volume_l,
        hole_dm3_s_bar,
        lowest_kpa(built),
        to_kpa,
        gas_c=gas_c(built),
        exponent=exponent,
    )


def passage_dm3_s_bar(built: RigSettings) -> float:
    """Regulator and hose of one bag, wide open."""
    return in_series(built.bag.feed_dm3_s_bar, built.bag.hose_dm3_s_bar)


def supply_falls_s(
    built: RigSettings,
    *,
    to_kpa: float = PRESSED_KPA,
    hole_dm3_s_bar: float = 0.0,
    use_mol_s: float = 0.0,
    made_mol_s: float = 0.0,
) -> float:
    """Time in which the supply falls from cut-in.

    Args:
        built: the rig.
        to_kpa: gauge at the end; too little for a bag, which falls with it.
        hole_dm3_s_bar: a leak.
        use_mol_s: taken beside it.
        made_mol_s: by the compressor.

    Returns:
        Seconds; infinite when the compressor keeps up.
    """
    volume_l = built.supply.receiver_l + built.supply.line_l
    mol_kpa = volume_l / (GAS_J_MOL_K * (built.ambient_c + ZERO_C_K))
    step_kpa = (built.supply.cut_in_kpa - to_kpa) / _FALL_STEPS
    total_s = 0.0
    for step in range(_FALL_STEPS):
        absolute_kpa = to_kpa + (step + 0.5) * step_kpa + ATMOSPHERE_KPA
        lost_mol_s = use_mol_s + flow_mol_s(hole_dm3_s_bar, absolute_kpa, ATMOSPHERE_KPA)
        if lost_mol_s <= made_mol_s:
            return inf
        total_s += step_kpa * mol_kpa / (lost_mol_s - made_mol_s)
    return total_s


def seeps_away_s(built: RigSettings) -> float:
    """The fall of a bag, no longer fed, whose coupling begins to seep now."""
    hole = hole_dm3_s_bar(SEEPS_KPA_H, built.bag.volume_l, WORKING_KPA, gas_c(built))
    return bag_falls_s(built, hole)


def cools_s(built: RigSettings, to_c: float) -> float:
    """The least time in which the displays show this after heat off, no rubber at the pads."""
    return lump_s(
        built.pad.heat_capacity_j_k,
        0.0,
        WORKING_C,
        to_c,
        loss_w_k=most_loss_w_k(built),
        around_c=built.ambient_c,
    )


def face_rises_s(built: RigSettings, to_c: float) -> float:
    """The least time from the begin of the heat-up until rubber under a pad is this hot.

    All the power goes into pad and rubber, the pad no warmer than the face. A face that
    rises evenly to dT in t has taken 4 / (3 sqrt(pi)) e dT sqrt(t) a square metre, e the
    rubber's effusivity (thick body; Carslaw and Jaeger, ch. 2).
    """
    pad = built.pad
    warmer_c = to_c - built.ambient_c
    rubber_j_s05 = 4 / (3 * sqrt(pi)) * _effusivity(built) * pad.area_m2 * warmer_c
    pad_j = pad.heat_capacity_j_k * max(0.0, to_c - fitted_c(built))
    half = rubber_j_s05 / (2 * pad.power_w)
    return (half + sqrt(half**2 + pad_j / pad.power_w)) ** 2


def bag_warms_s(built: RigSettings, to_c: float) -> float:
    """The least time from the begin of the heat-up until a bag's wall and air are this warm.

    The pads rise against deep rubber, whose face, risen evenly, takes
    2 / sqrt(pi) e sqrt(t) J/(m² K) (Carslaw and Jaeger, ch. 2); the wall follows its
    share of their warmth.
    """
    rubber_j_k_s05 = 2 / sqrt(pi) * _effusivity(built) * built.pad.area_m2
    pad_c, wall_c, seconds = fitted_c(built), built.ambient_c, 0.0
    while wall_c < to_c:
        loss_w = least_loss_w_k(built) * (pad_c - built.ambient_c)
        heat_j_k = built.pad.heat_capacity_j_k + rubber_j_k_s05 * sqrt(seconds)
        pad_c += (built.pad.power_w - loss_w) / heat_j_k * _COURSE_STEP_S
        pad_c = min(pad_c, top_c(built, WORKING_C))
        wall_c += (gas_c(built, pad_c) - wall_c) / built.bag.gas_lag_s * _COURSE_STEP_S
        seconds += _COURSE_STEP_S
        if seconds > _COURSE_S_MAX:
            return inf
    return seconds


def fitted_c(built: RigSettings) -> float:
    """The warmest pads at the begin of the heat-up."""
    return built.ambient_c + FITTED_SHARE * (WARM_C - built.ambient_c)


def _effusivity(built: RigSettings) -> float:
    """Of the rubber at the face, W s^0.5/(m² K)."""
    layer = built.slab.layers[0]
    return layer.conductivity_w_mk / sqrt(layer.diffusivity_m2_s)


def second_pin_s() -> float:
    """From the clamp's first pin, pulled, to a hand on the second."""
    return REACTION_S + PINS_APART_M / WALKING_M_S


def bags_follow_s(
    built: RigSettings,
    *,
    hole_dm3_s_bar: float = 0.0,
    use_mol_s: float = 0.0,
    made_mol_s: float = 0.0,
) -> float:
    """Time in which bags whose regulators have no check are let down by a falling supply, s.

    They begin to drain once it is below them, and are never below it; the later counts.
    Arguments as for `supply_falls_s`.
    """
    with_it_s, to_them_s = (
        supply_falls_s(
            built,
            to_kpa=to_kpa,
            hole_dm3_s_bar=hole_dm3_s_bar,
            use_mol_s=use_mol_s,
            made_mol_s=made_mol_s,
        )
        for to_kpa in (PRESSED_KPA, lowest_kpa(built))
    )
    return max(with_it_s, to_them_s + bag_falls_s(built, passage_dm3_s_bar(built), exponent=1.4))


def pressed_kpa(rig: Rig) -> float:
    """The lower of the true bag pressures, gauge."""
    return min(rig.bags[side].pressure_kpa for side in SIDES)


def unpressed_hot(rig: Rig) -> bool:
    """By the truth: a bag presses too little while some depth is hot enough to blow open."""
    return pressed_kpa(rig) < PRESSED_KPA and rig.slab.hottest_c > SAFE_LET_DOWN_C

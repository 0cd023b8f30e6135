"""Air as an ideal gas of two-atomed molecules, and its flow through restrictions.

Flow follows ISO 6358 (sonic conductance C in dm³/(s bar) at 20 °C and 100 kPa,
critical pressure ratio b), from memory.
"""

from math import hypot, sqrt

GAS_J_MOL_K = 8.314462618  # CODATA 2018
CV_J_MOL_K = 2.5 * GAS_J_MOL_K
CP_J_MOL_K = 3.5 * GAS_J_MOL_K
ZERO_C_K = 273.15
ATMOSPHERE_KPA = 101.325
REFERENCE_MOL_M3 = 100e3 / (GAS_J_MOL_K * 293.15)  # air at 20 °C, 100 kPa (ISO 8778)
CRITICAL_RATIO = 0.3
# Close to equal pressures the square root is too steep for a step in time.
LAMINAR_RATIO = 0.995


def flow_mol_s(conductance_dm3_s_bar: float, from_kpa: float, to_kpa: float) -> float:
    """Flow through a restriction; 0 against the pressure.

    Args:
        conductance_dm3_s_bar: sonic conductance C, dm³/(s bar).
        from_kpa: upstream, absolute.
        to_kpa: downstream, absolute.

    Returns:
        mol/s.
    """
    if conductance_dm3_s_bar <= 0 or to_kpa >= from_kpa:
        return 0.0
    choked = conductance_dm3_s_bar * 1e-5 * from_kpa * REFERENCE_MOL_M3
    ratio = to_kpa / from_kpa
    if ratio <= CRITICAL_RATIO:
        return choked
    if ratio <= LAMINAR_RATIO:
        return choked * _subsonic(ratio)
    return choked * _subsonic(LAMINAR_RATIO) * (1 - ratio) / (1 - LAMINAR_RATIO)


def _subsonic(ratio: float) -> float:
    return sqrt(1 - ((ratio - CRITICAL_RATIO) / (1 - CRITICAL_RATIO)) ** 2)


def in_series(one_dm3_s_bar: float, other_dm3_s_bar: float) -> float:
    """One restriction in place of two behind one another, dm³/(s bar).

    Far from choking the pressure drops add, and each goes with the square of
    the flow over the conductance.
    """
    if one_dm3_s_bar <= 0 or other_dm3_s_bar <= 0:
        return 0.0
    return one_dm3_s_bar * other_dm3_s_bar / hypot(one_dm3_s_bar, other_dm3_s_bar)

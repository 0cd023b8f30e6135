"""The pressure of the air around a rig, by its altitude.

Source:
    ISO 2533:1975 (standard atmosphere).
"""


def atmosphere_kpa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere, kPa absolute.

    Args:
        altitude_m: geopotential altitude, m, below 11 000.

    Source:
        ISO 2533:1975: 101.325 kPa, 288.15 K, -6.5 K/km, exponent g/(R L) = 5.25588.
    """
    return 101.325 * float((1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588)

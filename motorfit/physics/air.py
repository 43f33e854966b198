"""Moist air: density by CIPM-2007, and the speed of sound.

Sources
-------
[P] A. Picard, R. S. Davis, M. Gläser, K. Fujii, Revised formula for the density of moist air (CIPM-2007),
    Metrologia 45 (2008) 149, doi:10.1088/0026-1394/45/2/004.
[C] O. Cramer, The variation of the specific heat ratio and the speed of sound in air with temperature,
    pressure, humidity, and CO2 concentration, J. Acoust. Soc. Am. 93 (1993) 2510, doi:10.1121/1.405827.
Both are printed, with worked values, in IEC 61094-2:2009, annex F, where the tests take them from.
"""

from __future__ import annotations

import numpy as np

from motorfit.physics.values import Value, require_between

CO2_FRACTION = 0.0004
"""Mole fraction of carbon dioxide [1] assumed where it is not measured, as [P] recommends."""

_KELVIN = 273.15


def saturation_vapour_pressure(temperature_c: Value) -> Value:
    """Saturation pressure of water vapour [Pa] over water at a temperature [°C]. [P], appendix."""
    t = temperature_c + _KELVIN
    pressure: Value = np.exp(1.2378847e-5 * t * t - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t)
    return pressure


def vapour_fraction(temperature_c: Value, pressure_hpa: Value, humidity_pct: Value) -> Value:
    """Mole fraction of water vapour [1]: relative humidity times enhancement factor times saturation. [P].

    Parameters: temperature [°C], station pressure [hPa], relative humidity [%]; they broadcast.
    """
    p = pressure_hpa * 100.0
    enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * temperature_c * temperature_c
    return humidity_pct / 100.0 * enhancement * saturation_vapour_pressure(temperature_c) / p


def compressibility(temperature_c: Value, pressure_hpa: Value, x_v: Value) -> Value:
    """Compressibility factor Z [1] of moist air with vapour mole fraction ``x_v`` [1]; [°C], [hPa]. [P]."""
    t = temperature_c
    pt = pressure_hpa * 100.0 / (t + _KELVIN)
    first = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t
    mixed = (5.707e-6 - 2.051e-8 * t) * x_v + (1.9898e-4 - 2.376e-6 * t) * x_v * x_v
    return 1.0 - pt * (first + mixed) + pt * pt * (1.83e-11 - 0.765e-8 * x_v * x_v)


def air_density(
    temperature_c: Value, pressure_hpa: Value, humidity_pct: Value, co2_fraction: Value = CO2_FRACTION
) -> Value:
    """Density of moist air [kg/m³] by CIPM-2007, [P].

    Parameters
    ----------
    temperature_c : [°C], -40 to 60 (stated for 15 to 27 at a mass laboratory's accuracy; outside a smooth
        extrapolation, far better than a thrust stand needs)
    pressure_hpa : station pressure, not reduced to sea level [hPa], 300 to 1150 (stated for 600 to 1100)
    humidity_pct : relative humidity [%], 0 to 100
    co2_fraction : mole fraction of carbon dioxide [1]

    Raises
    ------
    PhysicsError : when a value is outside those ranges
    """
    require_between("air temperature", temperature_c, -40.0, 60.0, "°C", "Give the air's temperature in °C.")
    require_between(
        "air pressure",
        pressure_hpa,
        300.0,
        1150.0,
        "hPa",
        "Give the station pressure in hPa (1 hPa = 100 Pa), not reduced to sea level.",
    )
    require_between(
        "relative humidity", humidity_pct, 0.0, 100.0, "%", "Give it in per cent, not as a share."
    )
    require_between("carbon dioxide", co2_fraction, 0.0, 0.05, "mol/mol", "Outdoor air has 0.0004.")
    x_v = vapour_fraction(temperature_c, pressure_hpa, humidity_pct)
    z = compressibility(temperature_c, pressure_hpa, x_v)
    molar = (3.483740 + 1.4446 * (co2_fraction - 0.0004)) * 1e-3  # M_a/R [kg K/J]
    return molar * pressure_hpa * 100.0 / (z * (temperature_c + _KELVIN)) * (1.0 - 0.3780 * x_v)


def speed_of_sound(
    temperature_c: Value, pressure_hpa: Value, humidity_pct: Value, co2_fraction: Value = CO2_FRACTION
) -> Value:
    """Speed of sound in moist air [m/s] at zero frequency, [C] eq. (15).

    Parameters: [°C], [hPa], [%], [1]; stated for 0 to 30 °C and 750 to 1020 hPa.
    """
    t = temperature_c
    p = pressure_hpa * 100.0
    x_v = vapour_fraction(temperature_c, pressure_hpa, humidity_pct)
    x_c = co2_fraction
    return (
        331.5024
        + 0.603055 * t
        - 0.000528 * t * t
        + (51.471935 + 0.1495874 * t - 0.000782 * t * t) * x_v
        + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t * t) * p
        + (-85.20931 - 0.228525 * t + 5.91e-5 * t * t) * x_c
        - 2.835149 * x_v * x_v
        - 2.15e-13 * p * p
        + 29.179762 * x_c * x_c
        + 0.000486 * x_v * p * x_c
    )

"""Temperature of an NTC thermistor in a voltage divider. Pure."""

import math

from device.light.sensors.kernel_file import NotRead
from shared.sensor_settings import ThermistorSettings

ZERO_C_IN_K = 273.15
BETA_REFERENCE_K = 298.15
PLAUSIBLE_C = (-40.0, 150.0)
"""Outside lies an open or a shorted thermistor, not a ring."""


def celsius(thermistor: ThermistorSettings, millivolts: float) -> float:
    """Temperature at a voltage of the divider's middle; raises NotRead for what only a broken wire gives."""
    ohm = resistance_ohm(thermistor, millivolts)
    if thermistor.steinhart_hart:
        found = by_steinhart_hart(ohm, thermistor.steinhart_hart)
    else:
        found = by_beta(ohm, thermistor.ohm_at_25_c, thermistor.beta_k)
    if not PLAUSIBLE_C[0] <= found <= PLAUSIBLE_C[1]:
        raise NotRead(f"a thermistor of {ohm:.0f} ohm: open or shorted")
    return found


def resistance_ohm(thermistor: ThermistorSettings, millivolts: float) -> float:
    """Resistance of the thermistor by the divider rule; raises NotRead at and beyond the rails."""
    if not 0.0 < millivolts < thermistor.supply_mv:
        raise NotRead(f"{millivolts:.0f} mV at a divider of {thermistor.supply_mv:g} mV: open or shorted")
    below_over_above = millivolts / (thermistor.supply_mv - millivolts)
    if thermistor.side == "ground":
        return thermistor.series_ohm * below_over_above
    return thermistor.series_ohm / below_over_above


def by_beta(ohm: float, ohm_at_25_c: float, beta_k: float) -> float:
    """1/T = 1/T0 + ln(R / R0) / B, the definition of B turned round (IEC 60539-1, from memory), in degrees Celsius."""
    return 1.0 / (1.0 / BETA_REFERENCE_K + math.log(ohm / ohm_at_25_c) / beta_k) - ZERO_C_IN_K


def by_steinhart_hart(ohm: float, coefficients: tuple[float, ...]) -> float:
    """1/T = A + B ln R + C (ln R)^3 (Steinhart and Hart 1968, Deep-Sea Research 15:497, from memory), in degrees Celsius."""
    a, b, c = coefficients
    log = math.log(ohm)
    inverse = a + b * log + c * log**3
    if inverse <= 0:
        raise NotRead(f"a thermistor of {ohm:.0f} ohm lies outside its coefficients")
    return 1.0 / inverse - ZERO_C_IN_K

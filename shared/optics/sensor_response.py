"""Quantum efficiency of classes of sensor: estimates from memory, marked so, until a data sheet's table replaces them."""

from dataclasses import dataclass
from functools import cache

from shared.bounded import from_toml
from shared.optics.stock import stock_path


@dataclass(frozen=True)
class SensorTable:
    """Electrons a photon, by wavelength."""

    origin: str
    wavelength_nm: tuple[float, ...]
    quantum_efficiency: tuple[float, ...]


@cache
def sensor_table(name: str) -> SensorTable:
    """A class of sensor that comes with the program; raises Refused naming those there are."""
    return from_toml(SensorTable, stock_path("sensors", name))

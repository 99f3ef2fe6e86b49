"""How dye comes and goes: in tissue, in lymph channels, in nodes. Pure functions of time after the injection."""

import numpy as np
from numpy.typing import NDArray

from shared.scene.description import Node, Vessel

F64 = NDArray[np.float64]


def gamma_variate(since_arrival_s: F64, alpha: float, beta: float) -> F64:
    """First pass, peak 1 at ``alpha * beta`` seconds: x^alpha exp(alpha (1 - x)), x = t / (alpha beta); 0 before arrival.

    Thompson et al. 1964, Circ Res 14:502, in the form of Madsen 1992, Phys Med Biol 37:1597.
    """
    x = np.maximum(since_arrival_s, 0.0) / (alpha * beta)
    return np.asarray(np.power(x, alpha) * np.exp(alpha * (1.0 - x)))


def tissue_curve(
    since_arrival_s: F64, alpha: float, beta: float, half_life_s: float, recirculation: float
) -> NDArray[np.float64]:
    """Dye in a tissue, relative to its peak: exactly 1, once, at ``alpha * beta`` seconds after arrival.

    Up to the peak it is the gamma variate g alone, so arrival, time to peak, half rise and steepest rise are g's. After it,
    g + (1 - g) p, where p = recirculation * (1 - exp(-(s / w)^3)) * 2^(-s / half_life), s is the time since the peak and
    w = 2 sqrt(alpha) beta, twice the width of g's top. p starts with two zero derivatives, so the join is smooth;
    p < 1 keeps the curve below 1; long after the peak g is gone and p falls by half every ``half_life_s``.
    """
    first_pass = gamma_variate(since_arrival_s, alpha, beta)
    since_peak_s = np.maximum(since_arrival_s - alpha * beta, 0.0)
    mixed = -np.expm1(-((since_peak_s / (2.0 * np.sqrt(alpha) * beta)) ** 3))
    pool = recirculation * mixed * np.exp2(-since_peak_s / half_life_s)
    return np.asarray(first_pass + (1.0 - first_pass) * pool)


def vessel_profile(vessel: Vessel, along_mm: F64, since_injection_s: float) -> F64:
    """Brightness at distances ``along_mm`` from the channel's beginning, relative to the scene's level 1.

    Packets (Gaussian along the channel) leave the beginning every ``60 / packets_per_min`` seconds from ``arrival_s`` on and run at
    the stated speed; behind the first, ``resting_share`` stays.
    """
    since_s = since_injection_s - vessel.arrival_s
    if since_s <= 0:
        return np.zeros_like(along_mm)
    front_mm = vessel.packet_speed_mm_s * since_s
    resting = np.clip((front_mm - along_mm) / vessel.packet_length_mm, 0.0, 1.0)
    packets = np.zeros_like(along_mm)
    for centre_mm in _packet_centres_mm(vessel, front_mm, float(along_mm.max(initial=0.0))):
        packets += np.exp2(-4.0 * ((along_mm - centre_mm) / vessel.packet_length_mm) ** 2)
    rest = vessel.resting_share
    return np.asarray(vessel.level * (rest * resting + (1.0 - rest) * packets))


def _packet_centres_mm(vessel: Vessel, front_mm: float, length_mm: float) -> F64:
    """Positions of packets on, or within three packet lengths of, a channel ``length_mm`` long; the first is at ``front_mm``."""
    reach_mm = length_mm + 3.0 * vessel.packet_length_mm
    if vessel.packets_per_min == 0:
        return np.array([front_mm] if front_mm <= reach_mm else [])
    spacing_mm = vessel.packet_speed_mm_s * 60.0 / vessel.packets_per_min
    oldest = max(int(np.ceil((front_mm - reach_mm) / spacing_mm)), 0)
    youngest = int(front_mm // spacing_mm)
    return np.asarray(front_mm - spacing_mm * np.arange(oldest, youngest + 1))


def node_level(node: Node, since_injection_s: float) -> float:
    """Brightness of a node's middle, relative to level 1: a smooth step from ``arrival_s`` over ``filling_s``."""
    x = min(max((since_injection_s - node.arrival_s) / node.filling_s, 0.0), 1.0)
    return node.level * x * x * (3.0 - 2.0 * x)

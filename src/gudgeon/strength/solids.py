"""Masses, moments of inertia and simple beams: closed forms of statics and dynamics."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "about_parallel_line",
    "beam_deflection",
    "bending_stress",
    "block_inertia",
    "cantilever_deflection",
    "centre_of_mass",
    "cylinder_inertia",
    "cylinder_inertia_across",
    "spin_up_torque",
    "square_bar",
    "tipping_safety",
]

KG_M2: float = 1e-6  # kg mm2 to kg m2


def centre_of_mass(mass_kg: ArrayLike, points_mm: ArrayLike) -> NDArray[np.float64]:
    """Return the common centre of mass [mm].

    Parameters
    ----------
    mass_kg : array_like, shape (n,)
    points_mm : array_like, shape (n, 3)

    Raises
    ------
    ValueError
        If there is no mass at all.
    """
    mass = np.asarray(mass_kg, np.float64)
    total = mass.sum()
    if not total > 0.0:
        raise ValueError("the masses add up to nothing")
    return np.asarray(mass @ np.asarray(points_mm, np.float64) / total)


def cylinder_inertia(mass_kg: float, outer_mm: float, inner_mm: float = 0.0) -> float:
    """Return the moment of inertia of a disc or ring (radii) about its axis [kg m2]."""
    return 0.5 * mass_kg * (outer_mm**2 + inner_mm**2) * KG_M2


def cylinder_inertia_across(mass_kg: float, outer_mm: float, height_mm: float) -> float:
    """Return the moment of inertia of a solid disc about a diameter at mid height [kg m2]."""
    return mass_kg * (3.0 * outer_mm**2 + height_mm**2) / 12.0 * KG_M2


def block_inertia(mass_kg: float, side_mm: float, other_side_mm: float) -> float:
    """Return the inertia of a block about the centre line square to the two sides [kg m2]."""
    return mass_kg * (side_mm**2 + other_side_mm**2) / 12.0 * KG_M2


def about_parallel_line(inertia_kgm2: float, mass_kg: float, distance_mm: float) -> float:
    """Return the moment of inertia about a line beside the centre (Steiner) [kg m2]."""
    return inertia_kgm2 + mass_kg * distance_mm**2 * KG_M2


def spin_up_torque(inertia_kgm2: float, spin_rad_s: float, time_s: float) -> float:
    """Return the torque for an even start from rest [N m]."""
    return inertia_kgm2 * spin_rad_s / time_s


def square_bar(side_mm: float) -> tuple[float, float]:
    """Return second moment of area [mm4] and section modulus [mm3] of a square bar."""
    return side_mm**4 / 12.0, side_mm**3 / 6.0


def cantilever_deflection(
    force_n: float, length_mm: float, modulus_mpa: float, area_moment_mm4: float
) -> float:
    """Return how far the loaded end of a clamped bar gives [mm]: F L^3 / (3 E I)."""
    return force_n * length_mm**3 / (3.0 * modulus_mpa * area_moment_mm4)


def beam_deflection(
    force_n: float, length_mm: float, modulus_mpa: float, area_moment_mm4: float
) -> float:
    """Return how far a bar on two supports gives in the middle [mm]: F L^3 / (48 E I)."""
    return force_n * length_mm**3 / (48.0 * modulus_mpa * area_moment_mm4)


def bending_stress(force_n: float, length_mm: float, section_modulus_mm3: float) -> float:
    """Return the greatest stress at the root of a clamped bar [MPa]."""
    return force_n * length_mm / section_modulus_mm3


def tipping_safety(weight_n: float, base_mm: float, force_n: float, height_mm: float) -> float:
    """Return how many times the weight outdoes a push that would tip it over its edge."""
    push = force_n * height_mm
    return weight_n * 0.5 * base_mm / push if push > 0.0 else math.inf

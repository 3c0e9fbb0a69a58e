"""Threads of bolts: which one a diameter means, and the areas over which its stress is taken."""

import math
from dataclasses import dataclass
from typing import Final

from registry.units import INCH_M


@dataclass(frozen=True, slots=True)
class Thread:
    """A thread by the name that the trade gives it, with the two areas [mm²] over which a bolt stress may be taken."""

    name: str
    diameter_mm: float
    root_area_mm2: float
    stress_area_mm2: float


def stress_area_metric_mm2(diameter_mm: float, pitch_mm: float) -> float:
    """Nominal stress area of an ISO metric thread.

    A_s = π/4 · (d − 0.9382·P)²

    Parameters
    ----------
    diameter_mm : float [mm]
        d, nominal diameter.
    pitch_mm : float [mm]
        P, pitch.

    Returns
    -------
    float [mm²]

    References
    ----------
    ISO 898-1:2013, clause 9.1.6.1; formula and clause from memory, values as ISO 898-1 prints them.

    Examples
    --------
    >>> round(stress_area_metric_mm2(20, 2.5))
    245
    """
    return math.pi / 4 * (diameter_mm - 0.9382 * pitch_mm) ** 2


def root_area_metric_mm2(diameter_mm: float, pitch_mm: float) -> float:
    """Root area of an ISO metric thread.

    A_r = π/4 · (d − 1.22687·P)²

    Parameters
    ----------
    diameter_mm : float [mm]
        d, nominal diameter.
    pitch_mm : float [mm]
        P, pitch.

    Returns
    -------
    float [mm²]

    References
    ----------
    ISO 898-1:2013, clause 9.1.6.1 (d3, the root diameter of the external thread); coefficient and clause from memory.

    Examples
    --------
    >>> round(root_area_metric_mm2(20, 2.5), 2)
    225.19
    """
    return math.pi / 4 * (diameter_mm - 1.22687 * pitch_mm) ** 2


def stress_area_unified_in2(diameter_in: float, threads_per_inch: float) -> float:
    """Tensile stress area of a unified thread.

    A_s = π/4 · (D − 0.9743/n)²

    Parameters
    ----------
    diameter_in : float [in]
        D, nominal diameter.
    threads_per_inch : float [1/in]
        n, threads to the inch.

    Returns
    -------
    float [in²]

    References
    ----------
    ASME B1.1-2003, Appendix B (tensile stress area); coefficient, edition and place from memory.

    Examples
    --------
    >>> round(stress_area_unified_in2(1, 8), 4)
    0.6057
    """
    return math.pi / 4 * (diameter_in - 0.9743 / threads_per_inch) ** 2


def root_area_unified_in2(diameter_in: float, threads_per_inch: float) -> float:
    """Root area of a unified thread.

    A_r = π/4 · (D − 1.3/n)²

    Parameters
    ----------
    diameter_in : float [in]
        D, nominal diameter.
    threads_per_inch : float [1/in]
        n, threads to the inch.

    Returns
    -------
    float [in²]

    References
    ----------
    ASME B1.1-2003, thread form; coefficient and edition from memory. Published root areas above 1½ in differ by up to
    0.3 %.

    Examples
    --------
    >>> round(root_area_unified_in2(1, 8), 4)
    0.5509
    """
    return math.pi / 4 * (diameter_in - 1.3 / threads_per_inch) ** 2


def thread_of(diameter_mm: float) -> Thread | None:
    """The thread that a bolt diameter means, metric or inch; None where none is known within 0.06 mm.

    Examples
    --------
    >>> [thread.name for d in (16, 15.9, 19.05, 76, 76.2) if (thread := thread_of(d))]
    ['M16', '5/8-11', '3/4-10', 'M76', '3-8']
    >>> thread_of(21) is None
    True
    """
    return next((thread for thread in THREADS if abs(thread.diameter_mm - diameter_mm) <= _NEAR_MM), None)


# People write 15.9 for 15.875; the nearest two threads, M16 and 5/8, lie 0.125 mm apart.
_NEAR_MM: Final = 0.06

# Coarse pitches up to M64 (ISO 261, from memory); above, the pitch of 6 mm that flange bolting keeps.
_METRIC_PITCHES_MM: Final = {
    10: 1.5, 12: 1.75, 14: 2.0, 16: 2.0, 18: 2.5, 20: 2.5, 22: 2.5, 24: 3.0, 27: 3.0, 30: 3.5, 33: 3.5, 36: 4.0,
    39: 4.0, 42: 4.5, 45: 4.5, 48: 5.0, 52: 5.0, 56: 5.5, 60: 5.5, 64: 6.0, 68: 6.0, 70: 6.0, 72: 6.0, 76: 6.0,
    80: 6.0, 85: 6.0, 90: 6.0, 95: 6.0, 100: 6.0,
}  # fmt: skip

# Coarse up to 1 in, eight to the inch above: the basis of ASME PCC-1-2013, Table 1.
_UNIFIED: Final = (
    ("1/2", 0.5, 13), ("5/8", 0.625, 11), ("3/4", 0.75, 10), ("7/8", 0.875, 9), ("1", 1.0, 8), ("1 1/8", 1.125, 8),
    ("1 1/4", 1.25, 8), ("1 3/8", 1.375, 8), ("1 1/2", 1.5, 8), ("1 5/8", 1.625, 8), ("1 3/4", 1.75, 8),
    ("1 7/8", 1.875, 8), ("2", 2.0, 8), ("2 1/4", 2.25, 8), ("2 1/2", 2.5, 8), ("2 3/4", 2.75, 8), ("3", 3.0, 8),
    ("3 1/4", 3.25, 8), ("3 1/2", 3.5, 8), ("3 3/4", 3.75, 8), ("4", 4.0, 8),
)  # fmt: skip

_INCH_MM: Final = INCH_M * 1e3

THREADS: Final = tuple(
    Thread(f"M{d}", float(d), root_area_metric_mm2(d, pitch), stress_area_metric_mm2(d, pitch))
    for d, pitch in _METRIC_PITCHES_MM.items()
) + tuple(
    Thread(
        f"{name}-{per_inch}",
        d * _INCH_MM,
        root_area_unified_in2(d, per_inch) * _INCH_MM**2,
        stress_area_unified_in2(d, per_inch) * _INCH_MM**2,
    )
    for name, d, per_inch in _UNIFIED
)

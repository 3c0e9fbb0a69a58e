"""Which temperature cycles a joint is taken to have: counted from a history, from the joint list, or the policy's."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from registry.exposure.readings import ThermalHistory
from registry.exposure.thermal import equivalent_cycles

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SOURCES: Final = ("joint_history", "line_history", "joint_list", "assumed")
"""Where a joint's temperature cycles come from, in order of precedence; `source` is the position here."""

JOINT_HISTORY, LINE_HISTORY, JOINT_LIST, ASSUMED = range(4)


@dataclass(frozen=True, slots=True)
class ThermalExposure:
    """Equivalent cycles a year of each joint, referred to the policy's range, and where they come from."""

    equivalent_cycles_per_year: Floats
    source: NDArray[np.int8]
    cycles_assumed: Flags
    range_assumed: Flags


def thermal_exposure(
    joint_id: NDArray[np.integer],
    line_id: NDArray[np.integer],
    cycles_per_year: Floats,
    range_degc: Floats,
    histories: Sequence[ThermalHistory],
    reference_range_degc: float,
    range_exponent: float,
    assumed_cycles_per_year: float,
    assumed_range_degc: float,
) -> ThermalExposure:
    """Equivalent cycles a year of each joint by precedence: its history, its line's, the joint list, assumed.

    n = sum of counts x (range / reference) ** m / span in years, over all histories of the joint (or line);
    n = cycles a year x (range / reference) ** m where there is no history

    Parameters
    ----------
    joint_id, line_id : ndarray of int, shape (n,) [-]
    cycles_per_year : ndarray, shape (n,) [1/year]
        NaN where not given.
    range_degc : ndarray, shape (n,) [degC difference]
        NaN where not given.
    histories : sequence of ThermalHistory [degC difference, year]
    reference_range_degc : float [degC difference]
    range_exponent : float [-]
    assumed_cycles_per_year : float [1/year]
    assumed_range_degc : float [degC difference]

    Returns
    -------
    ThermalExposure, arrays of shape (n,) [1/year]

    References
    ----------
    ASME B31.3-2020, Process Piping, para. 302.3.5(d), eq. (1d); the precedence is Own method: counted before stated.

    Examples
    --------
    >>> one = np.array([1])
    >>> given = thermal_exposure(one, one, np.array([52.0]), np.array([50.0]), [], 100.0, 5.0, 12.0, 60.0)
    >>> given.equivalent_cycles_per_year
    array([1.625])
    """
    no_cycles, no_range = np.isnan(cycles_per_year), np.isnan(range_degc)
    cycles = np.where(no_cycles, assumed_cycles_per_year, cycles_per_year)
    ratios = np.where(no_range, assumed_range_degc, range_degc) / reference_range_degc
    rate = cycles * ratios**range_exponent
    source = np.where(no_cycles & no_range, ASSUMED, JOINT_LIST).astype(np.int8)
    # Lines first, so that a joint's own history has the last word.
    for code, ids, subject in ((LINE_HISTORY, line_id, _line), (JOINT_HISTORY, joint_id, _joint)):
        rates = _rates(histories, subject, reference_range_degc, range_exponent)
        if not rates:
            continue
        known = np.array(sorted(rates))
        at = np.minimum(np.searchsorted(known, ids), len(known) - 1)
        met = known[at] == ids
        rate[met] = np.array([rates[key] for key in known.tolist()])[at[met]]
        source[met] = code
    counted = source <= LINE_HISTORY
    return ThermalExposure(rate, source, no_cycles & ~counted, no_range & ~counted)


def _rates(
    histories: Sequence[ThermalHistory], subject: Callable[[ThermalHistory], int], reference: float, exponent: float
) -> dict[int, float]:
    cycles: dict[int, float] = {}
    years: dict[int, float] = {}
    for history in histories:
        key = subject(history)
        if key and history.span_years > 0:
            found = equivalent_cycles(history.range_degc, history.count, reference, exponent)
            cycles[key] = cycles.get(key, 0.0) + found
            years[key] = years.get(key, 0.0) + history.span_years
    return {key: cycles[key] / years[key] for key in cycles}


def _joint(history: ThermalHistory) -> int:
    return history.joint_id


def _line(history: ThermalHistory) -> int:
    return 0 if history.joint_id else history.line_id

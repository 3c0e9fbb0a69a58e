"""The order in which the bolts of a joint are tightened."""

from typing import Final

LEAST_BOLTS: Final = 4
"""Below four there is no pattern: two nuts of a clamp are taken in turn."""


def cross_pattern(bolts: int) -> tuple[tuple[int, ...], ...]:
    """The order of a cross-pattern pass, in groups of four, bolts numbered clockwise from 1.

    s, s + n/2, s + n/4, s + 3n/4 for each of the n/4 starts s

    Parameters
    ----------
    bolts : int [-]
        n, the number of bolts: 4 or a multiple of it.

    Returns
    -------
    tuple of tuple of int [-]
        Groups of four: a pair of opposite bolts, then the pair at right angles to it.

    Raises
    ------
    ValueError
        If the number is not a multiple of four.

    References
    ----------
    ASME PCC-1-2013, Table 4 (legacy cross pattern), number of the table and orders from memory: for 4 to 16 bolts
    with good, for 20 and 24 with fair confidence. For other counts the same pairs, each group begun as far as can be
    from the ones before (Own method): groups that follow each other must not pull one side down.

    Examples
    --------
    >>> cross_pattern(8)
    ((1, 5, 3, 7), (2, 6, 4, 8))
    """
    if bolts < LEAST_BOLTS or bolts % 4:
        raise ValueError(f"a cross pattern needs a multiple of four bolts, not {bolts}")
    quarter, half = bolts // 4, bolts // 2
    starts = _STARTS.get(bolts) or _spread(quarter)
    return tuple((s, s + half, s + quarter, s + quarter + half) for s in starts)


def opposite_pairs(bolts: int) -> tuple[tuple[int, ...], ...]:
    """The order of a pass over an even number of bolts that four does not divide, in opposite pairs.

    s, s + n/2 for each of the n/2 starts s

    Parameters
    ----------
    bolts : int [-]
        n, an even number from 4 up.

    Returns
    -------
    tuple of tuple of int [-]
        Pairs, each begun as far as can be from the ones before.

    Raises
    ------
    ValueError
        If the number is odd or below 4.

    References
    ----------
    Own method: no pair has another at right angles to it when four does not divide the number, so opposite pairs spread
    round the joint are what is left of the cross pattern.

    Examples
    --------
    >>> opposite_pairs(10)
    ((1, 6), (3, 8), (5, 10), (2, 7), (4, 9))
    """
    if bolts < LEAST_BOLTS or bolts % 2:
        raise ValueError(f"opposite pairs need an even number of bolts from {LEAST_BOLTS} up, not {bolts}")
    half = bolts // 2
    return tuple((s, s + half) for s in _spread(half))


def tightening_order(bolts: int) -> tuple[tuple[int, ...], ...]:
    """The order of a pass for any number of bolts that has one.

    Groups of four where four divides the number, opposite pairs where only two does. Raises ValueError, in words for
    the fitter, for an odd number and for fewer than four.

    Examples
    --------
    >>> tightening_order(4), tightening_order(6)
    (((1, 3, 2, 4),), ((1, 4), (2, 5), (3, 6)))
    >>> tightening_order(7)
    Traceback (most recent call last):
    ValueError: 7 bolts have no opposite pairs: tighten in the order that the plant's own procedure gives
    """
    if bolts < LEAST_BOLTS:
        raise ValueError(f"{bolts} bolts make no pattern: tighten them in turn, a little at a time")
    if bolts % 2:
        raise ValueError(
            f"{bolts} bolts have no opposite pairs: tighten in the order that the plant's own procedure gives"
        )
    return opposite_pairs(bolts) if bolts % 4 else cross_pattern(bolts)


# First bolt of each group, as remembered of the table.
_STARTS: Final = {4: (1,), 8: (1, 2), 12: (1, 2, 3), 16: (1, 3, 2, 4), 20: (1, 3, 5, 2, 4), 24: (1, 4, 2, 5, 3, 6)}


def _spread(places: int) -> tuple[int, ...]:
    """1 … places round a circle, each as far as can be from those already taken; the last one taken counts twice."""
    taken = [1]
    while len(taken) < places:
        free = [number for number in range(1, places + 1) if number not in taken]
        taken.append(max(free, key=lambda n: (min(_apart(n, t, places) for t in taken), _apart(n, taken[-1], places))))
    return tuple(taken)


def _apart(one: int, other: int, places: int) -> int:
    return min(abs(one - other), places - abs(one - other))

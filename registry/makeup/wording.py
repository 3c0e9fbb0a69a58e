"""Figures in sentences that a fitter reads."""


def in_unit(value: float, unit: str = "") -> str:
    """A figure with its unit, to three places and no more than it needs.

    Examples
    --------
    >>> in_unit(142.5, "N·m"), in_unit(150.0, "N·m"), in_unit(0.8000000001, "mm"), in_unit(310.7784)
    ('142.5 N·m', '150 N·m', '0.8 mm', '310.778')
    """
    return f"{value:.3f}".rstrip("0").rstrip(".") + (f" {unit}" if unit else "")


def in_turns(turns: float) -> str:
    """So many turns.

    Examples
    --------
    >>> in_turns(0.4), in_turns(1.0), in_turns(1.25)
    ('0.4 of a turn', '1.0 turn', '1.25 turns')
    """
    figure = _with_a_place(turns)
    return f"{figure} of a turn" if turns < 1 else f"{figure} turn{'' if turns == 1 else 's'}"


def plus_minus(value: float, tolerance: float) -> str:
    """A figure with its tolerance.

    Examples
    --------
    >>> plus_minus(1.0, 0.25)
    '1.0 ± 0.25'
    """
    return f"{_with_a_place(value)} ± {_with_a_place(tolerance)}"


def _with_a_place(value: float) -> str:
    figure = in_unit(value)
    return figure if "." in figure else f"{figure}.0"

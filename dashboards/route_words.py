"""What a walk and its mending come to, in words."""

from registry.routes.model import Mended, RouteSummary

_LEAST_MINUTES = 0.05


def totals_words(route: RouteSummary) -> tuple[str, ...]:
    """What a route's order costs, and whether its shift holds it."""
    lines: list[str] = []
    if route.best_walking_minutes is not None:
        lines.append(order_words(route.order_costs_minutes))
    if route.overrun_minutes > _LEAST_MINUTES:
        lines.append(_overrun(route.overrun_minutes))
    return tuple(lines)


def mended_words(mended: Mended, dropped: int, added: int) -> tuple[str, ...]:
    """What a change to a route does, before it is kept."""
    all_minutes = mended.walking_minutes + mended.working_minutes
    lines = [
        f"Walking {mended.walking_minutes:.1f} min{_change(mended.walking_minutes - mended.walking_minutes_before)},"
        f" working {mended.working_minutes:.1f} min{_change(mended.working_minutes - mended.working_minutes_before)}.",
        f"In all {all_minutes:.1f} of {mended.shift_minutes:.0f} min of the shift.",
        order_words(mended.order_costs_minutes),
    ]
    if mended.overrun_minutes > _LEAST_MINUTES:
        lines.append(_overrun(mended.overrun_minutes))
    if dropped or added:
        lines.append(f"{_stops(dropped)} left out, {_stops(added)} added.")
    return tuple(lines)


def order_words(minutes: float) -> str:
    """What an order walks more than the best one found.

    >>> order_words(3.21), order_words(0.001)
    ('Your order walks 3.2 min more than the best found.', 'No order was found that walks less.')
    """
    if minutes < _LEAST_MINUTES:
        return "No order was found that walks less."
    return f"Your order walks {minutes:.1f} min more than the best found."


def _overrun(minutes: float) -> str:
    return f"It goes {minutes:.1f} min over the shift."


def _change(minutes: float) -> str:
    if abs(minutes) < _LEAST_MINUTES:
        return ""
    return f" ({abs(minutes):.1f} min {'more' if minutes > 0 else 'less'} than before)"


def _stops(number: int) -> str:
    return "1 stop" if number == 1 else f"{number} stops"

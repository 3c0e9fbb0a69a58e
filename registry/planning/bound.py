"""What no plan can cost less than: weak duality, with prices of the crews' time at which the work nearly fits."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from registry.planning.prices import ceilings, crew_loads, loads, need_prices
from registry.planning.problem import Flags, Floats
from registry.planning.starting import starting_prices
from registry.planning.visits import best_visits, best_weeks
from registry.planning.waiting import Waiting

_ROUNDS = 4
_STEPS = 14
_TRIALS = 9
_GROW, _SHRINK = 1.1, 0.7
_INERTIA = 0.8
_LEAST_MINUTES = 60.0
_CLOSE = 0.3


@dataclass(frozen=True)
class Bound:
    """Prices of the crews' minutes (crews, weeks), the bound that they prove, and the visits of the cheapest plan then.

    `excess` is what the work of that plan is more than the crews' time, by crew and week [min].
    """

    prices: Floats
    value: float
    visited: Flags
    excess: Floats


def proven_bound(waiting: Waiting, tell: Callable[[float], None]) -> Bound:
    """The best bound found by moving the prices.

    B(μ) = settled + Σ places min(visits + Σ checks (cost + μ · minutes)) − Σ crews, weeks μ · capacity

    Parameters
    ----------
    waiting : Waiting
        The free checks.
    tell : callable
        Called with the share that is done.

    Returns
    -------
    Bound
        B at the best prices μ ≥ 0 found [min of cost].

    References
    ----------
    Own method. B holds for any prices (weak duality: a plan that keeps to the hours pays μ · minutes ≤ μ · capacity),
    and what each place costs is itself from below (`best_visits`). By turns all prices are raised or lowered together,
    until the work as a whole fits, and each is moved against what is too much or too little in its week: the first is
    slow by single steps, for work flows to the weeks beside long before it is left out.
    """
    search = _Search(waiting, tell)
    search.tried(starting_prices(waiting, ceilings(waiting)))
    for _ in range(_ROUNDS):
        if not search.best.excess.any():
            break
        search.move_all_alike()
        search.move_each()
    return search.best


class _Search:
    """The prices on their way, and the best so far."""

    best: Bound

    def __init__(self, waiting: Waiting, tell: Callable[[float], None]) -> None:
        self._waiting, self._tell = waiting, tell
        self._places = np.arange(waiting.places)
        self._ceiling = ceilings(waiting)
        self._time = np.maximum(waiting.capacity, _LEAST_MINUTES)
        self._visited = np.zeros(waiting.visit_cost.shape, dtype=np.bool_)
        self._least = np.zeros(waiting.places)
        self._week, self._priced = np.zeros(len(waiting), dtype=np.int64), np.zeros(len(waiting))
        week_later = (waiting.late_cost + waiting.early_cost) / np.maximum(waiting.minutes, 1.0)
        self._step = max(0.3 * float(np.median(week_later)) if len(waiting) else 0.0, 1e-6)
        self._stride = 10 * self._step
        self._count = 0
        self.best = Bound(self._time * 0, -np.inf, self._visited, self._time * 0)

    def tried(self, prices: Floats) -> tuple[Floats, bool]:
        """What the work at these prices is more than the crews' time, and whether the bound is the best so far."""
        waiting = self._waiting
        by_need = need_prices(waiting, prices, self._ceiling)
        best_visits(waiting, by_need, self._visited, self._least, self._places)
        value = waiting.settled_cost + float(self._least.sum()) - float((prices * waiting.capacity).sum())
        best_weeks(waiting, by_need, self._visited, self._week, self._priced, self._places)
        load = crew_loads(waiting, loads(waiting, self._week), prices, self._step / self._time)
        excess = load - waiting.capacity
        better = value > self.best.value
        if better:
            self.best = Bound(prices, value, self._visited.copy(), excess)
        self._count += 1
        self._tell(min(self._count / (_ROUNDS * (_STEPS + _TRIALS)), 1.0))
        return excess, better

    def move_all_alike(self) -> None:
        """Raise or lower all prices by the same, to where the work as a whole just fits."""
        prices, upwards = self.best.prices, float(self.best.excess.sum()) > 0
        if not upwards and not prices.any():
            return
        sign = 1.0 if upwards else -1.0
        near, far, shift = 0.0, np.inf, self._stride
        for _ in range(_TRIALS):
            moved = np.maximum(prices + sign * shift, 0.0)
            excess, _ = self.tried(moved)
            too_much = float(excess[(moved > 0) | (excess > 0)].sum())
            if sign * too_much > 0:
                near = shift
            else:
                far = shift
            if not np.isfinite(far) and not moved.any():
                break
            shift = 3 * shift if np.isinf(far) else (near + far) / 2
            if far - near < _CLOSE * far:
                break
        self._stride = max(shift / 2, self._step)

    def move_each(self) -> None:
        """Move each price against what is too much or too little in its week, relative to its time."""
        prices, excess = self.best.prices, self.best.excess
        course = np.zeros(prices.shape)
        for _ in range(_STEPS):
            wanted = np.where((prices <= 0) & (excess < 0), 0.0, np.clip(excess / self._time, -1.0, 1.0))
            course = _INERTIA * course + (1 - _INERTIA) * wanted
            prices = np.maximum(prices + self._step * course / (1 - _INERTIA) / 2, 0.0)
            excess, better = self.tried(prices)
            self._step *= _GROW if better else _SHRINK

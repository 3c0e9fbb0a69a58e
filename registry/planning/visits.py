"""In which weeks to go to each place, at given prices of the crews' time: a shortest way through the weeks."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from registry.planning.loops import visits_of_places, weeks_of_places
from registry.planning.problem import Flags, Floats, Integers
from registry.planning.waiting import Waiting

_THREADS = 2


def best_visits(waiting: Waiting, prices: Floats, visited: Flags, least: Floats, places: Integers) -> None:
    """Which weeks to visit `places` in, written into `visited`; into `least` what no choice of weeks costs less than.

    The cost is that of visits, of each check in its week, and of its minutes at the price (needs, weeks) of that week.
    From one visited week to the next a check costs

        T(a, b) = min(u, min of c over the weeks up to a, min of c over the weeks from b)

    where a and b are the visited weeks about its own best one, c is its cost by week with its minutes priced, and u
    that of leaving it out. The shortest way from before the first week to after the last over all pairs (a, b) is never
    dearer than the best choice, for each check is counted once, at no more than it costs with any choice that has a and
    b next to one another. It is the best choice where c rises on both sides of the check's best week, which prices
    disturb but little; so what it opens is nearly the best there is as well.
    """

    def part(some: Integers) -> None:
        visits_of_places(
            some,
            waiting.begins,
            waiting.columns,
            waiting.open_weeks,
            prices,
            waiting.visit_cost,
            visited,
            least,
        )

    _shared_out(waiting, places, part)


def best_weeks(
    waiting: Waiting, prices: Floats, visited: Flags, week: Integers, priced: Floats, places: Integers
) -> None:
    """The best week of each check of `places` among those visited, and its cost with its minutes at the price."""

    def part(some: Integers) -> None:
        weeks_of_places(
            some,
            waiting.begins,
            waiting.columns,
            waiting.open_weeks,
            prices,
            visited,
            week,
            priced,
        )

    _shared_out(waiting, places, part)


def _shared_out(waiting: Waiting, places: Integers, part: Callable[[Integers], None]) -> None:
    # Each place writes what is its own alone, so the threads do not change the outcome.
    work = np.cumsum(waiting.begins[places + 1] - waiting.begins[places])
    if len(places) < 2 * _THREADS or work[-1] < 20_000:
        part(places)
        return
    ends = np.searchsorted(work, work[-1] * np.arange(1, _THREADS) / _THREADS)
    with ThreadPoolExecutor(_THREADS) as threads:
        list(threads.map(part, np.split(places, ends)))

"""Choosing and ordering stops: the same every time, never longer than the shift, no room left."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.plant.model import Floats
from registry.plant.walking_lines import Integers
from registry.routes.candidates import weighed_candidates
from registry.routes.choosing import StopRule, chosen_rounds, stop_prizes
from registry.routes.filling import Shifts, filled_rounds, refilled_rounds
from registry.routes.ordering import RoundRule
from registry.routes.polish import polished_round, round_length

QUICK = StopRule(most_steps=300, patience_steps=100, refills=40, order=RoundRule(rounds=2, kicks_a_place=1))


def plant(seed: int, count: int, side_m: float = 300.0) -> tuple[Floats, Floats, Floats]:
    """Walking seconds, working seconds and prizes of a start and so many stops."""
    rng = np.random.default_rng(seed)
    places = rng.uniform(0, side_m, (count + 1, 2))
    walking = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1)) / 1.2
    working, prizes = rng.uniform(5, 25, count + 1) * 60, rng.lognormal(0, 1, count + 1)
    working[0] = prizes[0] = 0
    return walking, working, prizes


def chosen_stops(
    walking: Floats, working: Floats, prizes: Floats, shift_s: float, *, seed: int, rule: StopRule | None = None
) -> list[int]:
    """What one crew visits that may visit everything."""
    may = np.ones((1, len(walking)), dtype=bool)
    (order,) = chosen_rounds(walking, working, prizes, [shift_s], may, seed=seed, rule=rule)
    return order


def seconds_of(walking: Floats, working: Floats, order: list[int]) -> float:
    way = [0, *order, 0]
    return float(walking[way[:-1], way[1:]].sum() + working[order].sum())


def test_the_same_input_gives_the_same_route_and_another_seed_may_give_another() -> None:
    walking, working, prizes = plant(1, 120)
    first = chosen_stops(walking, working, prizes, 8 * 3600.0, seed=3, rule=QUICK)
    assert first == chosen_stops(walking, working, prizes, 8 * 3600.0, seed=3, rule=QUICK)
    assert any(first != chosen_stops(walking, working, prizes, 8 * 3600.0, seed=seed, rule=QUICK) for seed in (4, 5, 6))


@settings(max_examples=15)
@given(seed=st.integers(0, 10_000), hours=st.floats(0.3, 8))
def test_a_walk_holds_its_shift_visits_nothing_twice_and_leaves_no_room(seed: int, hours: float) -> None:
    walking, working, prizes = plant(seed, 40)
    order = chosen_stops(walking, working, prizes, hours * 3600, seed=1, rule=QUICK)
    used = seconds_of(walking, working, order)
    assert used <= hours * 3600
    assert len(set(order)) == len(order)
    assert 0 not in order
    for stop in set(range(1, 41)) - set(order):
        fuller = min(seconds_of(walking, working, [*order[:at], stop, *order[at:]]) for at in range(len(order) + 1))
        # Whole seconds, rounded up: one for each leg and each check.
        assert fuller > hours * 3600 - 2 * (len(order) + 2)


def test_a_shift_too_short_for_any_stop_gives_an_empty_walk() -> None:
    walking, working, prizes = plant(1, 10)
    assert chosen_stops(walking, working, prizes, 60.0, seed=1) == []
    assert chosen_stops(walking[:1, :1], working[:1], prizes[:1], 3600.0, seed=1) == []


def test_prizes_rise_with_risk_and_with_lateness_up_to_three_months() -> None:
    risk = np.array([0.1, 0.2, 0.1, 0.1, 0.1])
    prizes = stop_prizes(risk, np.array([0.0, 0.0, 30.0, 90.0, 900.0]))
    assert prizes[0] < prizes[1] < prizes[2] < prizes[3]
    assert prizes[3] == prizes[4]
    assert (stop_prizes(np.zeros(3), np.full(3, -10.0)) > 0).all()


def matrix(seed: int, count: int) -> Integers:
    return np.rint(plant(seed, count)[0]).astype(np.int64)


@pytest.mark.parametrize("seed", range(5))
def test_polishing_never_lengthens_a_round_and_takes_crossings_out(seed: int) -> None:
    distances = matrix(seed, 60)
    order = list(range(1, 61))
    polished = polished_round(distances, order)
    assert sorted(polished) == order
    assert round_length(distances, polished) < 0.5 * round_length(distances, order)
    assert polished_round(distances, polished) == polished


@pytest.mark.parametrize("seed", range(5))
def test_no_turn_and_no_move_shortens_a_polished_round(seed: int) -> None:
    distances = matrix(seed, 14)
    order = polished_round(distances, list(range(1, 15)))
    shortest = round_length(distances, order)
    for start in range(14):
        for end in range(start + 1, 15):
            stretch, rest = order[start:end], order[:start] + order[end:]
            turned = order[:start] + stretch[::-1] + order[end:]
            assert round_length(distances, turned) >= shortest
            if len(stretch) <= 3:
                for at in range(len(rest) + 1):
                    for piece in (stretch, stretch[::-1]):
                        assert round_length(distances, rest[:at] + piece + rest[at:]) >= shortest


@pytest.mark.parametrize("order", [[], [1], [2, 1], [3, 1, 2]])
def test_tiny_rounds_are_polished_without_fuss(order: list[int]) -> None:
    assert sorted(polished_round(matrix(1, 3), order)) == sorted(order)


@pytest.mark.parametrize("crews", [1, 2])
def test_refilling_never_loses_what_the_rounds_are_worth(crews: int) -> None:
    walking, working, prizes = plant(2, 80)
    working[:crews] = prizes[:crews] = 0
    may = np.ones((crews, 81), dtype=bool)
    may[:, :crews] = False
    whole = (np.ceil(walking).astype(np.int64), np.ceil(working).astype(np.int64))
    shifts = Shifts(*whole, prizes, np.full(crews, 4 * 3600), may)
    filled = filled_rounds(shifts, [[]] * crews)
    refilled = refilled_rounds(shifts, filled, seed=1, rounds=60)
    for rounds in (filled, refilled):
        assert all(shifts.used(crew, order) <= 4 * 3600 for crew, order in enumerate(rounds))
        stops = [stop for order in rounds for stop in order]
        assert len(set(stops)) == len(stops)
    assert shifts.prize(refilled) >= shifts.prize(filled)


def test_of_many_candidates_the_best_and_their_neighbours_are_weighed() -> None:
    rng = np.random.default_rng(1)
    places, prizes = rng.uniform(0, 1000, (3000, 2)), rng.lognormal(0, 1, 3000)
    weighed = weighed_candidates(prizes, places, most=200)
    assert len(set(weighed.tolist())) == 200
    best = np.argsort(-prizes)[:100]
    assert np.isin(best, weighed).all()
    others = np.setdiff1d(weighed, best)
    left = np.setdiff1d(np.arange(3000), weighed)

    def farthest(which: Integers) -> Floats:
        return np.hypot(*(places[which][:, None] - places[best][None]).transpose(2, 0, 1)).min(axis=1)

    assert farthest(others).max() <= farthest(left).min() + 1e-9
    assert weighed_candidates(prizes[:50], places[:50], most=200).tolist() == list(range(50))

"""Which stops are chosen, against the optimum of an exact model (circuits with optional stops)."""

import numpy as np
import pytest
from ortools.sat.python import cp_model

from registry.plant.model import Floats
from registry.routes.choosing import StopRule, chosen_rounds

RULE = StopRule(most_steps=1000, patience_steps=300, refills=150)


def case(seed: int, count: int, crews: int) -> tuple[Floats, Floats, Floats]:
    """Walking seconds, working seconds and prizes; whole seconds, so that rounding up takes nothing from a shift."""
    rng = np.random.default_rng(seed)
    places = rng.uniform(0, 400, (count + crews, 2))
    walking = np.ceil(np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1)) / 1.2)
    working, prizes = np.ceil(rng.uniform(5, 25, count + crews) * 60), rng.lognormal(0, 1, count + crews)
    working[:crews] = prizes[:crews] = 0
    return walking, working, prizes


def optimum(walking: Floats, working: Floats, prizes: Floats, shifts_s: list[float], may: np.ndarray) -> float:
    """The most that the shifts can be worth, proven."""
    model = cp_model.CpModel()
    crews, places = may.shape
    visited = np.empty((crews, places), dtype=object)
    for crew in range(crews):
        arcs, seconds = [], []
        for place in range(places):
            if place != crew:
                visited[crew, place] = model.new_bool_var(f"{crew} visits {place}")
                arcs.append((place, place, ~visited[crew, place]))
                if not may[crew, place]:
                    model.add(visited[crew, place] == 0)
                seconds.append(int(working[place]) * visited[crew, place])
            for other in range(places):
                if other != place:
                    walked = model.new_bool_var(f"{crew} from {place} to {other}")
                    arcs.append((place, other, walked))
                    seconds.append(int(walking[place, other]) * walked)
        idle = model.new_bool_var(f"{crew} stays")
        arcs.append((crew, crew, idle))
        for stop in range(crews, places):
            model.add_implication(visited[crew, stop], ~idle)
        model.add_circuit(arcs)
        model.add(sum(seconds) <= int(shifts_s[crew]))
    for stop in range(crews, places):
        model.add_at_most_one(visited[:, stop])
    worth = [
        round(float(prizes[stop]) * 1e6) * visited[crew, stop] for crew in range(crews) for stop in range(crews, places)
    ]
    model.maximize(sum(worth))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 2
    solver.parameters.random_seed = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return solver.objective_value / 1e6


def gap_of(seed: int, count: int, shifts_s: list[float], *, skills: bool = False) -> float:
    crews = len(shifts_s)
    walking, working, prizes = case(seed, count, crews)
    may = np.ones((crews, count + crews), dtype=bool)
    if skills:
        may[0, crews::3] = False
        may[1, crews + 1 :: 3] = False
    may[:, :crews] = False
    rounds = chosen_rounds(walking, working, prizes, shifts_s, may, seed=1, rule=RULE)
    for crew, order in enumerate(rounds):
        way = [crew, *order, crew]
        assert walking[way[:-1], way[1:]].sum() + working[order].sum() <= shifts_s[crew]
        assert may[crew, order].all()
    chosen = [stop for order in rounds for stop in order]
    assert len(set(chosen)) == len(chosen)
    return 1 - float(prizes[chosen].sum()) / optimum(walking, working, prizes, shifts_s, may)


@pytest.mark.parametrize("seed", range(20))
def test_the_stops_of_one_crew_are_worth_nearly_what_the_best_are(seed: int) -> None:
    gap = gap_of(seed, 12 + seed % 4, [60.0 * (70 + 5 * (seed % 5))])
    print(f"{12 + seed % 4} stops: {gap:.2%} under the optimum")
    assert -1e-6 <= gap <= 0.03


@pytest.mark.parametrize("seed", range(4))
def test_the_stops_of_two_crews_are_worth_nearly_what_the_best_are(seed: int) -> None:
    gap = gap_of(100 + seed, 12, [45 * 60.0, 60 * 60.0], skills=seed % 2 == 1)
    print(f"12 stops, two crews: {gap:.2%} under the optimum")
    assert -1e-6 <= gap <= 0.03

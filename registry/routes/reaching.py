"""Which of the joints can be walked to from where the crews start, and the walks between those worth looking at."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from registry.plant.model import Floats
from registry.plant.walking_lines import Integers
from registry.routes.candidates import weighed_candidates
from registry.routes.demand import Demand
from registry.routes.distances import Walks, walks_between
from registry.routes.hanging import INSIDE, NO_WAY, REASONS, hung, mainland_from
from registry.routes.walkways import WalkingGround

# Beyond this many due joints only the riskiest are looked at: no shift gets near the rest.
MOST_HUNG = 20_000
CUT_OFF = "walled in: it hangs on ground that no walk from the start reaches"


@dataclass(frozen=True)
class Reach:
    """The joints to choose from, the walks between the crews' starts (0, 1, …) and them, and what no walk reaches.

    `unreachable` counts by crew what is on its list; `reasons` holds, by joint number, why no walk reaches it.
    """

    weighed: Demand
    walks: Walks
    unreachable: tuple[int, ...]
    reasons: dict[int, str]


def reach_of(ground: WalkingGround, starts: Floats, demand: Demand, walk_on: date) -> Reach:
    """What can be walked to from any of the starts (crews, 3) [m], and of that what is worth weighing."""
    if len(demand) > MOST_HUNG:
        worth = np.where(demand.pinned, np.inf, demand.prizes(walk_on))
        demand = demand.taken(np.sort(np.argsort(-worth, kind="stable")[:MOST_HUNG]))
    crews = len(starts)
    mainland = np.logical_or.reduce([mainland_from(ground, start) for start in starts])
    hanging = hung(ground, demand.points, mainland)
    reached = ~np.isin(hanging.state, (INSIDE, NO_WAY))
    joints = demand.columns["joint_id"]
    reasons = {int(joints[at]): REASONS[int(hanging.state[at])] for at in np.flatnonzero(~reached)}
    prizes = demand.prizes(walk_on)
    while True:
        which = _weighed(demand, reached, prizes)
        weighed = demand.taken(which)
        points = np.concatenate([starts, weighed.points])
        walks = walks_between(ground, points, hung(ground, points, mainland))
        cut_off = ~(np.isfinite(walks.seconds[:crews, crews:]) & weighed.able).any(axis=0)
        if not cut_off.any():
            unreachable = tuple(int((listed & ~reached).sum()) for listed in demand.listed)
            return Reach(weighed, walks, unreachable, reasons)
        # Seen only now: a joint that hangs on clear ground nobody can get to. Others may take its place.
        reasons |= {int(joints[at]): CUT_OFF for at in which[cut_off]}
        reached[which[cut_off]] = False


def _weighed(demand: Demand, reached: np.ndarray, prizes: Floats) -> Integers:
    """What each crew is to choose from, and what is pinned."""
    chosen = [np.flatnonzero(reached & demand.pinned & demand.able.any(axis=0))]
    for able in demand.able:
        inside = np.flatnonzero(reached & able)
        chosen.append(inside[weighed_candidates(prizes[inside], demand.points[inside, :2])])
    return np.unique(np.concatenate(chosen))

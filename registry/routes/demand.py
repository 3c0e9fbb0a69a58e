"""What there is to walk to on a day, as columns: on whose list each joint is, who can do it, and what is pinned."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from registry.columns import Columns
from registry.crews.model import Crew
from registry.intervals.model import DUE_REASONS
from registry.plant.model import Floats
from registry.plant.walking_lines import Integers
from registry.policy.model import Policy
from registry.routes.choosing import stop_prizes

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Walker:
    """A crew that is to walk: its name, what the crews list says of it, and the kinds of tool that it holds."""

    name: str
    known: Crew | None
    tools: tuple[str, ...] | None

    def may_check(self, family: str) -> bool:
        """Whether it may check joints of a family."""
        return self.known is None or self.known.may_check(family)

    def lacks(self, needed: Sequence[str]) -> tuple[str, ...]:
        """The kinds of tool among these that it does not hold."""
        return () if self.tools is None else tuple(tool for tool in needed if tool not in self.tools)


@dataclass(frozen=True, slots=True)
class Demand:
    """Joints as columns, n of them, and the crews that choose among them.

    `listed` (crews, n) says which joint is on whose list and of a family that the crew may check; `able` which of them
    the crew can do with the tools that it holds; `pinned` (n,) which a person wants on a walk, due or not.
    """

    columns: Columns
    listed: Flags
    able: Flags
    pinned: Flags
    sources: tuple[str, ...]
    waiting_for_outage: tuple[int, ...]
    lacking_tools: tuple[dict[str, int], ...]

    def __len__(self) -> int:
        return len(self.columns["joint_id"])

    def taken(self, which: Integers) -> "Demand":
        """Some of the joints, in the given order."""
        columns = {name: values[which] for name, values in self.columns.items()}
        return Demand(
            columns,
            self.listed[:, which],
            self.able[:, which],
            self.pinned[which],
            self.sources,
            self.waiting_for_outage,
            self.lacking_tools,
        )

    @property
    def points(self) -> Floats:
        """Where the joints are, (n, 3) [m]."""
        return np.column_stack([self.columns["location"], self.columns["elevation_m"]])

    def prizes(self, walk_on: date) -> Floats:
        """What each is worth to visit."""
        overdue = (np.datetime64(walk_on, "D") - self.columns["due_on"]).astype(np.float64)
        return stop_prizes(self.columns["detection_probability"] * self.columns["risk_now"], overdue)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a person says of single joints, by number, with their tags: on a walk whatever happens, or on none."""

    pinned: dict[int, str]
    left_out: dict[int, str]


@dataclass(frozen=True, slots=True)
class ShutDown:
    """The areas that an outage shuts down on a day; a place in no area (0) only by one of the whole site."""

    everywhere: bool
    areas: frozenset[int]

    def holds(self, area_ids: npt.NDArray[np.int32]) -> Flags:
        """Whether each area is shut down."""
        return np.full(len(area_ids), True) if self.everywhere else np.isin(area_ids, sorted(self.areas))


def needed_tools(policy: Policy, families: dict[int, str], columns: Columns) -> list[tuple[str, ...]]:
    """The kinds of tool that the check of each joint takes."""
    pairs = np.stack([columns["family_id"], columns["due_reason"]], axis=1)
    distinct, which = np.unique(pairs, axis=0, return_inverse=True)
    tools: list[tuple[str, ...]] = []
    for family_id, reason in distinct.tolist():
        family = policy.family(families[family_id])
        tools.append(() if family is None else family.tools_for(DUE_REASONS[reason]))
    return [tools[number] for number in np.ravel(which).tolist()]

"""Checks moved by hand: what that would cost, the move itself, and letting go of what a person put somewhere."""

from collections.abc import Sequence
from datetime import date

from registry.db import Connection
from registry.planning.changes import BundleKey, MoveEffect


def preview_move(connection: Connection, bundle: BundleKey, to_week: date, to_crew_id: int, today: date) -> MoveEffect:
    """What moving some checks of the newest plan to a week and crew would do; writes nothing.

    Where it cannot be, `refused` of the answer says why. Raises PlanOvertaken where the bundle is of an older plan,
    BundleUnknown, WeekUnknown or CrewUnknown.
    """
    raise NotImplementedError


def move_bundle(
    connection: Connection,
    bundle: BundleKey,
    to_week: date,
    to_crew_id: int,
    reason: str,
    moved_by: str,
    today: date,
    *,
    over_time: bool = False,
) -> MoveEffect:
    """Move some checks of the newest plan to a week and crew, and keep them there in later plans.

    `over_time` allows what puts the crew's week over its time. Raises what `preview_move` raises, MoveUnfit without
    reason or name, MoveRefused, CrewFull, or PlanBusy while a plan is being made.
    """
    raise NotImplementedError


def let_go(connection: Connection, joint_ids: Sequence[int]) -> int:
    """Leave the next checks of joints to the next plan again, and return how many a person had put somewhere."""
    raise NotImplementedError

"""Checks allowed to be later than the policy does: what that adds to the risk, by whom and until when."""

from datetime import date

from registry.db import Connection
from registry.planning.changes import Deferral, DeferralEffect, DeferralRequest


def preview_deferral(connection: Connection, tag: str, until_on: date, today: date) -> DeferralEffect:
    """What deferring the next check of a joint would add to its risk; writes nothing.

    Raises JointUnknown, NotScored, JointNotScored, or DeferralUnfit where it ends before the due date or today.
    """
    raise NotImplementedError


def defer(connection: Connection, wanted: DeferralRequest, today: date) -> Deferral:
    """Record that a joint's next check may be as late as a day; the next plan goes by it.

    Raises what `preview_deferral` raises, and DeferralUnfit without reason or name.
    """
    raise NotImplementedError


def list_deferrals(
    connection: Connection, today: date, *, tag: str | None = None, all_of_them: bool = False
) -> list[Deferral]:
    """Deferrals in force, or all that there ever were; newest first, of one joint or of all."""
    raise NotImplementedError

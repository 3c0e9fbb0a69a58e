"""What a crew found at a joint, and what came of recording it."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from uuid import UUID

from registry.errors import Conflict, Invalid, NotFound, on_constraint
from registry.leaks.model import Severity

Result = Literal["tight", "retightened", "weeping", "leaking", "not_reached"]

RESULTS: tuple[Result, ...] = ("tight", "retightened", "weeping", "leaking", "not_reached")
SATISFACTORY: tuple[Result, ...] = ("tight", "retightened")
SEVERITY_OF: dict[Result, Severity] = {"weeping": "weep", "leaking": "drip"}
"""How bad the leak is that a result opens, unless the crew says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckReport:
    """What was found at a joint, named by tag or by number.

    `client_uuid` is made where it was seen, so that sending it twice counts once. `severity` is that of a leak, where
    the result is one and the crew says.
    """

    observed_at: datetime
    result: Result
    client_uuid: UUID
    tag: str | None = None
    joint_id: int | None = None
    screening_ppmv: float | None = None
    checked_by: str | None = None
    notes: str | None = None
    route_id: int | None = None
    severity: Severity | None = None


@dataclass(frozen=True, slots=True)
class RecordedCheck:
    """A row of the ledger as far as a repeated report must agree with it."""

    check_result_id: int
    joint_id: int
    observed_at: datetime
    result: Result
    screening_ppmv: float | None
    checked_by: str | None
    notes: str | None
    route_id: int | None


@dataclass(frozen=True, slots=True)
class CheckAnswer:
    """What came of a report: its row, the leak that it opened, and where the due date went.

    The dates are None while the site is not scored. `repeated` says that the very same report was recorded before:
    nothing was added, and `old_due_on` is what stands now.
    """

    check_result_id: int
    joint_id: int
    tag: str
    result: Result
    leak_id: int | None
    old_due_on: date | None
    new_due_on: date | None
    due_reason: str | None
    repeated: bool


class JointUnnamed(Invalid):
    """A check is of one joint, by its tag or its number"""

    slug = "joint-unnamed"


class RouteUnknown(NotFound):
    """There is no such route in this site"""

    slug = "route-unknown"


class StopUnknown(NotFound):
    """The route has no such stop"""

    slug = "stop-unknown"


@on_constraint("check_result_once")
class CheckReportedOtherwise(Conflict):
    """The same report was recorded before with other content"""

    slug = "check-reported-otherwise"


@on_constraint("check_result_known")
@on_constraint("check_result_screening_not_negative")
class CheckUnfit(Invalid):
    """The report has a value that a check cannot have"""

    slug = "check-unfit"


@on_constraint("check_result_route_exists")
class CheckRouteUnknown(NotFound):
    """There is no such route in this site"""

    slug = "check-route-unknown"

"""What each template is given: one documented dataclass a template.

A template may use the fields of its context and the globals of `rendering.py`, and nothing else; a test holds that, and
that no field is left unused.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, ClassVar

from registry.intervals.explanation import Why
from registry.leaks.model import AreaRate, Leak
from registry.makeup.model import MakeUp
from registry.overview.model import (
    AreaSummary,
    DueCount,
    FoundTag,
    HistoryEntry,
    JointFilter,
    JointRecord,
    ListedJoint,
    Sheet,
)
from registry.policy.model import Policy
from registry.sites.model import Site

Figure = Mapping[str, Any]
"""A Plotly figure as JSON values; its colours are named as the style sheets name them, 'var(--ink)'."""


@dataclass(frozen=True, slots=True)
class Tab:
    """One sheet of the set in the head."""

    key: str
    number: str
    title: str
    href: str


@dataclass(frozen=True, slots=True)
class Frame:
    """What stands round every drawing: head and title block."""

    title: str
    active: str
    """Key of the tab that the page belongs to; empty for none."""
    site: Site | None
    """None where no site is known: then there are no tabs."""
    home: str
    tabs: tuple[Tab, ...]
    sheet_number: str
    block: Sheet | None
    """What the title block says of scores and policy."""
    today: date


@dataclass(frozen=True, slots=True)
class NextStep:
    """What to do on a site that is not ready for this page."""

    words: str
    command: str | None = None


@dataclass(frozen=True, slots=True)
class FilterForm:
    """The filters of a list or the map: what is chosen, and (value, words) of what can be."""

    wanted: JointFilter
    areas: tuple[tuple[str, str], ...]
    families: tuple[tuple[str, str], ...]
    services: tuple[tuple[str, str], ...]
    due_states: tuple[tuple[str, str], ...]
    view: str | None = None
    """The piece of the plan that is shown, so that filtering does not move it; None where there is no plan."""


@dataclass(frozen=True, slots=True)
class JointRow:
    """A joint in a table."""

    joint: ListedJoint
    href: str
    state: str
    reason: str
    """What set its due date, in words."""
    place: str
    """Sheet reference and elevation: 'C4, elevation 5.5 m'."""


@dataclass(frozen=True, slots=True)
class AreaRow:
    """An area in a table, with the address that shows it alone."""

    summary: AreaSummary
    href: str


@dataclass(frozen=True, slots=True)
class CheckForm:
    """The form that records what was found at a joint."""

    action: str
    client_uuid: str
    """Made with the page, so that sending it twice counts once."""
    results: tuple[tuple[str, str], ...]
    """(code, words) of what can be found."""
    today: date
    opened_at: str
    """When the form was made: the moment of the check, unless another day is given. The script sets it on sending."""


@dataclass(frozen=True, slots=True)
class Receipt:
    """What a recorded check changed."""

    result: str
    old_due_on: date | None
    new_due_on: date | None
    repeated: bool


@dataclass(frozen=True, slots=True)
class PageContext:
    """What every page has."""

    template: ClassVar[str]
    frame: Frame


@dataclass(frozen=True, slots=True)
class SitesPage(PageContext):
    """Which sites there are."""

    template: ClassVar[str] = "sites.html.j2"
    sites: Sequence[Site]
    next_steps: Sequence[NextStep] = ()


@dataclass(frozen=True, slots=True)
class RefusedPage(PageContext):
    """A refusal, in the same look: what was wrong, and where."""

    template: ClassVar[str] = "refused.html.j2"
    status: int
    title: str
    detail: str
    issues: Sequence[Mapping[str, Any]]
    """Each wrong field: row, column, value, reason."""


@dataclass(frozen=True, slots=True)
class PlanPage(PageContext):
    """The plot plan with its joints: the home."""

    template: ClassVar[str] = "plan.html.j2"
    form: FilterForm | None
    counts: DueCount | None
    map_data: Mapping[str, Any] | None
    """What the script needs: addresses, sheet grid, bounds, view, open leaks. None where there is nothing to draw."""
    in_view: Sequence[JointRow]
    areas: Sequence[AreaRow]
    next_steps: Sequence[NextStep] = ()


@dataclass(frozen=True, slots=True)
class TagsPage(PageContext):
    """What a search for a tag found."""

    template: ClassVar[str] = "tags.html.j2"
    text: str
    found: Sequence[FoundTag]
    more: bool


@dataclass(frozen=True, slots=True)
class JointPage(PageContext):
    """One joint: identity, why, next due, history, and the form that records a check."""

    template: ClassVar[str] = "joint.html.j2"
    joint: JointRecord
    href: str
    place: str
    state: str | None
    reason: str | None
    days: int | None
    """Days from today to the due date; negative when overdue."""
    plan_href: str
    """The plot plan round this joint."""
    why: Why | None
    stale: bool
    """Whether what is known of the joint changed since it was scored, so that the why says more than its due date."""
    limit_words: str | None
    """What set the interval."""
    make_ups: Sequence[MakeUp]
    """Newest first."""
    make_ups_root: str
    history: Sequence[HistoryEntry]
    timeline: Figure | None
    check_form: CheckForm
    receipt: Receipt | None
    full_check: Sequence[str]
    cautions: Sequence[str]
    next_steps: Sequence[NextStep] = ()


@dataclass(frozen=True, slots=True)
class DuePage(PageContext):
    """The due list."""

    template: ClassVar[str] = "due.html.j2"
    form: FilterForm
    counts: DueCount | None
    rows: Sequence[JointRow]
    first_href: str | None
    """The first page, when this is a later one."""
    next_href: str | None
    csv_href: str
    next_steps: Sequence[NextStep] = ()


@dataclass(frozen=True, slots=True)
class LeakRow:
    """An open leak."""

    leak: Leak
    href: str
    days_open: int
    action: str
    client_uuid: str
    opened_at: str


@dataclass(frozen=True, slots=True)
class LeaksPage(PageContext):
    """What leaks now, and how often each area leaks."""

    template: ClassVar[str] = "leaks.html.j2"
    open_leaks: Sequence[LeakRow]
    rates: Sequence[AreaRate]
    plant: AreaRate | None
    chart: Figure | None
    since_on: date | None
    until_on: date
    next_steps: Sequence[NextStep] = ()


@dataclass(frozen=True, slots=True)
class MatrixCell:
    """One cell of the risk matrix."""

    joints: int
    band: int


@dataclass(frozen=True, slots=True)
class IntervalsPage(PageContext):
    """The policy in force, and what it makes of the joints."""

    template: ClassVar[str] = "intervals.html.j2"
    policy: Policy | None
    matrix: Sequence[Sequence[MatrixCell]]
    """Rows are likelihood classes from 5 down to 1, columns consequence classes from 1 to 5."""
    likelihood_words: Sequence[str]
    """What each row's class means, in the order of the rows."""
    limits: Sequence[tuple[str, int]]
    """What set the interval, and of how many joints."""
    assumed: Sequence[tuple[str, int]]
    """Inputs that were assumed, and of how many joints; most first."""
    joints: int
    beyond: int
    vibration_action: int
    beyond_rows: Sequence[JointRow]
    next_steps: Sequence[NextStep] = field(default_factory=tuple)

"""What the templates of crews and outages are given: one documented dataclass a template."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboards.contexts import NextStep, PageContext
from dashboards.figures.half_year import HalfYear
from registry.crews.model import Crew, CrewAbsence, Outage


@dataclass(frozen=True, slots=True)
class CrewForm:
    """The form that adds or changes a crew, with what stands in its fields."""

    action: str
    revision: int | None
    """The one that is changed; None for a new crew."""
    name: str
    minutes: Sequence[tuple[str, str]]
    """(weekday, net minutes at the joints), Monday first."""
    families: Sequence[tuple[str, str, bool]]
    """(code, words, whether the crew is named for it); none ticked means all of them."""
    shift_starts_at: str
    from_on: date | None
    until_on: date | None


@dataclass(frozen=True, slots=True)
class OutageForm:
    """The form that adds or changes an outage, with what stands in its fields."""

    action: str
    revision: int | None
    name: str
    from_on: date | None
    until_on: date | None
    areas: Sequence[tuple[str, bool]]
    """(name, whether it is shut down); none ticked means the whole site."""


@dataclass(frozen=True, slots=True)
class CrewRow:
    """A crew in a table."""

    crew: Crew
    href: str
    families: str
    """What it may check, in words."""
    hours: Sequence[tuple[str, float]]
    """(weekday, net hours) of an ordinary week."""
    state: str
    """Whether it is there: 'here', 'from …', 'until …', 'ended …'."""
    days_off: Sequence[CrewAbsence]
    """Those to come, and the one that it is in."""


@dataclass(frozen=True, slots=True)
class OutageRow:
    """An outage in a table."""

    outage: Outage
    href: str
    days: int
    state: str


@dataclass(frozen=True, slots=True)
class CrewsPage(PageContext):
    """Crews and outages of a site, and the forms that add them."""

    template: ClassVar[str] = "crews.html.j2"
    crews: Sequence[CrewRow]
    outages: Sequence[OutageRow]
    past_outages: Sequence[OutageRow]
    half_year: HalfYear | None
    crew_form: CrewForm | None
    """None where the site has no policy yet, and so no families."""
    outage_form: OutageForm
    time_zone: str
    next_steps: Sequence[NextStep] = ()


@dataclass(frozen=True, slots=True)
class CrewPage(PageContext):
    """One crew: changed, given days off, ended; its calendar's address for whoever asks to see it."""

    template: ClassVar[str] = "crew.html.j2"
    row: CrewRow
    absences: Sequence[CrewAbsence]
    form: CrewForm
    root: str
    """Where the crew's own pages are."""
    today: date
    calendar_address: str | None
    """None until somebody asks for it."""
    renewed: bool


@dataclass(frozen=True, slots=True)
class OutagePage(PageContext):
    """One outage: changed, or removed."""

    template: ClassVar[str] = "outage.html.j2"
    row: OutageRow
    form: OutageForm
    root: str

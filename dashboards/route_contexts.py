"""What the templates of routes are given: one documented dataclass a template."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboards.contexts import Figure, NextStep, PageContext, Receipt
from registry.overview.model import RouteStop
from registry.routes.model import RouteSummary


@dataclass(frozen=True, slots=True)
class CrewChoice:
    """A crew that a route may be made for, and the shift that stands in its field."""

    number: int
    name: str
    hours: str


@dataclass(frozen=True, slots=True)
class RouteForm:
    """The form that makes routes."""

    walk_on: date
    areas: Sequence[str]
    gates: Sequence[str]
    crews: Sequence[CrewChoice]
    tools: Sequence[tuple[str, str]]
    """(kind, words) of what a check may need."""


@dataclass(frozen=True, slots=True)
class RoutesPage(PageContext):
    """The routes, and the form that makes some."""

    template: ClassVar[str] = "routes.html.j2"
    routes: Sequence[RouteSummary]
    made: Sequence[RouteSummary]
    """Those that were just made, by their numbers in the address."""
    left_out: Sequence[str]
    """Joints and crews that were to be on one of them and are on none, and why."""
    form: RouteForm | None
    next_steps: Sequence[NextStep] = ()


@dataclass(frozen=True, slots=True)
class StopRow:
    """A stop of a route in the list beside the drawing."""

    stop: RouteStop
    pinned: bool
    href: str
    place: str
    state: str | None
    action: str
    client_uuid: str
    opened_at: str
    full_check: Sequence[str]


@dataclass(frozen=True, slots=True)
class RoutePage(PageContext):
    """One route: the walk drawn and numbered, and a stop's result in two taps."""

    template: ClassVar[str] = "route.html.j2"
    route: RouteSummary
    tools: str | None
    """What the crew holds, in words; None: whatever its stops need."""
    totals: Sequence[str]
    """What the order costs, and whether the shift holds it."""
    stops: Sequence[StopRow]
    back_minutes: float
    """Walk from the last stop to the gate."""
    left_out: int
    """Due joints that the shift had no room for."""
    walk: Figure | None
    results: tuple[tuple[str, str], ...]
    full_checks: Mapping[str, Sequence[str]]
    """What to do at a joint, by the label of its family; for the printed sheet."""
    receipt: Receipt | None
    mended: bool
    """Whether it was just mended."""
    mend_href: str
    cautions: Sequence[str]


@dataclass(frozen=True, slots=True)
class MendRow:
    """A stop of a route that is being mended."""

    stop: RouteStop
    href: str
    place: str
    pinned: bool
    added: bool


@dataclass(frozen=True, slots=True)
class MendPage(PageContext):
    """A route mended by hand: what the draft walks, and what that costs, before it is kept."""

    template: ClassVar[str] = "mend.html.j2"
    route: RouteSummary
    rows: Sequence[MendRow]
    dropped: Sequence[MendRow]
    """Stops of the route that the draft leaves out."""
    order: str
    """The draft's joints in walking order, as the address carries them."""
    pins: str
    lines: Sequence[str]
    """What the draft walks and costs, in words."""
    refused: str | None
    """Why what was asked for last could not be; the draft is as it was before."""
    changed: bool
    """Whether the draft differs from the route."""
    back_minutes: float
    walk: Figure | None
    root: str
    """The address of the route."""

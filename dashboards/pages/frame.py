"""What every page of a site begins with: its transaction, its title block, the day."""

from dataclasses import dataclass
from datetime import date
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import Depends

from dashboards.contexts import FilterForm, Frame, JointRow, NextStep, Tab
from dashboards.rendering import digits, tag_path
from dashboards.words import DUE_REASON_WORDS, DUE_STATE_WORDS
from registry.db import Connection
from registry.intervals.model import DUE_REASONS
from registry.overview import store
from registry.overview.model import Choices, JointFilter, ListedJoint, Sheet, due_state
from registry.plant.sheet_grid import SheetGrid
from registry.sites.model import Site
from registry.web.clock import Today
from registry.web.dependencies import InSite

SHEETS: Final = (
    ("plan", "Plot plan"),
    ("due", "Due list"),
    ("weeks", "Weeks"),
    ("routes", "Routes"),
    ("leaks", "Leaks"),
    ("make-up", "Make-up"),
    ("intervals", "Intervals"),
)


@dataclass(frozen=True, slots=True)
class PageRequest:
    """A page of one site: its open transaction, what its title block says, and today."""

    site: Site
    connection: Connection
    sheet: Sheet
    today: date

    @property
    def root(self) -> str:
        """Where the site's pages are."""
        return f"/sites/{self.site.code}"

    def joint_href(self, tag: str) -> str:
        """The page of a joint."""
        return f"{self.root}/joints/{tag_path(tag)}"

    def frame(self, title: str, active: str) -> Frame:
        """The frame round one of the site's drawings."""
        return site_frame(self.site, self.sheet, title, active, self.today)


def site_frame(site: Site, block: Sheet | None, title: str, active: str, today: date) -> Frame:
    """The frame round a drawing of a site."""
    tabs = tuple(
        Tab(key, f"{number:02d}", words, f"/sites/{site.code}/{key}") for number, (key, words) in enumerate(SHEETS, 1)
    )
    number = next((f"{tab.number} of {len(tabs):02d}" for tab in tabs if tab.key == active), "–")
    return Frame(title, active, site, f"/sites/{site.code}/plan", tabs, number, block, today)


def bare_frame(title: str, today: date) -> Frame:
    """The frame of a page that belongs to no site."""
    return Frame(title, "", None, "/", (), "–", None, today)


def _page_request(request: InSite, today: Today) -> PageRequest:
    return PageRequest(request.site, request.connection, store.read_sheet(request.connection), today)


InPage = Annotated[PageRequest, Depends(_page_request, scope="function")]


# ---------------------------------------------------------------- what several pages show


def joint_row(page: PageRequest, joint: ListedJoint, grid: SheetGrid | None) -> JointRow:
    """A joint as tables show it."""
    return JointRow(
        joint=joint,
        href=page.joint_href(joint.tag),
        state=due_state(joint.due_on, page.today),
        reason=DUE_REASON_WORDS[DUE_REASONS[joint.due_reason]],
        place=place_words(grid, joint.east_m, joint.north_m, joint.elevation_m),
    )


def place_words(grid: SheetGrid | None, east_m: float, north_m: float, elevation_m: float | None) -> str:
    """Where a joint is, as people say it: 'C4, elevation 5.5 m'."""
    field = grid.reference(east_m, north_m) if grid is not None else f"{east_m:.0f} E {north_m:.0f} N"
    return f"{field}, elevation {elevation_m:.1f} m" if elevation_m is not None else f"{field}, elevation not given"


def filter_form(wanted: JointFilter, choices: Choices, view: str | None = None) -> FilterForm:
    """The filters with what there is to choose."""
    return FilterForm(
        wanted=wanted,
        areas=tuple((choice.name, choice.name) for choice in choices.areas),
        families=tuple((choice.name, choice.name.replace("_", " ")) for choice in choices.families),
        services=tuple((choice.name, choice.name) for choice in choices.services),
        due_states=tuple(DUE_STATE_WORDS.items()),
        view=view,
    )


def filter_query(wanted: JointFilter, **more: str) -> str:
    """A filter as it stands in an address."""
    given = {"area": wanted.area, "family": wanted.family, "service": wanted.service, "due": wanted.due, **more}
    return urlencode({name: value for name, value in given.items() if value})


def steps_to_scores(sheet: Sheet, root: str) -> tuple[NextStep, ...]:
    """What is missing before joints can be shown with due dates; empty when nothing is."""
    if not sheet.has_joints:
        site = sheet.site_code
        return (
            *(
                ()
                if sheet.plot_plan_intake_id
                else (
                    NextStep(
                        "Load the plot plan, GeoJSON or DXF: areas, equipment, walkways, gates.",
                        f"jointwright --site {site} load plot-plan plan.geojson",
                    ),
                )
            ),
            NextStep(
                "Load the joint list, CSV or XLSX. Wrong rows are reported one by one; nothing loads in part.",
                f"jointwright --site {site} load joints joints.xlsx",
            ),
            NextStep("Score the joints.", f"jointwright --site {site} score"),
        )
    if sheet.score_run_id is None:
        words = "Score the joints: every joint gets its interval and due date."
        return (NextStep(words, f"jointwright --site {sheet.site_code} score"),)
    return ()


def rate_words(rate: float | None) -> str:
    """A rate as tables show it."""
    return digits(rate, 2)

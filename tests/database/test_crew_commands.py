"""`crew`, `outage` and a site's `--time-zone` as a person runs them: what they print, and their exit status."""

import json
from collections.abc import Callable
from uuid import uuid4

import pytest

from registry.db import Database
from registry.plant.store import add_areas
from registry.policy.service import publish_first
from registry.sites.service import find_site, time_zone
from tests.conftest import FIXTURES, new_site
from tests.database.conftest import Run

DRAWING = ("load", "plot-plan", str(FIXTURES / "plot_plan.dxf"), "--layers", str(FIXTURES / "plot_plan_layers.toml"))
EASTER = ("--from", "2027-03-26", "--until", "2027-03-29")


@pytest.fixture
def run(module_database: Database, run_on: Callable[..., Run]) -> Run:
    """Run `jointwright`; gives status, output and errors."""
    return run_on(module_database)


@pytest.fixture
def works(run: Run, module_database: Database, monkeypatch: pytest.MonkeyPatch) -> Run:
    """The same, on a site with the shipped policy and two areas."""
    code = f"works-{uuid4().hex[:8]}"
    with module_database.transaction(new_site(module_database, code)) as connection:
        publish_first(connection)
        add_areas(connection, ["10 Electrolysis hall", "Jetty"])
    monkeypatch.setenv("JOINTWRIGHT_SITE", code)
    return run


def test_crews_are_added_changed_sent_away_and_ended(works: Run) -> None:
    assert "there is no crew yet" in works("crew")[1]
    status, out, _ = works("crew", "add", "Crew A", "--hours", "6.5")
    assert (status, out.splitlines()[0]) == (
        0,
        "Crew A: 32.5 h a week at the joints (Mon 6.5, Tue 6.5, Wed 6.5, Thu 6.5, Fri 6.5)",
    )
    families = ("--families", "cone_thread,ferrule_mp", "--shift-start", "13:00", "--from", "2026-06-01")
    works("crew", "add", "Pair", "--hours", "0,5,5,5,0,0,0", *families)
    _, out, _ = works("crew", "change", "pair", "--hours", "0,4,4,4,0,0,2", "--families", "all")
    assert out.splitlines() == [
        "Pair: 14 h a week at the joints (Tue 4, Wed 4, Thu 4, Sun 2), from 2026-06-01",
        "  shift from 13:00; families: all",
    ]
    assert works("crew", "away", "--all-crews", *EASTER, "--why", "Easter")[1].count("away 2027-03-26") == 2
    assert works("crew", "away", "--all-crews", *EASTER, "--why", "Easter")[1].startswith("0 changes")
    (crew_a, pair) = json.loads(works("crew", "--json")[1])["crews"]
    assert [len(crew["absences"]) for crew in (crew_a, pair)] == [1, 1]
    assert "away" not in works("crew", "back", "Pair", str(pair["absences"][0]["crew_absence_id"]))[1]
    assert "until 2026-12-31" in works("crew", "end", "Pair", "--on", "2026-12-31")[1]


def test_a_crew_s_calendar_address_is_shown_to_who_asks_and_renewed(works: Run) -> None:
    works("crew", "add", "Crew A", "--hours", "6.5")
    first = json.loads(works("crew", "calendar", "Crew A", "--json")[1])["path"]
    assert works("crew", "calendar", "Crew A")[1].splitlines()[0] == first
    renewed = json.loads(works("crew", "calendar", "Crew A", "--renew", "--json")[1])["path"]
    assert renewed != first
    assert renewed.rpartition("/")[0] == first.rpartition("/")[0]
    assert renewed.rpartition("/")[2] not in works("crew")[1] + works("crew", "--json")[1]


def test_outages_are_added_changed_and_removed(works: Run) -> None:
    assert "there is no outage yet" in works("outage")[1]
    _, out, _ = works("outage", "add", "Overhaul", *EASTER, "--area", "jetty", "--area", "10  electrolysis hall")
    assert out.endswith("Overhaul, 2027-03-26 to 2027-03-29, 10 Electrolysis hall, Jetty\n")
    number = out.split()[1].rstrip(":")
    assert (
        "to 2027-04-09, the whole site" in works("outage", "change", number, "--until", "2027-04-09", "--whole-site")[1]
    )
    assert json.loads(works("outage", "--json")[1])["outages"][0]["area_ids"] == []
    assert works("outage", "remove", number)[1].startswith(f"removed: outage {number}")
    status, _, err = works("outage", "remove", number)
    assert (status, err) == (1, f"jointwright: no outage {number} in this site\n")


def test_what_cannot_be_is_said_and_nothing_is_kept(works: Run) -> None:
    status, _, err = works("crew", "add", "Crew A", "--hours", "25", "--families", "no such")
    assert status == 1
    assert "Monday has 0 to 1440 minutes" in err
    assert "column 'families': is no family of the policy" in err
    assert "there is no crew yet" in works("crew")[1]
    assert works("crew", "end", "Crew A")[2] == "jointwright: no crew 'Crew A' here; there is none yet\n"
    assert works("outage", "add", "Overhaul", *EASTER, "--area", "Moon")[0] == 1
    with pytest.raises(SystemExit):
        works("crew", "add", "Crew A", "--hours", "many")


def test_a_site_gets_its_time_zone_where_it_is_made_or_loaded(run: Run, module_database: Database) -> None:
    def zone(code: str) -> str:
        with module_database.transaction(find_site(module_database, code).site_id) as connection:
            return time_zone(connection).key

    status, _, err = run(*DRAWING, "--new-site", "nowhere", "--time-zone", "Europe/Atlantis")
    assert (status, "is no time zone" in err) == (1, True)
    assert run("--site", "nowhere", "crew")[0] == 1, "nothing was made"
    assert run(*DRAWING, "--new-site", "here", "--time-zone", "Europe/London")[0] == 0
    assert zone("here") == "Europe/London"
    assert run("--site", "here", *DRAWING)[0] == 0
    assert zone("here") == "Europe/London", "a load that says nothing of it leaves it"
    assert run("--site", "here", *DRAWING, "--time-zone", "America/St_Johns")[0] == 0
    assert zone("here") == "America/St_Johns"

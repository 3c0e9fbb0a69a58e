"""`jointwright route` for several crews, mended, exported, as a person runs it."""

import csv
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import openpyxl
import pytest

from registry.db import Database
from tests.conftest import cloned_database, new_site
from tests.database.conftest import Run
from tests.database.walked_site import WALK_ON, fill_walked_site

DAY = ("--date", WALK_ON.isoformat())


@pytest.fixture(scope="module")
def filled(server_url: str, template_name: str) -> Iterator[Database]:
    """A small plant to walk."""
    with cloned_database(server_url, template_name) as database:
        with database.transaction(new_site(database, "works")) as connection:
            fill_walked_site(connection)
        yield database


@pytest.fixture
def run(filled: Database, run_on: Callable[..., Run]) -> Run:
    """Run `jointwright route`; gives status, output and errors."""
    return run_on(filled, "route")


def test_options_belong_to_the_crew_before_them_or_to_all(run: Run) -> None:
    status, out, _ = run(
        *DAY, "--shift-hours=1", "--tool=leak_detector", "--crew=Pair 1", "--crew=Pair 2", "--shift-hours=1.5",
        "--gate=East gate", "--tool=gap_gauge", "--pin=J-20", "--pin=J-00", "--json",
    )  # fmt: skip
    assert status == 0
    one, two = json.loads(out)["routes"]
    assert (one["crew"], one["shift_minutes"], one["start_gate"], one["tools"]) == (
        "Pair 1", 60, "West gate", ["leak_detector"],
    )  # fmt: skip
    assert (two["crew"], two["shift_minutes"], two["start_gate"]) == ("Pair 2", 90, "East gate")
    assert two["tools"] == ["leak_detector", "gap_gauge"]
    assert "J-20" in [stop["tag"] for route in (one, two) for stop in route["stops"] if stop["pinned"]]
    status, out, _ = run(*DAY, "--crew=Pair 3", "--pin=J-00", "--without=J-30", "--shift-hours=1")
    assert status == 0
    assert "To bring: leak detector" in out
    assert "Pinned and on no walk: J-00, no walk reaches it: inside an obstacle" in out


def test_a_route_is_mended_previewed_and_written_to_a_file(run: Run, tmp_path: Path) -> None:
    made = json.loads(run(*DAY, "--crew=Menders", "--shift-hours=1", "--json")[1])
    number, tags = str(made["route_id"]), [stop["tag"] for stop in made["stops"]]
    status, out, _ = run("mend", number, "--drop", tags[0], "--preview")
    assert (status, out.split(":")[0].split(" would")[0]) == (0, f"Route {number}")
    assert "shorter" in out
    assert len(json.loads(run("show", number, "--json")[1])["stops"]) == len(tags)
    turned = [*tags[1::2], *tags[::2]]
    status, out, _ = run("mend", number, "--order", *turned, "--pin", turned[0], "--if-revision", "1")
    assert status == 0
    assert "Its order takes" in out
    assert f"  1  {turned[0]}  pinned" in out
    assert "Its order takes" in run("show", number)[1]
    assert run("mend", number, "--order", "best", "--if-revision", "1")[0] == 1
    best = json.loads(run("mend", number, "--order", "best", "--json")[1])
    assert best["stops"][0]["tag"] == turned[0]
    status, _, err = run("mend", number, "--drop", "J-57", "--add", tags[0])
    assert status == 1
    assert "J-57: is not on this route" in err
    assert run("mend", number, "--drop", "nonsense")[0] == 1

    assert run("export", number, "walk.csv")[0] == 0
    with (tmp_path / "walk.csv").open(encoding="utf-8-sig", newline="") as lines:
        assert [row["tag"] for row in csv.DictReader(lines)][:-1] == [stop["tag"] for stop in best["stops"]]
    assert run("export", number, "walk.xlsx")[0] == 0
    assert openpyxl.load_workbook(tmp_path / "walk.xlsx").sheetnames == ["Stops", "Route"]
    assert run("export", number, "walk.pdf")[0] == 1


def test_the_joints_that_no_walk_reaches_are_listed(run: Run) -> None:
    status, out, _ = run("unreachable")
    assert status == 0
    assert out.startswith("2 joints that no walk reaches\nJ-00")
    assert [joint["tag"] for joint in json.loads(run("unreachable", "--json")[1])["joints"]] == ["J-00", "J-01"]

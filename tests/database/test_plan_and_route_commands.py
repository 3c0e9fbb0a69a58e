"""`load plot-plan` and `route` as a person runs them: what they print, their exit status, and what stays untouched."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from registry.db import Database
from registry.routes.model import CAUTIONS
from tests.conftest import FIXTURES
from tests.database.conftest import Run

DRAWING = ("load", "plot-plan", str(FIXTURES / "plot_plan.dxf"))
LAYERS = ("--layers", str(FIXTURES / "plot_plan_layers.toml"))
LIST = (
    "load", "joints", str(FIXTURES / "joint_schedule.xlsx"), "--mapping", str(FIXTURES / "joint_schedule.toml"),
    "--keep-valid", "--refused-to", "refused.csv",
)  # fmt: skip
OUTLINE = [[0, 0], [9, 0], [9, 9], [0, 9], [0, 0]]


@pytest.fixture
def run(database: Database, run_on: Callable[..., Run]) -> Run:
    """Run `jointwright` on an empty database of the test's own; gives status, output and errors."""
    return run_on(database)


def plan_file(path: Path, ring: object) -> str:
    feature = {
        "type": "Feature",
        "properties": {"kind": "area", "name": "10 Hall"},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), encoding="utf-8")
    return str(path)


def test_the_sample_hand_over_becomes_a_route(run: Run) -> None:
    status, out, err = run(*DRAWING, *LAYERS, "--new-site", "saltmarsh")
    assert (status, err) == (0, "")
    assert "8 area, 16 equipment, 8 obstacle, 9 walkway" in out
    status, out, _ = run(*DRAWING, *LAYERS)
    assert (status, out) == (0, "plot_plan.dxf is the plot plan already: 0 changes\n")
    assert run(*LIST)[0] in (0, 1)
    assert run("score", "--as-of", "2026-11-25")[0] == 0

    status, out, _ = run("route", "--area", "Electrolysis hall", "--date", "2026-11-26", "--crew", "Crew A")
    assert status == 0
    assert out.startswith("Route 1: Crew A, 2026-11-26, 10 Electrolysis hall\nFrom walkway end ")
    assert [out.count(f"! {caution}") for caution in CAUTIONS] == [1, 1, 1]
    assert "No walk reaches" in out
    shown = run("route", "show", "1")[1]
    stops = [line for line in out.splitlines() if line[:3].strip().isdigit() and line[3:5] == "  "]
    assert len(stops) > 20
    assert stops == [line for line in shown.splitlines() if line[:3].strip().isdigit() and line[3:5] == "  "]

    sheet = json.loads(run("route", "show", "1", "--json")[1])
    assert [stop["position"] for stop in sheet["stops"]] == list(range(1, len(stops) + 1))
    assert sheet["walking_minutes"] + sheet["working_minutes"] <= 480
    assert {stop["area"] for stop in sheet["stops"]} == {"10 Electrolysis hall"}
    made = json.loads(run("route", "--area", "20", "--date", "2026-11-26", "--shift-hours", "1", "--json")[1])
    assert (made["route_id"], made["source"]) == (2, "the due list to 2026-11-29")
    listed = json.loads(run("route", "list", "--json")[1])["routes"]
    assert [route["route_id"] for route in listed] == [2, 1]


def test_a_new_plan_scores_the_plant_anew(run: Run, tmp_path: Path) -> None:
    run(*DRAWING, *LAYERS, "--new-site", "saltmarsh")
    run(*LIST)
    run("score", "--as-of", "2026-11-25")
    status, out, _ = run("load", "plot-plan", plan_file(tmp_path / "other.geojson", OUTLINE), "--json")
    assert status == 0
    told = json.loads(out)
    assert told["joints_moved"] > 0
    assert told["joints_scored_anew"] == 2808
    assert len(told["areas_without_outline"]) == 8


def test_a_preview_loads_nothing(run: Run) -> None:
    status, out, _ = run(*DRAWING, *LAYERS, "--preview", "--json")
    assert status == 0
    assert len(json.loads(out)["areas"]) == 8


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "the file is empty"),
        (b"PK\x03\x04 not a plan \xff", "not UTF-8 text"),
        (b'{"type": "FeatureCollection", "features": [', "not JSON"),
        (b'{"a": ' * 100_000, "not JSON"),
    ],
)
def test_what_is_no_plan_gets_one_sentence_and_status_1(run: Run, tmp_path: Path, content: bytes, said: str) -> None:
    run(*DRAWING, *LAYERS, "--new-site", "saltmarsh")
    path = tmp_path / "plan.geojson"
    path.write_bytes(content)
    status, out, err = run("load", "plot-plan", str(path))
    assert (status, out) == (1, "")
    assert said in err
    assert err.count("\n") == 1
    assert run(*DRAWING, *LAYERS)[1].endswith("0 changes\n")


@pytest.mark.parametrize(
    ("ring", "said"),
    [
        ([[0, 0], [9, 9], [9, 0], [0, 9], [0, 0]], "the area '10 Hall' crosses itself at east 4.50 m, north 4.50 m"),
        ([[0, 0], [9, float("nan")], [9, 9], [0, 0]], "which is not a finite number"),
        ([[0, 0], [9, float("inf")], [9, 9], [0, 0]], "which is not a finite number"),
        ([[0, 0], [9, 0], [9, 9], [0, 9]], "the outline is not closed"),
    ],
)
def test_a_faulty_outline_is_named_and_nothing_is_loaded(run: Run, tmp_path: Path, ring: object, said: str) -> None:
    run(*DRAWING, *LAYERS, "--new-site", "saltmarsh")
    status, out, err = run("load", "plot-plan", plan_file(tmp_path / "bad.geojson", ring))
    assert (status, out) == (1, "")
    assert "bad.geojson has 1 fault; nothing was loaded" in err
    assert "row 1" in err
    assert said in err
    assert "Traceback" not in err
    assert run(*DRAWING, *LAYERS)[1].endswith("0 changes\n")


def test_a_drawing_without_a_mapping_and_a_file_that_is_not_there_are_refused(run: Run) -> None:
    run(*DRAWING, *LAYERS, "--new-site", "saltmarsh")
    assert "needs a layer mapping" in run(*DRAWING)[2]
    status, _, err = run("load", "plot-plan", "nowhere.geojson")
    assert status == 1
    assert "nowhere.geojson cannot be read" in err


def test_a_georeference_is_checked_and_kept(run: Run, database: Database) -> None:
    placed = ("--epsg", "32631", "--grid-to-epsg", "1", "0", "0", "1", "500000", "5700000")
    assert run(*DRAWING, *LAYERS, "--new-site", "saltmarsh", *placed)[0] == 0
    with database.owner() as owner:
        row = owner.execute("SELECT epsg, grid_to_epsg FROM site").fetchone()
    assert row == (32631, [1, 0, 0, 1, 500000, 5700000])
    assert "belong together" in run(*DRAWING, *LAYERS, "--epsg", "32631")[2]
    assert "no coordinate system" in run(*DRAWING, *LAYERS, "--epsg", "999999", *placed[2:])[2]


def test_a_route_says_what_is_missing_first(run: Run) -> None:
    run(*DRAWING, *LAYERS, "--new-site", "saltmarsh")
    status, _, err = run("route")
    assert status == 1
    assert "run `jointwright score`" in err
    assert run("route", "show", "7")[0] == 1
    assert "no routes yet" in run("route", "list")[1]
    with pytest.raises(SystemExit) as stopped:
        run("route", "--date", "tomorrow")
    assert stopped.value.code == 2

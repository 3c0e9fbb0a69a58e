"""`jointwright load plot-plan`: GeoJSON, or a drawing with a layer mapping, as the site's plot plan."""

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from registry.commands.loading_site import add_site_arguments, open_loading_site
from registry.intervals.service import rescore
from registry.intervals.store import take_score_lock
from registry.joints.service import place_in_areas
from registry.plant.features import DrawingFault
from registry.plant.georeference import Georeference, GeoreferenceRefused
from registry.plant.model import PlanRefused
from registry.plant.service import PlanReport, import_plan_file, preview_plan, read_plan_file
from registry.sites.store import place_site

MOST_FAULTS_SHOWN = 40


def register(kinds: Any) -> argparse.ArgumentParser:
    """Add `load plot-plan` and its arguments."""
    parser: argparse.ArgumentParser = kinds.add_parser(
        "plot-plan", help="a plot plan: GeoJSON in plant-grid metres, or a drawing (DXF) with a layer mapping"
    )
    parser.add_argument("file", type=Path, help="GeoJSON or DXF")
    parser.add_argument("--layers", type=Path, metavar="TOML", help="for a drawing: what each of its layers means")
    parser.add_argument(
        "--preview", action="store_true", help="say what is in the file and amiss with it; load nothing"
    )
    parser.add_argument("--json", action="store_true", help="answer as JSON")
    parser.add_argument("--epsg", type=int, help="projected system in which the plant lies, such as 32631")
    parser.add_argument(
        "--grid-to-epsg",
        type=float,
        nargs=6,
        metavar=("A", "B", "D", "F", "X0", "Y0"),
        help="its east = A e + B n + X0, its north = D e + F n + Y0, for east e and north n of the plant grid",
    )
    add_site_arguments(parser)
    parser.set_defaults(run=run)
    return parser


def run(parsed: argparse.Namespace) -> int:
    """Load the file as the site's plot plan, or say what is in it."""
    content = _bytes_of(parsed.file)
    layers = None if parsed.layers is None else _bytes_of(parsed.layers)
    if parsed.preview:
        plan, faults = preview_plan(read_plan_file(content, parsed.file.name, layers), parsed.file.name)
        areas = [area.name for area in plan.areas]
        _tell(parsed.json, {"file": parsed.file.name, "areas": areas, "bounds_m": plan.bounds}, faults)
        return 0
    if (parsed.epsg is None) != (parsed.grid_to_epsg is None):
        raise GeoreferenceRefused("--epsg and --grid-to-epsg belong together")
    placed = None if parsed.epsg is None else Georeference.checked(parsed.epsg, parsed.grid_to_epsg)
    with open_loading_site(parsed) as (database, site):
        with database.transaction(site.site_id) as connection:
            # Areas, their occupancy and what shakes come from the plan, so a new plan means new scores; and the lock of
            # scoring comes before any other.
            take_score_lock(connection)
            report = import_plan_file(connection, content, parsed.file.name, layers)
            moved = place_in_areas(connection, report.before) if report.changed else 0
            scored = rescore(connection) if report.changed else None
        if placed is not None:
            with database.owner() as owner:
                place_site(owner, site.site_id, placed.epsg, placed.grid_to_epsg)
    summary = _summary(report, moved)
    summary["joints_scored_anew"] = 0 if scored is None else scored.joints
    _tell(parsed.json, summary, report.faults)
    return 0


def _summary(report: PlanReport, moved: int) -> dict[str, Any]:
    return {
        "file": report.source_name,
        "changed": report.changed,
        "features": dict(report.counts),
        "areas_added": report.areas_added,
        "areas_renamed": [{"from": old, "to": new} for old, new in report.areas_renamed],
        "areas_without_outline": report.areas_without_outline,
        "joints_moved": moved,
    }


def _tell(as_json: bool, summary: dict[str, Any], faults: tuple[DrawingFault, ...]) -> None:
    if as_json:
        told = [
            {
                "reason": fault.reason,
                "east_m": fault.east_m,
                "north_m": fault.north_m,
                "elevation_m": fault.elevation_m,
                "where": fault.where,
            }
            for fault in faults
        ]
        print(json.dumps({**summary, "faults": told}, ensure_ascii=False))
        return
    if summary.get("changed") is False:
        print(f"{summary['file']} is the plot plan already: 0 changes")
        return
    for name, value in summary.items():
        if value not in ((), [], 0, None):
            print(f"{name.replace('_', ' ')}: {_words(value)}")
    for fault in faults[:MOST_FAULTS_SHOWN]:
        print(f"drawing: {fault}", file=sys.stderr)
    if len(faults) > MOST_FAULTS_SHOWN:
        print(f"drawing: … and {len(faults) - MOST_FAULTS_SHOWN} more", file=sys.stderr)


def _words(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(f"{part['from']} → {part['to']}" if isinstance(part, dict) else str(part) for part in value)
    return "yes" if value is True else str(value)


def _bytes_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as exc:
        raise PlanRefused(f"{path} cannot be read: {exc.strerror or exc}") from exc

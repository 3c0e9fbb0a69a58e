"""`jointwright route`: make a crew's walk for a shift, show one, list them."""

import argparse
import json
import shutil
from dataclasses import asdict
from datetime import date, datetime
from typing import Any

from registry.commands import COMMANDS
from registry.commands.record import register_route_record
from registry.commands.session import open_site
from registry.db import Connection
from registry.plant.store import read_plan
from registry.policy.service import current_policy
from registry.routes import store
from registry.routes.service import make_route, route_with_stops
from registry.routes.sheet import WHY, route_sheet

LISTED = 50


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `route` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("route", description=COMMANDS["route"])
    parser.add_argument("--area", help="name of an area (default: the whole site)")
    parser.add_argument("--date", type=_day, metavar="YYYY-MM-DD", help="day of the walk (default: today)")
    parser.add_argument("--crew", default="Crew 1", help="name of the crew (default: %(default)s)")
    parser.add_argument("--shift-hours", type=float, default=8.0, metavar="H", help="default: %(default)s")
    parser.add_argument(
        "--gate", metavar="NAME", help="where the walk starts and ends (default: the plan's first gate)"
    )
    parser.add_argument("--seed", type=int, default=1, help="the same seed and data give the same route")
    parser.add_argument("--json", action="store_true", help="answer as JSON")
    parser.set_defaults(run=run)
    actions = parser.add_subparsers(dest="action", metavar="show|list|record")
    show = actions.add_parser("show", help="the walking order of a route, with what was recorded at its stops")
    show.add_argument("route_id", type=int, metavar="ID")
    show.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    show.set_defaults(run=run_show)
    listed = actions.add_parser("list", help=f"the newest {LISTED} routes")
    listed.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    listed.set_defaults(run=run_list)
    register_route_record(actions)
    return parser


def run(parsed: argparse.Namespace) -> int:
    """Make a route and print its sheet."""
    walk_on = parsed.date or datetime.now().astimezone().date()
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        made = make_route(
            connection, walk_on, parsed.crew, parsed.area, parsed.shift_hours * 60.0, parsed.gate, parsed.seed
        )
        sheet = _sheet(connection, made.route_id)
    chosen = {"source": made.source, "weighed": made.weighed, "waiting_for_outage": made.waiting_for_outage}
    _tell({**sheet, **chosen}, as_json=parsed.json)
    return 0


def run_show(parsed: argparse.Namespace) -> int:
    """Print a route's sheet."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        sheet = _sheet(connection, parsed.route_id)
    _tell(sheet, as_json=parsed.json)
    return 0


def run_list(parsed: argparse.Namespace) -> int:
    """Print the newest routes."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        routes = store.list_routes(connection, LISTED)
    if parsed.json:
        print(json.dumps({"routes": [asdict(route) for route in routes]}, ensure_ascii=False, default=str))
        return 0
    if not routes:
        print("no routes yet: make one with `jointwright route`")
    for route in routes:
        print(
            f"{route.route_id:>5}  {route.walk_on}  {route.crew:<16} {route.area or 'whole site':<26}"
            f" {route.stops:>3} stops, {route.recorded} recorded, {route.walking_minutes:.0f} min walking,"
            f" {route.working_minutes:.0f} min at joints"
        )
    return 0


def _sheet(connection: Connection, route_id: int) -> dict[str, Any]:
    return route_sheet(*route_with_stops(connection, route_id), read_plan(connection), current_policy(connection))


def _tell(sheet: dict[str, Any], *, as_json: bool) -> None:
    if as_json:
        print(json.dumps(sheet, ensure_ascii=False, default=str))
        return
    print(f"Route {sheet['route_id']}: {sheet['crew']}, {sheet['walk_on']}, {sheet['area'] or 'whole site'}")
    print(
        f"From {sheet['start_gate']} and back: {len(sheet['stops'])} stops, {sheet['walking_minutes']:.0f} min walking"
        f" and {sheet['working_minutes']:.0f} min at joints, of {sheet['shift_minutes']:.0f} min"
    )
    print("\n".join(_chosen_lines(sheet)))
    print()
    for caution in sheet["cautions"]:
        print(f"! {caution}")
    print()
    _tell_stops(sheet)
    for family in sheet["what_to_do"].values():
        print(f"\n{family['label']}:")
        for step in family["check"]:
            print(f"  - {step}")
        for caution in family["cautions"]:
            print(f"  ! {caution}")


def _chosen_lines(sheet: dict[str, Any]) -> list[str]:
    source = f" of {sheet['source']}" if "source" in sheet else ""
    lines = [f"Chosen from {sheet['considered']:,} due joints{source}; {sheet['left_out']:,} are left for another walk"]
    if sheet.get("weighed", sheet["considered"]) < sheet["considered"] - sheet["unreachable"]:
        lines.append(f"Weighed against each other: {sheet['weighed']:,}, the riskiest and what lies near those")
    if sheet["unreachable"]:
        lines.append(f"No walk reaches {sheet['unreachable']:,} of them: inside an obstacle, or walled in")
    if sheet.get("waiting_for_outage"):
        lines.append(f"{sheet['waiting_for_outage']:,} more are due and wait for an outage")
    return lines


def _tell_stops(sheet: dict[str, Any]) -> None:
    wide = shutil.get_terminal_size((120, 24)).columns
    tags = max([len("tag"), *(len(str(stop["tag"])) for stop in sheet["stops"])])
    head = f"{'':>3}  {'tag':<{tags}}  {'field':<5} {'elev m':>6}  {'walk':>4} {'work':>4}  {'due':<10}  "
    print(f"{head}what to do")
    for stop in sheet["stops"]:
        elevation = "" if stop["elevation_m"] is None else f"{stop['elevation_m']:.1f}"
        do = f"{stop['family'] or ''}: full check"
        if stop["due_reason"] in ("settling", "retightening", "leak_nearby"):
            do = f"{stop['family'] or ''}: {WHY[stop['due_reason']]}"
        if stop["result"]:
            do += f"; recorded: {stop['result'].replace('_', ' ')}"
        line = (
            f"{stop['position']:>3}  {stop['tag'] or '':<{tags}}  {stop['field'] or '':<5} {elevation:>6}"
            f"  {stop['walking_minutes']:>4.1f} {stop['working_minutes']:>4.0f}  {stop['due_on'] or ''!s:<10}  {do}"
        )
        print(line[: max(wide, 80)])
    for back in sheet["back"]:
        print(f"     back to {sheet['start_gate']}: {back['walking_minutes']:.1f} min")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as exc:
        raise argparse.ArgumentTypeError(f"'{text}' is no date such as 2026-11-26") from exc

"""`jointwright route`: make walks for one or several crews' shifts, show one, change it, list them, export one."""

import argparse
import json
import shutil
from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from registry.commands import COMMANDS
from registry.commands.days import day, utc_today
from registry.commands.record import register_route_record
from registry.commands.route_changes import register_route_changes
from registry.commands.session import open_site
from registry.db import Connection
from registry.errors import Invalid
from registry.plant.store import read_plan
from registry.policy.service import current_policy
from registry.routes import store
from registry.routes.answers import crews_without_a_route, made_document
from registry.routes.model import CrewShift
from registry.routes.service import make_routes, route_with_stops, unreachable_joints
from registry.routes.sheet import (
    STOP_COLUMNS,
    TOTAL_COLUMNS,
    WHY,
    route_sheet,
    stop_rows,
    total_rows,
)

LISTED = 50
_PLAIN: Final[dict[str, Any]] = {"ensure_ascii": False, "default": str}
CREW, SHIFT_HOURS = "Crew 1", 8.0


class RouteFileUnknown(Invalid):
    """A route is written as .csv or .xlsx"""

    slug = "route-file-unknown"


class _OfCrew(argparse.Action):
    """An option of the crew named last, or where none is named yet, of every crew."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: Any,
        option_string: str | None = None,
    ) -> None:
        crews: list[CrewShift] = [*(namespace.crews or [])]
        if self.dest == "crew":
            crews.append(replace(namespace.every or CrewShift(CREW, SHIFT_HOURS * 60.0), crew=values))
        elif crews:
            crews[-1] = _with(crews[-1], self.dest, values)
        else:
            namespace.every = _with(namespace.every or CrewShift(CREW, SHIFT_HOURS * 60.0), self.dest, values)
        namespace.crews = crews


def _with(shift: CrewShift, option: str, value: Any) -> CrewShift:
    if option == "shift_hours":
        return replace(shift, shift_minutes=value * 60.0)
    if option == "gate":
        return replace(shift, start_gate=value)
    return replace(shift, tools=(*(shift.tools or ()), value))


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `route` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("route", description=COMMANDS["route"])
    parser.add_argument("--area", help="name of an area (default: the whole site)")
    parser.add_argument("--date", type=day, metavar="YYYY-MM-DD", help="day of the walk (default: today)")
    parser.add_argument(
        "--crew",
        action=_OfCrew,
        metavar="NAME",
        help=f"name of a crew (default: {CREW}); again for another that walks at the same time."
        " --shift-hours, --gate and --tool after a crew are its own, before the first of every crew",
    )
    parser.add_argument(
        "--shift-hours", action=_OfCrew, type=float, metavar="H", help=f"length of the shift (default: {SHIFT_HOURS})"
    )
    parser.add_argument(
        "--gate", action=_OfCrew, metavar="NAME", help="where the walk starts and ends (default: the plan's first gate)"
    )
    parser.add_argument(
        "--tool",
        action=_OfCrew,
        metavar="KIND",
        help="a kind of tool that the crew holds, such as torque_wrench; what takes another is left out",
    )
    parser.add_argument("--pin", action="append", default=[], metavar="TAG", help="a joint that is to be on a walk")
    parser.add_argument("--without", action="append", default=[], metavar="TAG", help="a joint that is to be on none")
    parser.add_argument("--seed", type=int, default=1, help="the same seed and data give the same routes")
    parser.add_argument("--json", action="store_true", help="answer as JSON")
    parser.set_defaults(run=run, crews=None, every=None)
    actions = parser.add_subparsers(dest="action", metavar="show|list|mend|export|unreachable|record")
    show = actions.add_parser("show", help="the walking order of a route, with what was recorded at its stops")
    show.add_argument("route_id", type=int, metavar="ID")
    show.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    show.set_defaults(run=run_show)
    listed = actions.add_parser("list", help=f"the newest {LISTED} routes")
    listed.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    listed.set_defaults(run=run_list)
    register_route_changes(actions)
    exported = actions.add_parser("export", help="write a route to a file")
    exported.add_argument("route_id", type=int, metavar="ID")
    exported.add_argument("file", type=Path, metavar="FILE.csv|FILE.xlsx")
    exported.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    exported.set_defaults(run=run_export)
    cut_off = actions.add_parser("unreachable", help="the joints that no walk from the gate reaches, and why")
    cut_off.add_argument("--from", dest="start", metavar="NAME", help="the gate (default: the plan's first)")
    cut_off.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    cut_off.set_defaults(run=run_unreachable)
    register_route_record(actions)
    return parser


def run(parsed: argparse.Namespace) -> int:
    """Make the routes and print their sheets."""
    walk_on = parsed.date or datetime.now().astimezone().date()
    shifts: list[CrewShift] = parsed.crews or [parsed.every or CrewShift(CREW, SHIFT_HOURS * 60.0)]
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        made = make_routes(
            connection,
            walk_on,
            shifts,
            parsed.area,
            parsed.seed,
            pinned_tags=parsed.pin,
            left_out_tags=parsed.without,
            today=utc_today(),
        )
        sheets = [{**_sheet(connection, route.route_id), **made_document(route)} for route in made]
    idle = crews_without_a_route(shifts, made)
    if parsed.json:
        print(json.dumps(sheets[0] if len(shifts) == 1 else {"routes": sheets, "without_a_route": idle}, **_PLAIN))
        return 0
    for number, sheet in enumerate(sheets):
        if number:
            print()
        _tell(sheet, pins_told=number == 0)
    for crew in idle:
        print(f"\nNothing is left for {crew} to walk to within its shift")
    return 0


def run_show(parsed: argparse.Namespace) -> int:
    """Print a route's sheet."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        sheet = _sheet(connection, parsed.route_id)
    if parsed.json:
        print(json.dumps(sheet, **_PLAIN))
    else:
        _tell(sheet)
    return 0


def run_export(parsed: argparse.Namespace) -> int:
    """Write a route to a file."""
    path: Path = parsed.file
    kind = path.suffix.lower()
    if kind not in (".csv", ".xlsx"):
        raise RouteFileUnknown(f"'{path.name}' ends in neither .csv nor .xlsx")
    # The workbook's writer and what comes with it take longer to load than the other actions take to answer.
    from registry.web.csv_text import csv_text
    from registry.web.workbook import Sheet, workbook_bytes

    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        route, stops = route_with_stops(connection, parsed.route_id)
        policy = current_policy(connection)
        rows = list(stop_rows(stops, read_plan(connection), policy))
    if kind == ".csv":
        content = ("\ufeff" + csv_text(rows, STOP_COLUMNS)).encode()
    else:
        totals = Sheet("Route", TOTAL_COLUMNS, total_rows(route, stops, policy))
        content = workbook_bytes([Sheet("Stops", STOP_COLUMNS, rows), totals])
    try:
        path.write_bytes(content)
    except OSError as exc:
        raise RouteFileUnknown(f"{path} cannot be written: {exc.strerror}") from exc
    if parsed.json:
        print(json.dumps({"file": str(path), "route_id": route.route_id, "stops": route.stops}))
    else:
        print(f"{route.stops} stops of route {route.route_id} written to {path}")
    return 0


def run_unreachable(parsed: argparse.Namespace) -> int:
    """Print the joints that no walk reaches."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        joints = unreachable_joints(connection, parsed.start, parsed.area)
    if parsed.json:
        print(json.dumps({"joints": [asdict(joint) for joint in joints]}, **_PLAIN))
        return 0
    print(f"{len(joints):,} joints that no walk reaches" if joints else "every joint can be walked to")
    for joint in joints:
        place = f"field {joint.field}, east {joint.east_m:.1f} m, north {joint.north_m:.1f} m"
        print(f"{joint.tag:<20}  {place}, {joint.elevation_m:.1f} m up: {joint.reason}")
    return 0


def run_list(parsed: argparse.Namespace) -> int:
    """Print the newest routes."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        routes = store.list_routes(connection, LISTED)
    if parsed.json:
        print(json.dumps({"routes": [asdict(route) for route in routes]}, **_PLAIN))
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


def _tell(sheet: dict[str, Any], *, pins_told: bool = True) -> None:
    print(f"Route {sheet['route_id']}: {sheet['crew']}, {sheet['walk_on']}, {sheet['area'] or 'whole site'}")
    print(
        f"From {sheet['start_gate']} and back: {len(sheet['stops'])} stops, {sheet['walking_minutes']:.0f} min walking"
        f" and {sheet['working_minutes']:.0f} min at joints, of {sheet['shift_minutes']:.0f} min"
    )
    print("\n".join([*_shift_lines(sheet), *_chosen_lines(sheet, pins_told=pins_told)]))
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


def _shift_lines(sheet: dict[str, Any]) -> list[str]:
    """What its order costs, whether it holds the shift, and what to bring."""
    lines: list[str] = []
    if sheet["order_costs_minutes"] >= 0.05:
        lines.append(f"Its order takes {sheet['order_costs_minutes']:.1f} min longer than the best one found")
    if sheet["overrun_minutes"] >= 0.05:
        lines.append(f"It goes over the shift by {sheet['overrun_minutes']:.0f} min")
    if sheet["bring"]:
        lines.append(f"To bring: {_tools(sheet['bring'])}")
    if sheet["not_held"]:
        lines.append(f"Not held by this crew: {_tools(sheet['not_held'])}")
    return lines


def _tools(kinds: Sequence[str]) -> str:
    return ", ".join(kind.replace("_", " ") for kind in kinds)


def _chosen_lines(sheet: dict[str, Any], *, pins_told: bool) -> list[str]:
    source = f" of {sheet['source']}" if "source" in sheet else ""
    lines = [f"Chosen from {sheet['considered']:,} due joints{source}; {sheet['left_out']:,} are left for another walk"]
    if sheet.get("weighed", sheet["considered"]) < sheet["considered"] - sheet["unreachable"]:
        lines.append(f"Weighed against each other: {sheet['weighed']:,}, the riskiest and what lies near those")
    if sheet["unreachable"]:
        lines.append(f"No walk reaches {sheet['unreachable']:,} of them: inside an obstacle, or walled in")
    if sheet.get("waiting_for_outage"):
        lines.append(f"{sheet['waiting_for_outage']:,} more are due and wait for an outage")
    if sheet.get("lacking_tools"):
        lacking = ", ".join(
            f"{count:,} for lack of a {_tools([tool])}" for tool, count in sheet["lacking_tools"].items()
        )
        lines.append(f"{sheet['without_tools']:,} of them this crew cannot do: {lacking}")
    if pins_told:
        lines += [f"Pinned and on no walk: {pin['tag']}, {pin['reason']}" for pin in sheet.get("pins_left_out", ())]
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
        if stop["pinned"]:
            do += "; pinned"
        line = (
            f"{stop['position']:>3}  {stop['tag'] or '':<{tags}}  {stop['field'] or '':<5} {elevation:>6}"
            f"  {stop['walking_minutes']:>4.1f} {stop['working_minutes']:>4.0f}  {stop['due_on'] or ''!s:<10}  {do}"
        )
        print(line[: max(wide, 80)])
    for back in sheet["back"]:
        print(f"     back to {sheet['start_gate']}: {back['walking_minutes']:.1f} min")

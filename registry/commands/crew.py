"""`jointwright crew`: who checks joints, when and which; days off; the address of a crew's calendar."""

import argparse
from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import time
from typing import Any

import orjson

from registry.commands import COMMANDS
from registry.commands.days import day, utc_today
from registry.commands.session import open_site
from registry.crews.model import SHIFT_STARTS_AT, WEEKDAYS, Crew, CrewAbsence, CrewRequest
from registry.crews.service import (
    add_absence,
    add_crew,
    calendar_secret,
    change_crew,
    crew_named,
    end_crew,
    list_absences,
    list_crews,
    remove_absence,
    renew_calendar,
)
from registry.feeds.service import calendar_path

_WORKING_DAYS = 5


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `crew` and its actions."""
    parser: argparse.ArgumentParser = subparsers.add_parser("crew", description=COMMANDS["crew"])
    parser.add_argument("--json", action="store_true", help="answer as JSON")
    parser.set_defaults(run=run_list)
    actions = parser.add_subparsers(dest="action", metavar="add|change|end|away|back|calendar")
    added = _action(actions, "add", "add a crew", run_add)
    added.add_argument("name", metavar="NAME")
    changed = _action(actions, "change", "change a crew: the next plan sees it", run_change)
    changed.add_argument("name", metavar="NAME")
    changed.add_argument("--name", dest="new_name", metavar="NAME", help="what it is called from now on")
    for action, required in ((added, True), (changed, False)):
        action.add_argument(
            "--hours",
            type=_minutes_by_weekday,
            required=required,
            metavar="H|MO,TU,WE,TH,FR,SA,SU",
            help="net hours at the joints in a day, walking, permits and breaks off: one number for Monday to Friday,"
            " or seven",
        )
        action.add_argument(
            "--families", type=_names, metavar="CODE,…", help="joint families that it may check; 'all' (the default)"
        )
        action.add_argument(
            "--shift-start", type=_time, metavar="HH:MM", help=f"by the site's clock (default: {SHIFT_STARTS_AT:%H:%M})"
        )
        action.add_argument("--from", dest="from_on", type=day, metavar="YYYY-MM-DD", help="first day")
        action.add_argument("--until", dest="until_on", type=day, metavar="YYYY-MM-DD", help="last day")
    ended = _action(actions, "end", "make a day the last one of a crew; what it did stays on record", run_end)
    ended.add_argument("name", metavar="NAME")
    ended.add_argument("--on", type=day, metavar="YYYY-MM-DD", help="its last day (default: today)")
    away = _action(actions, "away", "days off of a crew, or of all: a holiday, training, another site", run_away)
    whose = away.add_mutually_exclusive_group(required=True)
    whose.add_argument("name", nargs="?", metavar="NAME")
    whose.add_argument("--all-crews", action="store_true", help="every crew that is there, as on a public holiday")
    away.add_argument("--from", dest="from_on", type=day, required=True, metavar="YYYY-MM-DD", help="first day off")
    away.add_argument(
        "--until", dest="until_on", type=day, metavar="YYYY-MM-DD", help="last day off (default: one day)"
    )
    away.add_argument("--why", required=True, metavar="TEXT")
    back = _action(actions, "back", "take days off back", run_back)
    back.add_argument("name", metavar="NAME")
    back.add_argument("absence_id", type=int, metavar="ID", help="number of the days off, as `crew` lists it")
    calendar = _action(
        actions, "calendar", "the secret address at which its calendar can be subscribed to", run_calendar
    )
    calendar.add_argument("name", metavar="NAME")
    calendar.add_argument("--renew", action="store_true", help="give it another address: the old one is dead then")
    return parser


def run_list(parsed: argparse.Namespace) -> int:
    """Print the crews with their days off."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        crews, absences = list_crews(connection), list_absences(connection)
    if parsed.json:
        print(orjson.dumps({"crews": [_row(crew, absences) for crew in crews]}).decode())
    elif not crews:
        print("there is no crew yet: `jointwright crew add NAME --hours H` adds one")
    else:
        for crew in crews:
            _print_crew(crew, absences)
    return 0


def run_add(parsed: argparse.Namespace) -> int:
    """Add a crew and print it."""
    wanted = CrewRequest(
        parsed.name,
        parsed.hours,
        parsed.families or (),
        parsed.shift_start or SHIFT_STARTS_AT,
        parsed.from_on,
        parsed.until_on,
    )
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        crew = add_crew(connection, wanted)
    return _tell(crew, [], as_json=parsed.json)


def run_change(parsed: argparse.Namespace) -> int:
    """Change what was given of a crew and print it."""
    given = {
        "name": parsed.new_name,
        "minutes_by_weekday": parsed.hours,
        "families": parsed.families,
        "shift_starts_at": parsed.shift_start,
        "from_on": parsed.from_on,
        "until_on": parsed.until_on,
    }
    changes: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        standing = crew_named(connection, parsed.name)
        crew = change_crew(connection, standing.crew_id, replace(standing.as_request(), **changes), standing.revision)
        absences = list_absences(connection)
    return _tell(crew, absences, as_json=parsed.json)


def run_end(parsed: argparse.Namespace) -> int:
    """End a crew and print it."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        standing = crew_named(connection, parsed.name)
        crew = end_crew(connection, standing.crew_id, parsed.on or utc_today(), standing.revision)
        absences = list_absences(connection)
    return _tell(crew, absences, as_json=parsed.json)


def run_away(parsed: argparse.Namespace) -> int:
    """Add days off and print what is new."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        crew_id = None if parsed.all_crews else crew_named(connection, parsed.name).crew_id
        added = add_absence(connection, crew_id, parsed.from_on, parsed.until_on or parsed.from_on, parsed.why)
        names = {crew.crew_id: crew.name for crew in list_crews(connection)}
    if parsed.json:
        print(orjson.dumps({"added": added}).decode())
    elif not added:
        print("0 changes: nobody is there then who has not just these days off already")
    else:
        print("\n".join(f"{names[absence.crew_id]}: {_absence(absence)}" for absence in added))
    return 0


def run_back(parsed: argparse.Namespace) -> int:
    """Take days off back and print the crew."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        crew = remove_absence(connection, crew_named(connection, parsed.name).crew_id, parsed.absence_id)
        absences = list_absences(connection)
    return _tell(crew, absences, as_json=parsed.json)


def run_calendar(parsed: argparse.Namespace) -> int:
    """Print the path of a crew's calendar, after giving it a new one where that is asked for."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        crew_id = crew_named(connection, parsed.name).crew_id
        secret = (renew_calendar if parsed.renew else calendar_secret)(connection, crew_id)
    path = calendar_path(site, crew_id, secret)
    if parsed.json:
        print(orjson.dumps({"path": path}).decode())
    else:
        print(path)
        print("Put the server's address before it. Whoever has it can read the calendar.")
    return 0


def _action(actions: Any, name: str, what: str, run: Any) -> argparse.ArgumentParser:
    action: argparse.ArgumentParser = actions.add_parser(name, help=what)
    action.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    action.set_defaults(run=run)
    return action


def _minutes_by_weekday(text: str) -> tuple[float, ...]:
    try:
        hours = [float(part) for part in text.split(",")]
    except ValueError as exc:
        raise argparse.ArgumentTypeError(f"'{text}' is not hours such as 6.5 or 7,7,7,7,6,0,0") from exc
    if len(hours) == 1:
        hours = hours * _WORKING_DAYS + [0.0] * (len(WEEKDAYS) - _WORKING_DAYS)
    return tuple(each * 60.0 for each in hours)


def _names(text: str) -> tuple[str, ...]:
    return () if text.strip().casefold() == "all" else tuple(part for part in text.split(",") if part.strip())


def _time(text: str) -> time:
    try:
        return time.fromisoformat(text)
    except ValueError as exc:
        raise argparse.ArgumentTypeError(f"'{text}' is no time such as 07:30") from exc


def _row(crew: Crew, absences: Sequence[CrewAbsence]) -> dict[str, Any]:
    return {**asdict(crew), "absences": [absence for absence in absences if absence.crew_id == crew.crew_id]}


def _tell(crew: Crew, absences: Sequence[CrewAbsence], *, as_json: bool) -> int:
    if as_json:
        print(orjson.dumps(_row(crew, absences)).decode())
    else:
        _print_crew(crew, absences)
    return 0


def _print_crew(crew: Crew, absences: Sequence[CrewAbsence]) -> None:
    days = ", ".join(
        f"{name[:3]} {minutes / 60:g}"
        for name, minutes in zip(WEEKDAYS, crew.minutes_by_weekday, strict=True)
        if minutes
    )
    bounds = (("from", crew.from_on), ("until", crew.until_on))
    when = "".join(f", {word} {limit}" for word, limit in bounds if limit is not None)
    print(f"{crew.name}: {crew.minutes_per_week / 60:g} h a week at the joints ({days}){when}")
    print(f"  shift from {crew.shift_starts_at:%H:%M}; families: {', '.join(crew.families) or 'all'}")
    for absence in absences:
        if absence.crew_id == crew.crew_id:
            print(f"  {_absence(absence)}")


def _absence(absence: CrewAbsence) -> str:
    return f"away {absence.from_on} to {absence.until_on}: {absence.reason} (days off {absence.crew_absence_id})"

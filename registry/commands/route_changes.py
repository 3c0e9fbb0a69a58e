"""`jointwright route mend`: a route changed by hand, and what that costs."""

import argparse
import json
from typing import Any

from registry.commands.session import open_site
from registry.db import Connection
from registry.routes import store
from registry.routes.answers import mended_document
from registry.routes.demand_service import joints_named
from registry.routes.mending_service import mend_route, preview_mend
from registry.routes.model import BEST, Mended, RouteMend


def register_route_changes(actions: Any) -> None:
    """Add `mend` to the actions of `route`."""
    mended: argparse.ArgumentParser = actions.add_parser("mend", help="drop, add, pin stops or order them anew")
    mended.add_argument("route_id", type=int, metavar="ID")
    for option, what in (
        ("--drop", "take a stop off"),
        ("--add", "put a joint on, where it costs the least walking"),
        ("--pin", "keep a stop where it is when the best order is looked for"),
        ("--unpin", "let it go again"),
    ):
        mended.add_argument(option, action="append", default=[], metavar="TAG", help=what)
    mended.add_argument(
        "--order", nargs="+", metavar="TAG", help=f"every stop in walking order, or '{BEST}' for the best order found"
    )
    mended.add_argument("--if-revision", type=int, metavar="N", help="only if the route is still at that revision")
    mended.add_argument("--preview", action="store_true", help="say what it would cost, and change nothing")
    mended.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    mended.set_defaults(run=run_mend)


def run_mend(parsed: argparse.Namespace) -> int:
    """Change a route, or say what that would do."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        mend = _mend(connection, parsed)
        if parsed.preview:
            mended = preview_mend(connection, parsed.route_id, mend)
        else:
            mended = mend_route(connection, parsed.route_id, parsed.if_revision, mend)
        tags = store.list_tags(connection, [stop.joint_id for stop in mended.stops if stop.joint_id is not None])
    if parsed.json:
        print(json.dumps(mended_document(mended, tags), ensure_ascii=False))
    else:
        _tell(mended, tags, preview=parsed.preview)
    return 0


def _mend(connection: Connection, parsed: argparse.Namespace) -> RouteMend:
    def numbers(tags: list[str], what: str) -> tuple[int, ...]:
        by_tag = {tag: joint_id for joint_id, tag in joints_named(connection, tags, what).items()}
        return tuple(by_tag[tag] for tag in tags)

    order = None
    if parsed.order is not None:
        order = BEST if parsed.order == [BEST] else numbers(parsed.order, "order")
    return RouteMend(
        order,
        numbers(parsed.drop, "drop"),
        numbers(parsed.add, "add"),
        numbers(parsed.pin, "pin"),
        numbers(parsed.unpin, "unpin"),
    )


def _tell(mended: Mended, tags: dict[int, str], *, preview: bool) -> None:
    would = "would be" if preview else f"is at revision {mended.revision}:"
    added = mended.added_minutes
    change = (
        "as long as before" if abs(added) < 0.05 else f"{abs(added):.1f} min {'longer' if added > 0 else 'shorter'}"
    )
    print(
        f"Route {mended.route_id} {would} {len(mended.stops)} stops, {mended.walking_minutes:.1f} min walking and"
        f" {mended.working_minutes:.0f} min at joints, {change}"
    )
    if mended.order_costs_minutes >= 0.05:
        print(f"Its order takes {mended.order_costs_minutes:.1f} min longer than the best one found")
    if mended.overrun_minutes >= 0.05:
        print(f"It goes over the shift of {mended.shift_minutes:.0f} min by {mended.overrun_minutes:.1f} min")
    for stop in mended.stops:
        tag = "" if stop.joint_id is None else tags[stop.joint_id]
        print(f"{stop.position:>3}  {tag}{'  pinned' if stop.pinned else ''}  {stop.walking_minutes:.1f} min walk")

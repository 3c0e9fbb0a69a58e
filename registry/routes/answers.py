"""What making and mending routes answers, as plain documents: the same over HTTP and from the command line."""

from collections.abc import Mapping, Sequence
from typing import Any

from registry.routes.model import CrewShift, Mended, Route, RouteStop


def made_document(route: Route) -> dict[str, Any]:
    """What is known of a route only when it is made."""
    return {
        "source": route.source,
        "weighed": route.weighed,
        "waiting_for_outage": route.waiting_for_outage,
        "without_tools": route.without_tools,
        "lacking_tools": dict(route.lacking_tools),
        "pins_left_out": [{"tag": pin.tag, "reason": pin.reason} for pin in route.pins_left_out],
    }


def crews_without_a_route(shifts: Sequence[CrewShift], made: Sequence[Route]) -> list[str]:
    """The crews for which nothing was left."""
    walking = {route.crew.casefold() for route in made}
    return [shift.crew for shift in shifts if " ".join(shift.crew.split()).casefold() not in walking]


def mended_document(mended: Mended, tags: Mapping[int, str]) -> dict[str, Any]:
    """What a change by hand makes of a route, and what it costs."""
    return {
        "route_id": mended.route_id,
        "revision": mended.revision,
        "shift_minutes": mended.shift_minutes,
        "walking_minutes_before": mended.walking_minutes_before,
        "working_minutes_before": mended.working_minutes_before,
        "walking_minutes": mended.walking_minutes,
        "working_minutes": mended.working_minutes,
        "added_minutes": mended.added_minutes,
        "best_walking_minutes": mended.best_walking_minutes,
        "order_costs_minutes": mended.order_costs_minutes,
        "overrun_minutes": mended.overrun_minutes,
        "stops": [_stop(stop, tags) for stop in mended.stops],
        "back": [_stop(mended.back, tags)],
    }


def _stop(stop: RouteStop, tags: Mapping[int, str]) -> dict[str, Any]:
    return {
        "position": stop.position,
        "joint_id": stop.joint_id,
        "tag": None if stop.joint_id is None else tags.get(stop.joint_id),
        "walking_minutes": stop.walking_minutes,
        "working_minutes": stop.working_minutes,
        "pinned": stop.pinned,
        "leg_m": [stop.leg[at : at + 3] for at in range(0, len(stop.leg), 3)],
    }

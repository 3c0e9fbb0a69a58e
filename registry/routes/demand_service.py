"""Finding out what there is to walk to on a day: the crews' lists, who is there, and what a person asked for."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from registry.columns import Columns
from registry.crews.service import crew_by_name, list_outages
from registry.db import Connection
from registry.errors import Issue
from registry.policy.model import Policy
from registry.routes import store
from registry.routes.demand import Demand, ShutDown, Walker, Wanted, needed_tools
from registry.routes.model import PinLeftOut, RouteRefused


def walker_of(connection: Connection, name: str, tools: Sequence[str] | None) -> Walker:
    """A crew as it walks; one of the crews list goes by the name that it has there."""
    known = crew_by_name(connection, name)
    return Walker(known.name if known else name, known, None if tools is None else tuple(dict.fromkeys(tools)))


def joints_named(connection: Connection, tags: Sequence[str], what_for: str) -> dict[int, str]:
    """Number and tag of the joints with these tags. Raises RouteRefused with an issue for every tag that none has."""
    known = store.list_joint_ids(connection, tags) if tags else {}
    unknown = [tag for tag in dict.fromkeys(tags) if tag not in known]
    if unknown:
        issues = [Issue(None, what_for, tag, "no joint has this tag") for tag in unknown]
        raise RouteRefused(f"no joint has the tag {', '.join(map(repr, unknown))}", issues)
    return {known[tag]: tag for tag in tags}


def refuse_unknown_tools(connection: Connection, policy: Policy, tools: Sequence[str]) -> None:
    """Raise RouteRefused for a kind of tool that neither a check takes nor the register of tools has."""
    known = {word for family in policy.families for words in family.check_tools.values() for word in words}
    known |= set(store.list_tool_kinds(connection))
    unknown = [tool for tool in tools if tool not in known]
    if unknown:
        issues = [Issue(None, "tools", tool, "is no kind of tool that is known here") for tool in unknown]
        raise RouteRefused(f"no tool '{unknown[0]}': known are {', '.join(sorted(known))}", issues)


def demand_on(
    connection: Connection,
    walk_on: date,
    walkers: Sequence[Walker],
    area_id: int | None,
    wanted: Wanted,
    policy: Policy,
    today: date | None,
) -> tuple[Demand, list[PinLeftOut]]:
    """What these crews choose from on a day, and the pinned joints that no crew here can do.

    A crew of the crews list chooses from what the newest plan has for it in that week or had before; where nothing of
    that is free, or for any other name, from all of the plan's; where that is nothing either, from the week's due list.
    """
    names = [walker.name.lower() for walker in walkers]
    shut_down = shut_down_on(connection, walk_on)
    families = store.list_families(connection)
    taken = store.list_taken(connection, walk_on, names, today)
    blocked = np.concatenate([taken, np.array(list(wanted.left_out), dtype=np.int32)])
    shares = [
        _share(_lists(connection, walk_on, walker, area_id), blocked, _checked_by(walker, families), shut_down)
        for walker in walkers
    ]
    asked, out = _pins(connection, walk_on, walkers, wanted, policy, families, shut_down)
    columns = _united([*(share.columns for share in shares), asked])
    listed = np.stack([np.isin(columns["joint_id"], share.columns["joint_id"]) for share in shares])
    pinned = np.isin(columns["joint_id"], asked["joint_id"])
    needed = needed_tools(policy, families, columns)
    may = np.stack([np.isin(columns["family_id"], _checked_by(walker, families)) for walker in walkers])
    holds = np.array([[not walker.lacks(tools) for tools in needed] for walker in walkers], dtype=bool)
    lacking = tuple(
        dict(sorted(Counter(tool for at in np.flatnonzero(mine) for tool in walker.lacks(needed[at])).items()))
        for walker, mine in zip(walkers, listed, strict=True)
    )
    able = (listed | pinned) & may & holds.reshape(may.shape)
    sources = tuple(share.source for share in shares)
    return Demand(columns, listed, able, pinned, sources, tuple(share.waiting for share in shares), lacking), out


@dataclass(frozen=True, slots=True)
class _Share:
    """What one crew chooses from, whose list that is, and how many more of it wait for an outage."""

    columns: Columns
    source: str
    waiting: int


def _share(
    lists: Iterator[tuple[Columns, str]], blocked: npt.NDArray[np.int32], checked: list[int], shut_down: ShutDown
) -> _Share:
    """The first list of which something is free for the crew, or the last."""
    share: _Share | None = None
    for columns, source in lists:
        free = np.isin(columns["family_id"], checked) & ~np.isin(columns["joint_id"], blocked)
        waits = columns["requires_outage"] & ~shut_down.holds(columns["area_id"])
        ready = free & ~waits
        share = _Share({name: values[ready] for name, values in columns.items()}, source, int((free & waits).sum()))
        if ready.any():
            break
    assert share is not None, "there is always the due list"
    return share


def _checked_by(walker: Walker, families: dict[int, str]) -> list[int]:
    """The numbers of the families that a crew may check."""
    return [number for number, code in families.items() if walker.may_check(code)]


def _lists(connection: Connection, walk_on: date, walker: Walker, area_id: int | None) -> Iterator[tuple[Columns, str]]:
    """The lists that a crew may choose from, the one that it chooses from first before the others."""
    monday = walk_on - timedelta(days=walk_on.weekday())
    planned, week = store.read_planned_week(connection, monday), f"the week of {monday}"
    if planned is not None:
        if walker.known is not None:
            crew_id = walker.known.crew_id
            own = store.list_planned(connection, *planned, monday, area_id=area_id, crew_id=crew_id)
            yield own, f"what the plan has for {walker.name} in {week}"
        yield store.list_planned(connection, *planned, monday, area_id=area_id, crew_id=None), f"the plan for {week}"
    until_on = monday + timedelta(days=6)
    yield store.list_due(connection, until_on, area_id=area_id), f"the due list to {until_on}"


def _pins(
    connection: Connection,
    walk_on: date,
    walkers: Sequence[Walker],
    wanted: Wanted,
    policy: Policy,
    families: dict[int, str],
    shut_down: ShutDown,
) -> tuple[Columns, list[PinLeftOut]]:
    """The pinned joints that somebody here can do, and the others with the reason."""
    asked = store.list_asked(connection, list(wanted.pinned))
    elsewhere = store.list_walkers(connection, list(wanted.pinned), walk_on, [one.name.lower() for one in walkers])
    needed = needed_tools(policy, families, asked)
    waits = asked["requires_outage"] & ~shut_down.holds(asked["area_id"])
    row_of = {joint_id: row for row, joint_id in enumerate(asked["joint_id"].tolist())}
    kept: list[int] = []
    out: list[PinLeftOut] = []
    for joint_id, tag in wanted.pinned.items():
        row = row_of.get(joint_id)
        if row is None:
            out.append(PinLeftOut(tag, "it is not scored yet"))
            continue
        family = families[int(asked["family_id"][row])]
        fit = [walker for walker in walkers if walker.may_check(family)]
        if waits[row]:
            out.append(PinLeftOut(tag, "it needs an outage, and there is none that day"))
        elif joint_id in elsewhere:
            route_id, crew = elsewhere[joint_id]
            out.append(PinLeftOut(tag, f"it is on route {route_id} of {crew} that day"))
        elif not fit:
            out.append(PinLeftOut(tag, f"nobody here may check the family {family}"))
        elif all(walker.lacks(needed[row]) for walker in fit):
            lacking = " and ".join(fit[0].lacks(needed[row]))
            out.append(PinLeftOut(tag, f"its check takes a {lacking}, and nobody here holds one"))
        else:
            kept.append(row)
    return {name: values[kept] for name, values in asked.items()}, out


def shut_down_on(connection: Connection, walk_on: date) -> ShutDown:
    """What an outage shuts down on a day."""
    on = [outage for outage in list_outages(connection) if outage.from_on <= walk_on <= outage.until_on]
    areas = frozenset(area for outage in on for area in outage.area_ids)
    return ShutDown(any(not outage.area_ids for outage in on), areas)


def _united(parts: Sequence[Columns]) -> Columns:
    together = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    _, first = np.unique(together["joint_id"], return_index=True)
    return {name: values[first] for name, values in together.items()}

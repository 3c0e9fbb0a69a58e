"""Take a joint list in: check it against the site, show what it would change, load it whole or not at all."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import polars as pl

from registry.db import Connection
from registry.intake.columns import typed_rows
from registry.intake.model import ROW, Column, Difference, FileMapping, IntakeReport, Table, TypedRows
from registry.intake.store import add_intake, take_intake_lock, whole_list_joins
from registry.intake.words import nearest
from registry.joints import store
from registry.joints.model import Joint, JointUnknown, RegisterNotReady, joint_columns
from registry.plant.model import PlotPlan
from registry.plant.store import add_areas, list_areas, read_plan

KIND = "joints"
MOST_CHANGES_LISTED = 1000
_NOTHING_NEW = "nothing to change: the register says already what this file says"


def list_columns(connection: Connection) -> tuple[Column, ...]:
    """The columns of a joint list for this site. Raises RegisterNotReady where no policy names the families yet."""
    store.add_new_families(connection)
    store.add_new_services(connection)
    families, services = store.list_families(connection), store.list_services(connection)
    if not families or not services:
        raise RegisterNotReady("publish a policy for this site first: it names the joint families and services")
    return joint_columns(families, services)


def list_rows(connection: Connection, table: Table, mapping: FileMapping, today: dt.date) -> TypedRows:
    """A joint list's rows, typed and checked against the site: its families, services and areas, and each tag once.

    Raises ColumnsMissing, MappingUnusable or RegisterNotReady; a fault of a row is an issue of the rows returned.
    """
    rows = _each_tag_once(typed_rows(table, list_columns(connection), mapping, today=today))
    plan = read_plan(connection)
    if plan.areas:
        return _in_plan_areas(rows, plan)
    return _in_named_areas(rows, [area.name for area in list_areas(connection)])


def preview_list(
    connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: dt.date
) -> IntakeReport:
    """What `import_list` would do, with nothing changed in the register."""
    return preview_rows(connection, list_rows(connection, table, mapping, today), keep_valid)


def import_list(
    connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: dt.date
) -> IntakeReport:
    """Load a joint list: all rows or none, or with `keep_valid` those without a fault.

    A column that the file lacks leaves what stands in the register; an empty cell in a column that it has clears it.
    Joints that it does not name stay. The same file again changes nothing.
    """
    return import_rows(connection, list_rows(connection, table, mapping, today), keep_valid)


def preview_rows(connection: Connection, rows: TypedRows, keep_valid: bool) -> IntakeReport:
    """What `import_rows` would do with these rows."""
    frame = rows.admitted(keep_valid)
    with whole_list_joins(connection):
        return _compared(connection, rows, frame if not frame.is_empty() else rows.good)[0]


def import_rows(connection: Connection, rows: TypedRows, keep_valid: bool) -> IntakeReport:
    """Load rows that `list_rows` has checked; `loaded` in the report is False if they were refused as a whole."""
    take_intake_lock(connection, KIND)
    frame = rows.admitted(keep_valid)
    if frame.is_empty():
        return rows.report(KIND, loaded=False, notes=("nothing was loaded",))
    with whole_list_joins(connection):
        report, anything_known = _compared(connection, rows, frame)
        if not report.changes:
            return replace(report, loaded=True)
        intake_id = add_intake(connection, KIND, rows, frame.height)
        store.add_lines(connection, frame["line"].drop_nulls().unique(maintain_order=True).to_list())
        add_areas(connection, frame["area"].drop_nulls().unique(maintain_order=True).to_list())
        if report.added:
            store.add_joints(connection, intake_id)
        if anything_known and report.changed:
            store.change_joints(connection, intake_id)
    return replace(report, loaded=True, intake_id=intake_id)


def joint_of_tag(connection: Connection, tag: str) -> Joint:
    """The joint of that tag. Raises JointUnknown."""
    joint = store.read_joint(connection, tag)
    if joint is None:
        raise JointUnknown(f"no joint has the tag {tag!r}")
    return joint


def place_in_areas(connection: Connection, before: PlotPlan | None = None) -> int:
    """After a plot plan was loaded, let joints follow its outlines; returns how many have another area now.

    A joint follows the outlines when it has no area, or the one whose outline it stood in on the plan `before`. A joint
    of another area has it from its joint list and keeps it.
    """
    plan, places = read_plan(connection), store.list_places(connection)
    east, north = places["location"].T
    follows = places["area_id"] == 0
    if before is not None:
        follows |= places["area_id"] == before.area_of(east, north)
    area_ids = plan.area_of(east, north)
    moves = follows & (area_ids != places["area_id"])
    if moves.any():
        store.place_joints(connection, places["joint_id"][moves].tolist(), area_ids[moves].tolist())
    return int(moves.sum())


def _compared(connection: Connection, rows: TypedRows, frame: pl.DataFrame) -> tuple[IntakeReport, bool]:
    families = {known.name: known.id for known in store.list_families(connection)}
    services = {known.name: known.id for known in store.list_services(connection)}
    store.stage_joints(
        connection,
        frame.with_columns(
            pl.col("family").replace_strict(families, return_dtype=pl.Int16).alias("family_id"),
            pl.col("service").replace_strict(services, return_dtype=pl.Int16).alias("service_id"),
        ),
    )
    if not store.any_joint(connection):
        return rows.report(KIND, loaded=False, added=frame.height), False
    store.stage_changes(connection, sorted(rows.given))
    counts = store.count_staged(connection)
    differences = [
        Difference(change.row, change.tag, column, old, new)
        for change in store.list_staged_changes(connection, MOST_CHANGES_LISTED)
        for column, (old, new) in change.changes.items()
    ]
    added = frame.height - counts.known
    notes: list[str] = [] if added or counts.changed else [_NOTHING_NEW]
    if unlisted := store.count_unlisted(connection):
        notes.append(f"{unlisted:,} joints of the register are not in this file; they stay as they are")
    return rows.report(
        KIND,
        loaded=False,
        added=added,
        changed=counts.changed,
        unchanged=counts.known - counts.changed,
        differences=differences,
        differences_total=counts.differences,
        notes=notes,
    ), True


def _each_tag_once(rows: TypedRows) -> TypedRows:
    tags = rows.frame["tag"]
    again = ~tags.is_first_distinct() & tags.is_not_null()
    if not again.any():
        return rows
    repeated = rows.frame.filter(again)["tag"]
    first = rows.frame.filter(tags.is_first_distinct() & tags.is_in(repeated.unique().implode()))
    stands = dict(zip(first["tag"].to_list(), first[ROW].to_list(), strict=True))
    return rows.with_faults(
        "tag",
        again,
        [f"stands in row {stands[tag]} already: give this joint a tag of its own, or drop the row" for tag in repeated],
    )


def _in_plan_areas(rows: TypedRows, plan: PlotPlan) -> TypedRows:
    """Areas by the names of the plot plan; where the list names none, by the outline that the joint stands in."""
    named = {name: plan.area_named(name) for name in rows.frame["area"].drop_nulls().unique().to_list()}
    known = [area.name for area in plan.areas]
    unknown = rows.frame["area"].is_in([name for name, area in named.items() if area is None])
    rows = rows.with_faults(
        "area",
        unknown,
        [_unknown_area(name, known) for name in rows.frame.filter(unknown.fill_null(value=False))["area"]],
    )
    name_of = {0: None} | {area.area_id: area.name for area in plan.areas}
    found = plan.area_of(
        rows.frame["east_m"].fill_null(float("nan")).to_numpy(),
        rows.frame["north_m"].fill_null(float("nan")).to_numpy(),
    )
    by_outline = pl.Series([name_of[area_id] for area_id in found.tolist()], dtype=pl.String)
    by_name = rows.frame["area"].replace_strict(
        {name: area.name for name, area in named.items() if area is not None}, default=None, return_dtype=pl.String
    )
    return rows.with_values("area", pl.select(pl.coalesce(by_name, by_outline)).to_series())


def _in_named_areas(rows: TypedRows, known: Sequence[str]) -> TypedRows:
    """Areas by their names alone, spelled as they were first, where no plot plan says which there are."""
    names = rows.frame["area"].drop_nulls().unique(maintain_order=True).to_list()
    spelling = {name.casefold(): name for name in reversed([*known, *names])}
    told = {name: spelling[name.casefold()] for name in names}
    return rows.with_values("area", rows.frame["area"].replace(told)) if told else rows


def _unknown_area(name: str, known: Sequence[str]) -> str:
    near = nearest(name, known)
    advice = f"is '{near}' meant?" if near else f"its areas are {', '.join(known)}."
    return f"is no area of the plot plan: {advice} Correct it, or leave it empty for the outline to decide"

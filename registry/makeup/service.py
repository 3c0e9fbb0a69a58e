"""Procedures of a site, make-ups of a joint, and lists of past make-ups: judged in retrospect, not refused for that."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import orjson
import polars as pl

from registry.db import Connection
from registry.intake.columns import typed_rows
from registry.intake.model import FileMapping, IntakeReport, Table, TypedRows
from registry.intake.recorded import IS_KNOWN, IS_NEW, UNKNOWN_TAG, held_against, with_number
from registry.intake.store import add_intake, take_intake_lock
from registry.joints.service import joint_of_tag
from registry.joints.store import list_tags
from registry.makeup import store
from registry.makeup.model import (
    LOT_COLUMNS,
    MAKE_UP_COLUMNS,
    SAID_NOT_ACCEPTED,
    MakeUp,
    MakeUpUnfit,
    ProcedureVersionUnknown,
)
from registry.makeup.past_make_ups import JudgedPast, PastMakeUp, judged_past, likely_procedure
from registry.makeup.procedures import Procedure, ProcedureUnknown, procedures_for
from registry.makeup.reading_procedures import procedures_from, shipped_procedures
from registry.papers.model import Person
from registry.papers.on_the_day import Qualification
from registry.papers.service import people, tools

_BETWEEN_SERIALS = re.compile(r"[;,|]")


def publish_first_procedures(connection: Connection) -> tuple[Procedure, ...]:
    """The current procedures; shipped ones that the site does not have are published as version 1 of their code."""
    current = store.list_current_procedures(connection)
    if _missing(current):
        store.take_procedure_lock(connection)
        # Somebody may have published them while this one waited.
        for procedure in _missing(store.list_current_procedures(connection)):
            store.add_procedure(connection, procedure, "Jointwright", "The shipped procedures")
        current = store.list_current_procedures(connection)
    return current


def publish_procedures(connection: Connection, document: Mapping[str, Any], by: str, note: str) -> list[Procedure]:
    """Publish the procedures of a plant's file, each as the next version of its code; an unchanged one stays.

    Raises ProcedureInvalid with every fault by its path, or MakeUpUnfit where nobody publishes it.
    """
    if not by.strip() or not note.strip():
        raise MakeUpUnfit("say who publishes the procedures, and why")
    given = procedures_from(document)
    current = {procedure.code: procedure for procedure in publish_first_procedures(connection)}
    store.take_procedure_lock(connection)
    published: list[Procedure] = []
    for procedure in given:
        standing = current.get(procedure.code)
        if standing is not None and replace(procedure, version=standing.version) == standing:
            continue
        version = store.add_procedure(connection, procedure, by.strip(), note.strip())
        published.append(replace(procedure, version=version))
    return published


def procedures_of_joint(connection: Connection, tag: str, method: str | None = None) -> tuple[Procedure, ...]:
    """The procedures that a joint may be made up by, the one made for the fewest sizes first. Raises JointUnknown."""
    joint = joint_of_tag(connection, tag)
    return procedures_for(publish_first_procedures(connection), joint.family, joint.size_mm, method)


def procedure_of(connection: Connection, code: str, version: int | None = None) -> Procedure:
    """One procedure, in its newest version or the given one. Raises ProcedureUnknown or ProcedureVersionUnknown."""
    current = {procedure.code: procedure for procedure in publish_first_procedures(connection)}
    if code not in current:
        raise ProcedureUnknown(f"no procedure '{code}' here")
    if version is None or version == current[code].version:
        return current[code]
    found = store.read_procedure(connection, code, version)
    if found is None:
        raise ProcedureVersionUnknown(f"version {version} of '{code}' was never published here")
    return found


def make_ups_of_joint(connection: Connection, tag: str) -> list[MakeUp]:
    """Every make-up of a joint in the order in which they were recorded, corrected ones among them.

    Raises JointUnknown.
    """
    return store.list_make_ups(connection, joint_id=joint_of_tag(connection, tag).joint_id)


def import_make_ups(
    connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date
) -> IntakeReport:
    """Add the make-ups of a file: all rows or none, or with `keep_valid` the good ones.

    Each is judged in retrospect by the rules of today, by what it says: what stands against it is a reason of its
    verdict, and nothing is refused for it. A make-up is known by its joint and day; one that stands already otherwise
    is a fault, for a ledger is corrected and never loaded over. The caller holds the score lock and scores anew.
    """
    take_intake_lock(connection, "make_ups")
    procedures = {procedure.code: procedure for procedure in publish_first_procedures(connection)}
    store.take_make_up_lock(connection)
    rows = typed_rows(table, MAKE_UP_COLUMNS, mapping, today=today)
    rows = with_number(rows, "tag", list_tags(connection), "joint_id", UNKNOWN_TAG)
    rows = rows.with_faults(
        "procedure",
        pl.col("procedure").is_not_null() & ~pl.col("procedure").is_in(pl.Series(list(procedures)).implode()),
        "is no procedure of this site: `jointwright make-up procedures` lists them",
    )
    papers = people(connection)
    names = {person.name.lower(): person.name for person in papers}
    rows = _in_register_letters(rows, names)
    ledger = store.list_make_ups_of_joints(connection, rows.frame["joint_id"].drop_nulls().unique().to_list())
    ledger = ledger.with_columns(_in_letters(ledger["fitter"], names), _in_letters(ledger["witness"], names))
    content = ("verdict", "method", "fitter", "witness", "torque_n_m", "turns")
    rows = held_against(rows, ledger, ("joint_id", "made_up_on"), content, "make-up")
    frame = rows.admitted(keep_valid)
    added = frame.filter(IS_NEW)
    intake_id, notes = None, list[str]()
    if added.height:
        intake_id = add_intake(connection, "make_ups", rows, frame.height)
        judged = _judged(connection, added, papers, procedures)
        _add(connection, added, judged, intake_id)
        notes += _said_of(added, judged)
    return rows.report(
        "make-ups",
        loaded=keep_valid or not rows.issues,
        added=added.height,
        unchanged=frame.filter(IS_KNOWN).height,
        notes=notes,
        intake_id=intake_id,
    )


def _missing(current: Iterable[Procedure]) -> list[Procedure]:
    codes = {procedure.code for procedure in current}
    return [procedure for procedure in shipped_procedures() if procedure.code not in codes]


def _in_register_letters(rows: TypedRows, names: Mapping[str, str]) -> TypedRows:
    for column in ("fitter", "witness"):
        rows = rows.with_values(column, _in_letters(rows.frame[column], names))
    return rows


def _in_letters(column: pl.Series, names: Mapping[str, str]) -> pl.Series:
    """Names as the register of people writes them; of others nothing is changed."""
    if not names:
        return column
    known = column.str.to_lowercase().replace_strict(names, default=None, return_dtype=pl.String)
    return pl.select(pl.coalesce(known, column)).to_series().rename(column.name)


def _judged(
    connection: Connection, added: pl.DataFrame, papers: Sequence[Person], procedures: Mapping[str, Procedure]
) -> pl.DataFrame:
    """The verdict on each row: verdict, kind, procedure_code, procedure_version, answers, reasons, serials."""
    facts = store.list_joint_facts(connection, added["joint_id"].unique().to_list())
    of_person: dict[str, list[Qualification]] = {
        person.name: [paper for each in person.qualifications if (paper := each.as_qualification()) is not None]
        for person in papers
    }
    known_tools = {tool.serial.lower(): tool for tool in tools(connection)}
    current = tuple(procedures.values())
    found: list[tuple[str, str, str | None, int | None, str, str, list[str]]] = []
    for row in added.iter_rows(named=True):
        family, size_mm = facts[row["joint_id"]]
        procedure = procedures.get(row["procedure"] or "")
        if procedure is None and (row["torque_n_m"] is not None or row["turns"] is not None):
            procedure = likely_procedure(current, family, size_mm, row["method"])
        serials = [text.strip() for text in _BETWEEN_SERIALS.split(row["tools"] or "") if text.strip()]
        kind = row["kind"] or "first"
        past = PastMakeUp(
            family=family,
            size_mm=size_mm,
            made_up_on=row["made_up_on"],
            kind=kind,
            fitter=row["fitter"],
            witness=row["witness"],
            method=row["method"],
            said=row["verdict"],
            procedure=procedure,
            torque_n_m=row["torque_n_m"],
            turns=row["turns"],
            tools=serials,
            lots={column: row[column] for column in LOT_COLUMNS if row[column] is not None},
        )
        judged: JudgedPast = judged_past(past, of_person.get(row["fitter"] or "", ()), known_tools)
        found.append(
            (
                "accepted" if judged.accepted else "not accepted",
                kind,
                None if procedure is None else procedure.code,
                None if procedure is None else procedure.version,
                orjson.dumps(judged.answers).decode(),
                orjson.dumps(judged.reasons).decode(),
                serials,
            )
        )
    types = {
        "verdict": pl.String(),
        "kind": pl.String(),
        "procedure_code": pl.String(),
        "procedure_version": pl.Int32(),
        "answers": pl.String(),
        "reasons": pl.String(),
        "serials": pl.List(pl.String()),
    }
    return pl.DataFrame(found, schema=types, orient="row")


def _add(connection: Connection, added: pl.DataFrame, judged: pl.DataFrame, intake_id: int) -> None:
    said = ("joint_id", "made_up_on", "fitter", "witness", "method", "notes", "torque_n_m", "turns")
    frame = pl.concat([added.select(*said, *LOT_COLUMNS), judged], how="horizontal")
    numbered = store.add_make_ups(connection, frame.drop(*LOT_COLUMNS, "serials"), intake_id)
    frame = frame.join(numbered, on=["joint_id", "made_up_on"], maintain_order="left")
    used = frame.select("make_up_id", "serials").explode("serials").drop_nulls()
    store.add_make_up_tools(connection, used["make_up_id"].to_list(), used["serials"].to_list())
    for column, kind in LOT_COLUMNS.items():
        lots = frame.select("make_up_id", column).drop_nulls()
        store.add_make_up_lots(connection, lots["make_up_id"].to_list(), [kind] * lots.height, lots[column].to_list())


def _said_of(added: pl.DataFrame, judged: pl.DataFrame) -> list[str]:
    """What judging in retrospect came to, for the report."""
    turned = (added["verdict"] == "accepted") & (judged["verdict"] == "not accepted")
    if not turned.any():
        return []
    codes = Counter(
        reason["code"]
        for text in judged["reasons"].filter(turned).to_list()
        for reason in orjson.loads(text)
        if reason["kind"] != "passed over" and reason["code"] != SAID_NOT_ACCEPTED
    )
    told = ", ".join(f"{code} {count:,}" for code, count in codes.most_common())
    return [
        f"{int(turned.sum()):,} that were recorded as accepted are not accepted when judged in retrospect by the rules"
        f" of today: {told}"
    ]

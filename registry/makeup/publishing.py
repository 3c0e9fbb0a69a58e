"""The procedures of a site: the shipped ones, a plant's own versions, and those that a joint may be made up by."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from registry.db import Connection
from registry.joints.service import joint_of_tag
from registry.makeup import store
from registry.makeup.model import MakeUpUnfit, ProcedureVersionUnknown
from registry.makeup.procedures import Procedure, ProcedureUnknown, procedures_for
from registry.makeup.reading_procedures import procedures_from, shipped_procedures


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


def _missing(current: Iterable[Procedure]) -> list[Procedure]:
    codes = {procedure.code for procedure in current}
    return [procedure for procedure in shipped_procedures() if procedure.code not in codes]

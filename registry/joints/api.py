"""The register over HTTP: joints read, joint lists previewed and taken in."""

from datetime import datetime
from typing import Annotated, Any

import orjson
from fastapi import APIRouter, File, Form, Query, Response, UploadFile

from registry.errors import Invalid
from registry.intake.mapping_file import read_mapping
from registry.intake.model import FileMapping, TypedRows
from registry.intake.tables import read_table
from registry.joints import store
from registry.joints.model import JointFilter
from registry.joints.service import import_rows, joint_of_tag, list_rows, preview_rows
from registry.web.dependencies import SiteConnection
from registry.web.paging import CursorText, Limit, cursor_keys, cursor_text

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["joints"])

Upload = Annotated[UploadFile, File(description="CSV or a workbook, one row a joint")]
MappingText = Annotated[str | None, Form(description="a mapping file's TOML; without one the headings are ours")]
KeepValid = Annotated[bool, Form(description="load the rows without a fault even if others have one")]


MOST_BYTES = 256 << 20  # about 1,700,000 joints


class ListRefused(Invalid):
    """The file was refused: no row of it was loaded"""

    slug = "list-refused"


@router.get("/joints")
def list_joints(
    connection: SiteConnection,
    area: Annotated[str | None, Query(description="name of an area")] = None,
    family: Annotated[str | None, Query(description="code of a joint family")] = None,
    service: Annotated[str | None, Query(description="name of a service")] = None,
    line: Annotated[str | None, Query(description="code of a line")] = None,
    tag_contains: Annotated[str | None, Query(description="part of a tag, whatever its case")] = None,
    limit: Limit = 200,
    cursor: CursorText = None,
) -> Response:
    """Joints in the order of their tags; `next` is the cursor of the next page, null on the last."""
    keys = cursor_keys(cursor, 1)
    after = None if keys is None else str(keys[0])
    wanted = JointFilter(area, family, service, line, tag_contains)
    joints = store.list_joints(connection, wanted, after, limit + 1)
    more = len(joints) > limit
    joints = joints[:limit]
    return _json({"joints": joints, "next": cursor_text([joints[-1].tag]) if more else None})


@router.post("/joints/preview")
def preview_joint_list(
    connection: SiteConnection, file: Upload, mapping: MappingText = None, keep_valid: KeepValid = False
) -> Response:
    """What loading this file would add, change and refuse; nothing is loaded."""
    rows = _rows(connection, file, mapping)
    return _json(preview_rows(connection, rows, keep_valid))


@router.post("/joints/import")
def import_joint_list(
    connection: SiteConnection, file: Upload, mapping: MappingText = None, keep_valid: KeepValid = False
) -> Response:
    """Load a joint list: all its rows or none, or with `keep_valid` the good ones; a refused one answers 422."""
    report = import_rows(connection, _rows(connection, file, mapping), keep_valid)
    if not report.loaded:
        raise ListRefused(f"{report.refused:,} of {report.rows_read:,} rows have a fault", report.issues)
    return _json(report)


@router.get("/joints/{tag:path}/changes")
def list_joint_changes(connection: SiteConnection, tag: str, limit: Limit = 200) -> Response:
    """What later joint lists changed on a joint, newest first: column to [old, new]."""
    joint = joint_of_tag(connection, tag)
    return _json({"tag": joint.tag, "changes": store.list_joint_changes(connection, joint.joint_id, limit)})


@router.get("/joints/{tag:path}")
def read_joint(connection: SiteConnection, tag: str) -> Response:
    """One joint as the joint list last gave it; null is 'not given'."""
    return _json(joint_of_tag(connection, tag))


def _rows(connection: SiteConnection, file: UploadFile, mapping: str | None) -> TypedRows:
    described = FileMapping() if mapping is None else read_mapping(mapping.encode(), "the mapping")
    data = file.file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise ListRefused(f"the file is larger than {MOST_BYTES >> 20} MiB: load it with `jointwright load joints`")
    table = read_table(data, described, file.filename or "the file")
    return list_rows(connection, table, described, datetime.now().astimezone().date())


def _json(content: Any) -> Response:
    return Response(orjson.dumps(content), media_type="application/json")

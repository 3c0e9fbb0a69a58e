"""The policy over HTTP: versions, and the draft. Preview and publication score joints: see
`registry/intervals/api.py`."""

from typing import Annotated, Any

import orjson
from fastapi import APIRouter, Body, Header, HTTPException, Response

from registry.db import Connection
from registry.policy import service, store
from registry.policy.versions import DraftSavedSince, PolicyDraft, PolicyVersion, differences
from registry.web.dependencies import SiteConnection
from registry.web.etags import etag, revision_in

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["policy"])

TOML = "application/toml"


@router.get("/policy")
def read_policy(connection: SiteConnection) -> Response:
    """The policy in force."""
    return _version(service.current_version(connection))


@router.get("/policy.toml")
def read_policy_toml(connection: SiteConnection) -> Response:
    """The document of the policy in force as TOML, to be edited and sent back as a draft."""
    return Response(service.policy_text(service.current_version(connection).document), media_type=TOML)


@router.get("/policy/versions")
def list_policies(connection: SiteConnection) -> Response:
    """Who published which version, when and why; newest first."""
    return _json({"versions": store.list_policies(connection)})


@router.get("/policy/versions/{policy_version}")
def read_policy_version(connection: SiteConnection, policy_version: int) -> Response:
    """One published version."""
    return _version(service.version_of(connection, policy_version))


@router.get("/policy/draft")
def read_draft(connection: SiteConnection) -> Response:
    """The draft, and the values in which it differs from the version that it is based on."""
    draft = service.current_draft(connection)
    based_on = service.version_of(connection, draft.based_on)
    return _draft(draft, differences(based_on.document, draft.document))


@router.get("/policy/draft.toml")
def read_draft_toml(connection: SiteConnection) -> Response:
    """The draft's document as TOML."""
    draft = service.current_draft(connection)
    return Response(service.policy_text(draft.document), media_type=TOML, headers={"ETag": etag(draft.revision)})


@router.put("/policy/draft")
def put_draft(
    connection: SiteConnection,
    document: Annotated[dict[str, Any], Body(description="a policy document, as `document` in GET /policy")],
    if_match: Annotated[str | None, Header()] = None,
    if_none_match: Annotated[str | None, Header()] = None,
) -> Response:
    """Save a document as the draft: with If-Match over the revision that was seen, with If-None-Match: * as a first."""
    return _saved(connection, document, revision_in(if_match, if_none_match))


@router.put("/policy/draft.toml")
def put_draft_toml(
    connection: SiteConnection,
    text: Annotated[str, Body(media_type=TOML, description="a policy document, as GET /policy.toml gives it")],
    if_match: Annotated[str | None, Header()] = None,
    if_none_match: Annotated[str | None, Header()] = None,
) -> Response:
    """Save a document in TOML as the draft, with the same headers."""
    document = service.document_of_text(text, "the document")
    return _saved(connection, document, revision_in(if_match, if_none_match))


@router.delete("/policy/draft", status_code=204)
def delete_draft(connection: SiteConnection, if_match: Annotated[str | None, Header()] = None) -> Response:
    """Throw the draft of the revision in If-Match away."""
    try:
        service.drop_draft(connection, revision_in(if_match))
    except DraftSavedSince as exc:
        raise HTTPException(412, str(exc)) from exc
    return Response(status_code=204)


def _saved(connection: Connection, document: dict[str, Any], revision: int | None) -> Response:
    try:
        draft = service.edit_draft(connection, document, revision)
    except DraftSavedSince as exc:
        raise HTTPException(412, str(exc)) from exc
    return _draft(draft, differences(service.version_of(connection, draft.based_on).document, draft.document))


def _version(version: PolicyVersion) -> Response:
    return _json(version)


def _draft(draft: PolicyDraft, changed: list[Any]) -> Response:
    return _json(
        {
            "based_on": draft.based_on,
            "revision": draft.revision,
            "edited_at": draft.edited_at,
            "document": draft.document,
            "differences": changed,
        },
        headers={"ETag": etag(draft.revision)},
    )


def _json(content: Any, *, status: int = 200, headers: dict[str, str] | None = None) -> Response:
    return Response(orjson.dumps(content), status_code=status, media_type="application/json", headers=headers)

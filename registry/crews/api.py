"""Crews, their days off and outages over HTTP. The feed of a crew's calendar: see `registry/feeds/api.py`."""

from collections.abc import Generator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from datetime import date, time
from typing import Annotated, Any

import orjson
from fastapi import APIRouter, Header, HTTPException, Path, Response
from pydantic import BaseModel, ConfigDict, Field

from registry.crews import service
from registry.crews.model import (
    SHIFT_STARTS_AT,
    Crew,
    CrewAbsence,
    CrewChangedSince,
    CrewRequest,
    Outage,
    OutageChangedSince,
    OutageRequest,
)
from registry.crews.store import list_absences
from registry.db import Connection
from registry.web.dependencies import SiteConnection
from registry.web.etags import etag, revision_in

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["crews"])

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
IfMatch = Annotated[str | None, Header()]


class CrewBody(BaseModel):
    """A crew as it is to be."""

    model_config = ConfigDict(extra="forbid")

    name: str
    minutes_by_weekday: list[float] = Field(
        description="net time at the joints, Monday first: walking, permits and breaks are off it already"
    )
    families: list[str] = Field(default=[], description="joint families that it may check; none: all of them")
    shift_starts_at: time = Field(default=SHIFT_STARTS_AT, description="by the site's clock")
    from_on: date | None = Field(default=None, description="first day; null: always")
    until_on: date | None = Field(default=None, description="last day; null: no end")

    def as_request(self) -> CrewRequest:
        """The crew as the service takes it."""
        return CrewRequest(
            self.name,
            tuple(self.minutes_by_weekday),
            tuple(self.families),
            self.shift_starts_at,
            self.from_on,
            self.until_on,
        )


class EndBody(BaseModel):
    """The last day of a crew."""

    model_config = ConfigDict(extra="forbid")

    until_on: date


class AbsenceBody(BaseModel):
    """Days off, both days within."""

    model_config = ConfigDict(extra="forbid")

    from_on: date
    until_on: date
    reason: str


class OutageBody(BaseModel):
    """An outage as it is to be, both days within."""

    model_config = ConfigDict(extra="forbid")

    name: str
    from_on: date
    until_on: date
    areas: list[str] = Field(default=[], description="names of areas; none: the whole site")

    def as_request(self) -> OutageRequest:
        """The outage as the service takes it."""
        return OutageRequest(self.name, self.from_on, self.until_on, tuple(self.areas))


@router.get("/crews")
def list_crews(connection: SiteConnection) -> Response:
    """Crews by name, those that have ended too, each with its days off."""
    absences = service.list_absences(connection)
    return _json({"crews": [_crew_row(crew, absences) for crew in service.list_crews(connection)]})


@router.post("/crews", status_code=201)
def post_crew(connection: SiteConnection, site: str, body: CrewBody) -> Response:
    """Add a crew."""
    crew = service.add_crew(connection, body.as_request())
    return _crew(connection, crew, status=201, location=f"/api/v1/sites/{site}/crews/{crew.crew_id}")


@router.get("/crews/{crew_id}")
def read_crew(connection: SiteConnection, crew_id: Number) -> Response:
    """One crew with its days off; its ETag is what a change says it saw."""
    return _crew(connection, service.read_crew(connection, crew_id))


@router.put("/crews/{crew_id}")
def put_crew(connection: SiteConnection, crew_id: Number, body: CrewBody, if_match: IfMatch = None) -> Response:
    """Make a crew as given, over the revision in If-Match; plans that are made stand, the next one sees it."""
    with _seen():
        crew = service.change_crew(connection, crew_id, body.as_request(), revision_in(if_match))
    return _crew(connection, crew)


@router.post("/crews/{crew_id}/end")
def post_end(connection: SiteConnection, crew_id: Number, body: EndBody, if_match: IfMatch = None) -> Response:
    """Make a day the last one of the crew of the revision in If-Match."""
    with _seen():
        crew = service.end_crew(connection, crew_id, body.until_on, revision_in(if_match))
    return _crew(connection, crew)


@router.post("/crews/{crew_id}/absences", status_code=201)
def post_absence(connection: SiteConnection, crew_id: Number, body: AbsenceBody) -> Response:
    """Give a crew days off; the answer is the crew."""
    service.add_absence(connection, crew_id, body.from_on, body.until_on, body.reason)
    return _crew(connection, service.read_crew(connection, crew_id), status=201)


@router.delete("/crews/{crew_id}/absences/{crew_absence_id}")
def delete_absence(connection: SiteConnection, crew_id: Number, crew_absence_id: Number) -> Response:
    """Take days off back; the answer is the crew."""
    return _crew(connection, service.remove_absence(connection, crew_id, crew_absence_id))


@router.post("/absences", status_code=201)
def post_absences(connection: SiteConnection, body: AbsenceBody) -> Response:
    """Give every crew that is there days off, such as a public holiday; the answer is what is new."""
    return _json({"added": service.add_absence(connection, None, body.from_on, body.until_on, body.reason)}, status=201)


@router.get("/outages")
def list_outages(connection: SiteConnection) -> Response:
    """Outages, the first to come first."""
    return _json({"outages": service.list_outages(connection)})


@router.post("/outages", status_code=201)
def post_outage(connection: SiteConnection, site: str, body: OutageBody) -> Response:
    """Add an outage."""
    outage = service.add_outage(connection, body.as_request())
    return _outage(outage, status=201, location=f"/api/v1/sites/{site}/outages/{outage.outage_id}")


@router.get("/outages/{outage_id}")
def read_outage(connection: SiteConnection, outage_id: Number) -> Response:
    """One outage; its ETag is what a change says it saw."""
    return _outage(service.read_outage(connection, outage_id))


@router.put("/outages/{outage_id}")
def put_outage(connection: SiteConnection, outage_id: Number, body: OutageBody, if_match: IfMatch = None) -> Response:
    """Make an outage as given, over the revision in If-Match; plans that are made stand, the next one sees it."""
    with _seen():
        return _outage(service.change_outage(connection, outage_id, body.as_request(), revision_in(if_match)))


@router.delete("/outages/{outage_id}", status_code=204)
def delete_outage(connection: SiteConnection, outage_id: Number, if_match: IfMatch = None) -> Response:
    """Remove the outage of the revision in If-Match."""
    with _seen():
        service.remove_outage(connection, outage_id, revision_in(if_match))
    return Response(status_code=204)


@contextmanager
def _seen() -> Generator[None]:
    try:
        yield
    except (CrewChangedSince, OutageChangedSince) as exc:
        raise HTTPException(412, str(exc)) from exc


def _crew_row(crew: Crew, absences: Sequence[CrewAbsence]) -> dict[str, Any]:
    return {**asdict(crew), "absences": [absence for absence in absences if absence.crew_id == crew.crew_id]}


def _crew(connection: Connection, crew: Crew, *, status: int = 200, location: str | None = None) -> Response:
    row = _crew_row(crew, list_absences(connection, crew.crew_id))
    return _json(row, status=status, headers=_headers(crew.revision, location))


def _outage(outage: Outage, *, status: int = 200, location: str | None = None) -> Response:
    return _json(outage, status=status, headers=_headers(outage.revision, location))


def _headers(revision: int, location: str | None) -> dict[str, str]:
    return {"ETag": etag(revision)} | ({} if location is None else {"Location": location})


def _json(content: Any, *, status: int = 200, headers: dict[str, str] | None = None) -> Response:
    return Response(orjson.dumps(content), status_code=status, media_type="application/json", headers=headers)

"""Record a make-up on a phone, from a scanned tag; its verdict at once; the tag itself."""

from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Annotated
from urllib.parse import urlencode
from uuid import UUID

import segno
from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import RedirectResponse
from starlette.datastructures import FormData

from dashboards.make_up_contexts import AskedStep, JointTagPage, MakeUpFormPage, MakeUpRecordPage, Way
from dashboards.pages.frame import InPage, PageRequest, place_words
from dashboards.pages.make_up_sheet import (
    STEP,
    answers_before,
    load_words,
    order_words,
    pass_rows,
    steps_known_before,
    torque_words,
    turns_words,
)
from dashboards.pages.plan import plan_grid
from dashboards.pages.reports import SentForm, fresh_uuid, moment_text
from dashboards.rendering import render
from dashboards.words import DUE_REASON_WORDS
from registry.assembly.model import MakeUpSent
from registry.assembly.service import record_make_up
from registry.errors import Issue
from registry.intervals.model import DUE_REASONS
from registry.intervals.store import read_due
from registry.makeup.instructions import Instructions, instructions
from registry.makeup.model import MakeUp, MakeUpUnfit, MakeUpUnknown
from registry.makeup.procedures import MAKE_UP_KINDS, MakeUpKind, Procedure, Step
from registry.makeup.service import procedure_of, procedures_of_joint
from registry.makeup.store import list_make_ups
from registry.overview import store
from registry.overview.model import JointRecord, TagUnknown
from registry.papers.service import people, tools
from registry.web.clock import Now

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

Text = Annotated[str, Query(max_length=200)]


@ROUTER.get("/joints/{tag:path}/make-up")
def get_make_up_form(
    page: InPage,
    request: Request,
    tag: str,
    clock: Now,
    procedure: Text = "",
    kind: Text = "",
    after: int | None = None,
) -> Response:
    """The steps that apply to the joint's family and size, the method and the kind of make-up."""
    joint = _joint(page, tag)
    fitting = procedures_of_joint(page.connection, joint.tag)
    chosen = next((each for each in fitting if each.code == procedure), fitting[0] if fitting else None)
    earlier = list_make_ups(page.connection, joint_id=joint.joint_id)
    wanted = _kind(kind, earlier)
    before = next((each for each in earlier if each.make_up_id == after), None)
    first = steps_known_before(chosen, wanted) if chosen else ()
    known = answers_before(first, request.query_params)
    sheet = instructions(chosen, wanted, known) if chosen else None
    asked = _asked(page, sheet, before, known)
    return render(
        MakeUpFormPage(
            frame=page.frame(f"Make-up of {joint.tag}", "make-up"),
            tag=joint.tag,
            joint_href=page.joint_href(joint.tag),
            place=_place(page, joint),
            procedure=chosen,
            procedures=[_way(page, joint, each.title, each.code, wanted, each is chosen) for each in fitting],
            kinds=[
                _way(page, joint, words, chosen.code, each, each == wanted)
                for each, words in zip(MAKE_UP_KINDS, ("First make-up", "Re-make"), strict=True)
                if chosen
            ],
            kind=wanted,
            sheet=sheet,
            turns=turns_words(sheet) if sheet else None,
            torque=torque_words(sheet) if sheet else None,
            load=load_words(sheet) if sheet else None,
            passes=pass_rows(sheet) if sheet else [],
            order=order_words(sheet) if sheet else None,
            steps=asked,
            before=[each for each in asked if each.step in first],
            people=[person.name for person in people(page.connection)],
            fitter=before.fitter or "" if before else "",
            witness=before.witness or "" if before else "",
            action=f"{page.joint_href(joint.tag)}/make-up",
            client_uuid=fresh_uuid(),
            opened_at=moment_text(clock),
            today=page.today,
        )
    )


@ROUTER.post("/joints/{tag:path}/make-up")
def post_make_up(page: InPage, tag: str, form: SentForm) -> Response:
    """Judge and record it, and show the verdict."""
    answer = record_make_up(page.connection, _sent(tag, form, page.today), page.today)
    return RedirectResponse(f"{page.root}/make-ups/{answer.make_up_id}", status_code=303)


@ROUTER.get("/make-ups/{make_up_id}")
def get_make_up(page: InPage, make_up_id: int) -> Response:
    """One make-up: its verdict with every reason, and what was answered."""
    found = list_make_ups(page.connection, make_up_id=make_up_id)
    if not found:
        raise MakeUpUnknown(f"no make-up {make_up_id} in this site")
    record = found[0]
    due = read_due(page.connection, record.joint_id)
    procedure = None
    if record.procedure_code is not None:
        procedure = procedure_of(page.connection, record.procedure_code, record.procedure_version)
    reasons = record.reasons or []
    query = urlencode({"procedure": record.procedure_code or "", "kind": record.kind or "", "after": make_up_id})
    return render(
        MakeUpRecordPage(
            frame=page.frame(f"Make-up {make_up_id}", "make-up"),
            record=record,
            against=[each for each in reasons if each.get("kind") in ("refused", "questioned")],
            passed_over=[each for each in reasons if each.get("kind") not in ("refused", "questioned")],
            answers=_answers(record, procedure),
            joint_href=page.joint_href(record.tag),
            again_href=f"{page.joint_href(record.tag)}/make-up?{query}",
            due_on=due[0] if due else None,
            reason=DUE_REASON_WORDS[DUE_REASONS[due[1]]] if due else None,
            cautions=procedure.cautions if procedure else (),
            source=procedure.source if procedure else None,
        )
    )


@ROUTER.get("/joints/{tag:path}/tag")
def get_joint_tag(page: InPage, tag: str, request: Request) -> Response:
    """The joint's tag to be printed; its code leads a phone to the joint's page."""
    joint = _joint(page, tag)
    href = page.joint_href(joint.tag)
    address = f"{str(request.base_url).rstrip('/')}{href}"
    drawing = segno.make(address, error="m", micro=False)
    return render(
        JointTagPage(
            frame=page.frame(f"Tag of {joint.tag}", "plan"),
            tag=joint.tag,
            family=joint.family,
            service=joint.service,
            size_mm=joint.size_mm,
            place=_place(page, joint),
            area=joint.area,
            address=address,
            code=drawing.svg_inline(
                omitsize=True, svgclass="code", lineclass=None, border=4, dark="#000", light="#fff"
            ),
            joint_href=href,
        )
    )


def _joint(page: PageRequest, tag: str) -> JointRecord:
    joint = store.read_joint_record(page.connection, tag)
    if joint is None:
        raise TagUnknown(f"no joint '{tag}' in this site; the search in the head finds a part of a tag")
    return joint


def _place(page: PageRequest, joint: JointRecord) -> str:
    return place_words(plan_grid(page), joint.east_m, joint.north_m, joint.elevation_m)


def _kind(text: str, earlier: list[MakeUp]) -> MakeUpKind:
    """What was asked for; else a re-make where the joint was made up and accepted before."""
    for kind in MAKE_UP_KINDS:
        if kind == text:
            return kind
    return "re-make" if any(each.verdict == "accepted" and not each.superseded_by for each in earlier) else "first"


def _way(page: PageRequest, joint: JointRecord, words: str, code: str, kind: str, chosen: bool) -> Way:
    query = urlencode({"procedure": code, "kind": kind})
    return Way(words, f"{page.joint_href(joint.tag)}/make-up?{query}", chosen)


def _asked(
    page: PageRequest, sheet: Instructions | None, before: MakeUp | None, readings: Mapping[str, float]
) -> list[AskedStep]:
    """The steps, with the readings that are known. After a make-up that was not accepted its lots stand in the form
    too, and nothing that must be done anew."""
    if sheet is None:
        return []
    register = tools(page.connection)
    lots = {step.key for step in sheet.steps if step.kind == "lot"}
    values = {key: str(lot) for key, lot in ((before.answers or {}) if before else {}).items() if key in lots}
    values |= {key: f"{reading:g}" for key, reading in readings.items()}
    return [
        AskedStep(
            step=step,
            name=f"{STEP}{step.key}",
            value=values.get(step.key, ""),
            serials=[tool.serial for tool in register if step.kind == "tool" and tool.kind == step.tool],
        )
        for step in sheet.steps
    ]


def _sent(tag: str, form: FormData, today: date) -> MakeUpSent:
    def text(name: str) -> str:
        value = form.get(name, "")
        return value.strip() if isinstance(value, str) else ""

    try:
        client_uuid = UUID(text("client_uuid"))
        opened_at = datetime.fromisoformat(text("opened_at") or f"{today}T12:00:00+00:00").astimezone(UTC)
        made_up_on = date.fromisoformat(text("made_up_on")) if text("made_up_on") else opened_at.date()
    except ValueError as exc:
        raise MakeUpUnfit(
            "the make-up was not recorded", [Issue(None, "made_up_on", text("made_up_on"), str(exc))]
        ) from exc
    kind: MakeUpKind = "re-make" if text("kind") == "re-make" else "first"
    version = text("procedure_version")
    given = {name.removeprefix(STEP): text(name) for name in form if name.startswith(STEP)}
    numbers = {name.removeprefix(STEP) for name in form.getlist("number") if isinstance(name, str)}
    return MakeUpSent(
        tag=tag,
        made_up_on=made_up_on,
        fitter=text("fitter") or None,
        witness=text("witness") or None,
        client_uuid=client_uuid,
        kind=kind,
        procedure=text("procedure") or None,
        procedure_version=int(version) if version.isdigit() else None,
        answers={key: value.replace(",", ".") if key in numbers else value for key, value in given.items() if value},
        photos=[part.strip() for part in text("photos").split(";") if part.strip()],
        notes=text("notes") or None,
    )


def _answers(record: MakeUp, procedure: Procedure | None) -> list[tuple[str, str]]:
    asked: dict[str, Step] = {step.key: step for step in procedure.steps} if procedure else {}
    answers = record.answers or {}
    in_order = [key for key in asked if key in answers] + [key for key in answers if key not in asked]
    return [(asked[key].ask if key in asked else key, _said(answers[key], asked.get(key))) for key in in_order]


def _said(answer: object, step: Step | None) -> str:
    if isinstance(answer, bool):
        return "yes" if answer else "no"
    if isinstance(answer, int | float):
        return f"{answer:g} {step.unit if step else ''}".strip()
    return str(answer)

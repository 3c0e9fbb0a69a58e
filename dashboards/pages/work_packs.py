"""Work packs: open one, record its steps, hand it back, take the certificate."""

from datetime import datetime
from typing import Annotated
from uuid import UUID

from fastapi import APIRouter, Form, Response
from fastapi.responses import RedirectResponse

from dashboards.make_up_contexts import PackJointRow, WorkPackPage
from dashboards.pages.frame import InPage
from dashboards.pages.reports import fresh_uuid, moment_text
from dashboards.rendering import render, tag_path
from registry.completion.model import PackStepKind, StepReport
from registry.completion.service import certificate, hand_back, open_pack, read_completion, record_step
from registry.routes.model import CAUTIONS
from registry.web.clock import Now

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

Name = Annotated[str, Form(max_length=200)]


@ROUTER.post("/work-packs")
def post_pack(
    page: InPage,
    code: Annotated[str, Form(max_length=100)] = "",
    title: Annotated[str, Form(max_length=300)] = "",
    opened_by: Name = "",
    tags: Annotated[str, Form(max_length=100_000)] = "",
) -> Response:
    """Open a work pack and show it. Tags stand one a line, or with commas between."""
    wanted = tags.replace(",", "\n").splitlines()
    pack = open_pack(page.connection, code.replace("/", "-"), title, opened_by, wanted).pack
    return RedirectResponse(f"{page.root}/work-packs/{tag_path(pack.code)}", status_code=303)


@ROUTER.get("/work-packs/{code}")
def get_pack(page: InPage, code: str, clock: Now) -> Response:
    """What still stands open, joint by joint."""
    completion = read_completion(page.connection, code)
    return render(
        WorkPackPage(
            frame=page.frame(f"Work pack {code}", "make-up"),
            completion=completion,
            rows=[
                PackJointRow(
                    joint=joint,
                    href=page.joint_href(joint.tag),
                    make_up_href=f"{page.joint_href(joint.tag)}/make-up",
                    client_uuid=fresh_uuid(),
                )
                for joint in completion.joints
            ],
            root=f"{page.root}/work-packs/{tag_path(code)}",
            opened_at=moment_text(clock),
            cautions=CAUTIONS,
        )
    )


@ROUTER.post("/work-packs/{code}/steps")
def post_pack_step(
    page: InPage,
    code: str,
    tag: Annotated[str, Form()],
    step: Annotated[PackStepKind, Form()],
    client_uuid: Annotated[UUID, Form()],
    opened_at: Annotated[datetime, Form()],
    passed: Annotated[str, Form()] = "yes",
    done_by: Name = "",
) -> Response:
    """Record that a joint was broken or leak-tested."""
    report = StepReport(
        tag=tag,
        step=step,
        passed=passed == "yes",
        observed_at=opened_at,
        done_by=done_by,
        client_uuid=client_uuid,
    )
    record_step(page.connection, code, report, page.today)
    return RedirectResponse(f"{page.root}/work-packs/{tag_path(code)}", status_code=303)


@ROUTER.post("/work-packs/{code}/hand-back")
def post_hand_back(page: InPage, code: str, clock: Now, by: Name = "") -> Response:
    """Hand the system back; refused, with everything that stands open, while anything does."""
    hand_back(page.connection, code, by, clock)
    return RedirectResponse(f"{page.root}/work-packs/{tag_path(code)}", status_code=303)


@ROUTER.get("/work-packs/{code}/certificate.pdf")
def get_certificate(page: InPage, code: str) -> Response:
    """The certificate of completion."""
    return Response(certificate(page.connection, code, page.site.name), media_type="application/pdf")

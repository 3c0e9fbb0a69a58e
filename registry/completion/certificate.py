"""The certificate of completion of a work pack, as a PDF with real text."""

from pathlib import Path
from typing import Any, Final

import orjson
import typst

from registry.completion.model import Completion, PackJoint

TEMPLATE: Final = Path(__file__).with_name("certificate.typ")

CAUTIONS: Final = (
    "This certificate says what was recorded; it authorises nothing. The site's procedure, the permit to work, the "
    "local code and the qualified person in charge decide whether the system may be pressurised.",
    "Pressurise in steps, from a safe place. Never tighten, loosen or turn a joint that holds pressure: isolate, "
    "depressurise and vent first.",
    "Joints with bolts settle: their check after make-up stays due on its day.",
)
_HEADS: Final = (
    *("Joint", "Area", "Family, size", "Broken", "Made up again"),
    *("Fitter", "Witness", "Procedure", "Verdict", "Leak test"),
)


def certificate_pdf(completion: Completion, site_name: str) -> bytes:
    """The PDF of a work pack in which nothing stands open and that is handed back."""
    pack = completion.pack
    assert pack.handed_back_at is not None, "the service gives a certificate only then"
    case: dict[str, Any] = {
        "title": f"Certificate of completion {pack.code}",
        "site": site_name,
        "code": pack.code,
        "name": pack.title,
        "facts": [
            ["Site", site_name],
            ["Joints", str(len(completion.joints))],
            ["Opened", f"{pack.opened_at:%Y-%m-%d}, {pack.opened_by}"],
            ["Handed back", f"{pack.handed_back_at:%Y-%m-%d %H:%M} UTC, {pack.handed_back_by}"],
        ],
        "heads": _HEADS,
        "rows": [_row(joint) for joint in completion.joints],
        "cautions": CAUTIONS,
        "signatures": ["In charge of the work", "In charge of the system", "Witness"],
    }
    return typst.compile(TEMPLATE, sys_inputs={"case": orjson.dumps(case).decode()})


def _row(joint: PackJoint) -> list[str]:
    assert joint.broken_at is not None, "the joint is complete"
    assert joint.tested_at is not None, "the joint is complete"
    size = "" if joint.size_mm is None else f", {joint.size_mm:g} mm"
    procedure = "not named" if joint.procedure_code is None else f"{joint.procedure_code}, v{joint.procedure_version}"
    return [
        joint.tag,
        joint.area or "in no area",
        f"{joint.family.replace('_', ' ')}{size}",
        f"{joint.broken_at:%Y-%m-%d}, {joint.broken_by}",
        f"{joint.made_up_on}{f', by {joint.method}' if joint.method else ''}",
        joint.fitter or "not named",
        joint.witness or "none",
        procedure,
        joint.verdict or "",
        f"passed {joint.tested_at:%Y-%m-%d}, {joint.tested_by}",
    ]

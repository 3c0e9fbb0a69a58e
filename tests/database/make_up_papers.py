"""A small site with people, tools and calibrations, and a half-inch joint to be made up."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

from registry.assembly.model import MakeUpSent
from registry.db import Connection
from registry.intake.model import FileMapping, IntakeReport
from registry.intake.tables import read_table
from registry.intervals.service import score_plant
from registry.makeup.reading_procedures import shipped_procedures
from registry.papers.service import (
    import_calibrations,
    import_people,
    import_tools,
)
from tests.database.small_site import AS_OF, fill_site

HALF_INCH = {
    "tube-end": "yes",
    "depth-mark": "no",
    "inserted": "yes",
    "lubricated": "yes",
    "finger-tight": "yes",
    "witness-mark": "yes",
    "torque-wrench": "TW-014",
    "torqued": 150.0,
    "turned-by-torque": 1.0,
    "gap-gauge": "no",
    "ferrule-lot": "FL-2207",
}
PEOPLE = """name,family,size_from_mm,size_to_mm,valid_from_on,valid_until_on,certificate
Ann Fitter,ferrule_mp,,,2024-01-01,2026-12-15,Q-1
Ann Fitter,flanged,,300,2024-01-01,2028-12-31,Q-2
Ben Lapsed,ferrule_mp,,,2022-01-01,2025-12-31,Q-3
W. Witness,,,,,,
"""
TOOLS = """serial,kind,description,low_nm,high_lbf_ft
TW-014,torque wrench,click wrench,40,250
TW-015,torque wrench,click wrench,40,250
TW-016,torque wrench,never calibrated,40,250
GG-001,gap gauge,,,
"""
CALIBRATIONS = """serial,calibrated_on,valid_until_on,as_found,certificate
TW-014,2026-03-02,2027-03-01,in tolerance,C-14
TW-015,2025-03-02,2026-03-01,in tolerance,C-15
"""


def take_in(connection: Connection, take: Callable[..., IntakeReport], text: str, **kept: bool) -> IntakeReport:
    return take(
        connection, read_table(text.encode(), name="list.csv"), FileMapping(), kept.get("keep_valid", False), AS_OF
    )


def prepared(connection: Connection) -> str:
    """A scored site with papers; returns the tag of a half-inch medium-pressure joint that nothing happened to."""
    fill_site(connection, 30)
    for take, text in ((import_people, PEOPLE), (import_tools, TOOLS), (import_calibrations, CALIBRATIONS)):
        assert take_in(connection, take, text).issues == ()
    connection.execute(
        "INSERT INTO joint (site_id, tag, family_id, service_id, size_mm, location, pressure_barg, intake_id)"
        " SELECT current_site(), 'H2-0001', family_id, 1, 12.7, point(5, 5), 400, (SELECT min(intake_id) FROM intake)"
        " FROM family WHERE code = 'ferrule_mp'"
    )
    score_plant(connection, AS_OF)
    return "H2-0001"


def sent(tag: str, **changed: Any) -> MakeUpSent:
    """A half-inch medium-pressure joint made up by torque, with nothing wrong; `answers` go over the good ones."""
    answers = {**HALF_INCH, **changed.pop("answers", {})}
    whole: dict[str, Any] = {
        "tag": tag,
        "made_up_on": AS_OF,
        "fitter": "Ann Fitter",
        "witness": "W. Witness",
        "client_uuid": uuid4(),
        "method": "torque",
        "answers": answers,
        **changed,
    }
    return MakeUpSent(**whole)


def codes(reasons: list[dict[str, str]]) -> set[tuple[str, str]]:
    return {(reason["kind"], reason["code"]) for reason in reasons}


def own_procedure() -> dict[str, Any]:
    """A plant's own half-inch procedure, with a wider band."""
    steps = [step.key for step in procedure_named("ferrule-mp-half-inch-torque").steps]
    return {
        "procedure": [
            {
                "code": "ferrule-mp-half-inch-torque",
                "title": "Half inch, ours",
                "family": "ferrule_mp",
                "method": "torque",
                "size_from_mm": 12.5,
                "size_to_mm": 12.9,
                "steps": steps,
                "torque": {"target_n_m": 150.0, "band": 0.25, "turns": {"expected": 1.0, "tolerance": 0.25}},
                "source": "The plant's own procedure",
            }
        ]
    }


def procedure_named(code: str) -> Any:
    return next(each for each in shipped_procedures() if each.code == code)

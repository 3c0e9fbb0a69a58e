"""A joint as the joint list gives it, and the columns of that list."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final

from registry.errors import Invalid, NotFound, on_constraint
from registry.intake.model import Column
from registry.units import ATMOSPHERE_BAR

# A full vacuum is often rounded outwards (-14.7 psig, -1.014 barg); further below it no pressure can be.
_VACUUM_ROUNDED_BAR: Final = 0.001

JOINT_COLUMNS: Final = (
    Column(
        name="tag", required=True, longest=100,
        words=("tag", "tag no", "joint", "joint no", "joint tag", "joint id", "joint number", "item no"),
    ),
    Column(
        name="family", kind="choice", required=True,
        words=("family", "type", "joint type", "connection type", "fitting type", "connection"),
    ),
    Column(
        name="size_mm", kind="number", quantity="length", above=0,
        words=("size", "nominal size", "bore", "od", "tube od", "diameter", "dia", "dn"),
    ),
    Column(name="line", longest=100, words=("line", "line no", "line number", "line id", "pipe line")),
    Column(name="area", longest=100, words=("area", "unit", "plant area", "section", "module")),
    Column(
        name="service", kind="choice", required=True,
        words=("service", "fluid", "medium", "contents", "process fluid", "fluid service"),
    ),
    Column(
        name="east_m", kind="number", quantity="length", required=True,
        words=("east", "easting", "x", "e", "plant east", "x coord", "x coordinate"),
    ),
    Column(
        name="north_m", kind="number", quantity="length", required=True,
        words=("north", "northing", "y", "n", "plant north", "y coord", "y coordinate"),
    ),
    Column(
        name="elevation_m", kind="number", quantity="length",
        words=("elevation", "elev", "el", "z", "height", "z coord", "level"),
    ),
    Column(
        name="pressure_barg", kind="number", quantity="pressure", required=True,
        at_least=-ATMOSPHERE_BAR, slack=_VACUUM_ROUNDED_BAR, below_says="lies below absolute vacuum",
        words=("pressure", "press", "op press", "operating pressure", "operating press", "op pressure", "p"),
    ),
    Column(
        name="temperature_degc", kind="number", quantity="temperature",
        at_least=-273.15, below_says="lies below absolute zero",
        words=("temperature", "temp", "op temp", "operating temperature", "operating temp", "op temperature", "t"),
    ),
    Column(
        name="fitter", longest=100,
        words=("fitter", "made up by", "assembled by", "made by", "installer", "installed by"),
    ),
    Column(
        name="made_up_on", kind="date", not_in_future=True,
        words=("made up", "date made up", "make up date", "made", "assembled", "date assembled", "assembly date"),
    ),
    Column(
        name="make_up_method", kind="choice",
        choices={
            "turns": ("turn", "by turns", "turns past finger tight"),
            "torque": ("torqued", "torque wrench", "by torque"),
            "tension": ("tensioned", "tensioning", "bolt tensioning", "by tension"),
        },
        words=("method", "make up method", "tightening", "tightening method", "assembly method", "tightened by"),
    ),
    Column(
        name="vibration_mm_s", kind="number", quantity="velocity", at_least=0,
        words=("vibration", "vib", "velocity", "vibration velocity", "vib vel"),
    ),
    Column(
        name="vibration_hz", kind="number", quantity="frequency", above=0,
        words=("frequency", "freq", "vibration frequency", "vib freq"),
    ),
    Column(
        name="thermal_cycles_per_year", kind="number", quantity="yearly_count", at_least=0,
        words=("cycles", "thermal cycles", "temperature cycles", "no of cycles"),
    ),
    Column(
        name="thermal_range_degc", kind="number", quantity="temperature_difference", at_least=0,
        words=("thermal range", "dt", "delta t", "temperature range", "temp range", "temperature swing", "cycle range"),
    ),
    Column(
        name="access", kind="choice",
        choices={
            "grade": ("ground", "ground level", "at grade"),
            "platform": ("deck", "walkway"),
            "ladder": ("fixed ladder",),
            "scaffold": ("scaffolding", "scaff", "scaffold required"),
        },
        words=("access", "access by", "reached by", "access type"),
    ),
    Column(
        name="requires_outage", kind="yes_no",
        words=("requires outage", "outage", "shutdown", "shutdown required", "s d req d", "s d", "outage required"),
    ),
    Column(name="notes", words=("notes", "note", "remarks", "remark", "comments", "comment")),
)  # fmt: skip


class JointUnknown(NotFound):
    """There is no such joint"""

    slug = "joint-unknown"


class RegisterNotReady(Invalid):
    """The site has no policy yet, so no joint families"""

    slug = "register-not-ready"


@on_constraint("joint_tag_unique")
class TagTaken(Invalid):
    """A joint with this tag is in the register already"""

    slug = "tag-taken"


@dataclass(frozen=True, slots=True)
class Known:
    """A family or a service of the site: its id, its name, and the other names that the policy gives it."""

    id: int
    name: str
    aliases: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Joint:
    """A joint as the joint list last gave it; None is 'not given'."""

    joint_id: int
    tag: str
    family: str
    service: str
    line: str | None
    area: str | None
    size_mm: float | None
    east_m: float
    north_m: float
    elevation_m: float | None
    pressure_barg: float
    temperature_degc: float | None
    fitter: str | None
    made_up_on: date | None
    make_up_method: str | None
    vibration_mm_s: float | None
    vibration_hz: float | None
    thermal_cycles_per_year: float | None
    thermal_range_degc: float | None
    access: str | None
    requires_outage: bool | None
    notes: str | None
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class JointFilter:
    """Which joints are meant; None leaves a matter open. `tag_contains` minds no case."""

    area: str | None = None
    family: str | None = None
    service: str | None = None
    line: str | None = None
    tag_contains: str | None = None


def joint_columns(families: Sequence[Known], services: Sequence[Known]) -> tuple[Column, ...]:
    """The columns of a joint list, with the site's own families and services as the choices."""
    choices: Mapping[str, Sequence[Known]] = {"family": families, "service": services}
    return tuple(
        replace(column, choices={known.name: known.aliases for known in choices[column.name]})
        if column.name in choices
        else column
        for column in JOINT_COLUMNS
    )

"""A list of make-ups as a file has it. The record itself, with tools and readings, is yet to come."""

from typing import Final

from registry.errors import Conflict, on_constraint
from registry.intake.model import Column

MAKE_UP_COLUMNS: Final = (
    Column(name="tag", required=True, words=("joint", "joint tag", "joint no")),
    Column(name="made_up_on", kind="date", required=True, not_in_future=True, words=("made up", "made up on", "date")),
    Column(name="fitter", longest=200, words=("made up by", "name")),
    Column(name="witness", longest=200, words=("witnessed by", "checked by")),
    Column(
        name="method",
        kind="choice",
        choices={"turns": ("turn",), "torque": ("torqued", "torque wrench"), "tension": ("tensioned", "tensioner")},
        words=("make-up method", "tightened by"),
    ),
    Column(
        name="verdict",
        kind="choice",
        required=True,
        choices={
            "accepted": ("accept", "ok", "pass", "passed"),
            "not accepted": ("refused", "rejected", "fail", "failed"),
        },
        words=("result", "accepted"),
    ),
    Column(name="notes", words=("remarks", "comment")),
)


@on_constraint("make_up_once")
class MakeUpRecordedTwice(Conflict):
    """The same make-up was recorded before"""

    slug = "make-up-recorded-twice"

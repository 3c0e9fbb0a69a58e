"""The filters that stand in the address bar."""

from typing import Annotated

from fastapi import Depends, Query

from registry.errors import Issue
from registry.overview.model import DUE_STATES, FilterUnknown, JointFilter

Text = Annotated[str, Query(max_length=200)]


def _wanted(area: Text = "", family: Text = "", service: Text = "", due: Text = "") -> JointFilter:
    if due and due not in DUE_STATES:
        reason = f"is none of {', '.join(DUE_STATES)}"
        raise FilterUnknown("there is no such due state", [Issue(None, "due", due, reason)])
    return JointFilter(area or None, family or None, service or None, due or None)


Wanted = Annotated[JointFilter, Depends(_wanted)]

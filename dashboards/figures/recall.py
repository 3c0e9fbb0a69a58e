"""A recall's joints on the plan: filled is open, hollow is closed, a triangle is overdue."""

from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from dashboards.figures.plan import plan_figure
from dashboards.figures.ruling import INK, PAPER
from registry.overview.model import PlanShape
from registry.recalls.model import JointState, RecalledJoint

_SYMBOLS: Final[dict[JointState, str]] = {
    "overdue": "triangle-up",
    "open": "circle",
    "checked": "circle",
    "made again": "circle",
}
_PAD_M = 12.0


def recall_figure(shapes: Sequence[PlanShape], joints: Sequence[RecalledJoint], today: date) -> dict[str, Any] | None:
    """The plan under the joints, round them; None where there is none. No colour: that is kept for risk."""
    if not joints:
        return None
    figure = plan_figure(shapes)
    states: list[JointState] = [joint.state(today) for joint in joints]
    east, north = [joint.east_m for joint in joints], [joint.north_m for joint in joints]
    figure["data"].append(
        {
            "type": "scatter",
            "mode": "markers",
            "x": east,
            "y": north,
            "text": [f"{joint.tag}: {state}" for joint, state in zip(joints, states, strict=True)],
            "hovertemplate": "%{text}<extra></extra>",
            "marker": {
                "symbol": [_SYMBOLS[state] for state in states],
                "size": 10,
                "color": [INK if state in ("open", "overdue") else PAPER for state in states],
                "line": {"color": INK, "width": 1.4},
            },
            "uid": "recalled",
        }
    )
    layout = figure["layout"]
    layout["hovermode"] = "closest"
    layout["margin"] = {"l": 2, "r": 2, "t": 2, "b": 2}
    layout["xaxis"] |= {"range": [min(east) - _PAD_M, max(east) + _PAD_M]}
    layout["yaxis"] |= {"range": [min(north) - _PAD_M, max(north) + _PAD_M], "scaleanchor": "x"}
    return figure

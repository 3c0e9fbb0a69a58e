"""What happened to one joint, on one time line."""

from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from dashboards.figures.ruling import FAINT, INK, INK_2, PAPER, ruled_axis, ruled_layout
from registry.overview.model import HistoryEntry

LANES: Final = ("vibration reading", "leak and repair", "check", "make-up")
"""From the bottom up."""

_LANE: Final = {"reading": 0, "leak": 1, "repair": 1, "check": 2, "make_up": 3}
# Filled is bad news, open is not: weeping, leaking, not accepted, a leak.
_SYMBOLS: Final = {
    "reading": "line-ns-open",
    "leak": "star-triangle-up",
    "repair": "square-open",
    "check": "circle-open",
    "make_up": "diamond-open",
}
_FILLED: Final = {"weeping": "circle", "leaking": "circle", "not_reached": "x-thin-open"}


def timeline_figure(history: Sequence[HistoryEntry], today: date, due_on: date | None) -> dict[str, Any] | None:
    """Lanes of make-ups, checks, leaks and readings, with today and the due date; None where nothing happened."""
    shown = [entry for entry in history if entry.kind in _LANE and not entry.superseded]
    if not shown:
        return None
    trace = {
        "type": "scatter",
        "mode": "markers",
        "x": [entry.at.isoformat() for entry in shown],
        "y": [_LANE[entry.kind] for entry in shown],
        "text": [_words(entry) for entry in shown],
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {
            "symbol": [_symbol(entry) for entry in shown],
            "size": 12,
            "color": INK,
            "line": {"color": INK, "width": 1.6},
        },
    }
    # The names of the two lines stand to either side, so that they do not meet when the days do.
    overdue = due_on is not None and due_on < today
    lines = [_upright(today, "today", "dot", "left" if overdue else "right")]
    if due_on is not None:
        lines.append(_upright(due_on, "due", "solid", "right" if overdue else "left"))
    layout = ruled_layout(
        margin={"l": 126, "r": 20, "t": 22, "b": 32},
        xaxis=ruled_axis(type="date"),
        yaxis=ruled_axis(
            tickvals=list(range(len(LANES))), ticktext=list(LANES), range=[-0.6, 3.6], ticks="", showline=False
        ),
        shapes=[line for line, _ in lines],
        annotations=[words for _, words in lines],
    )
    return {"data": [trace], "layout": layout, "narrow": {"margin": {"l": 108, "r": 12, "t": 22, "b": 32}}}


def _symbol(entry: HistoryEntry) -> str:
    if entry.kind == "check":
        return _FILLED.get(entry.what, _SYMBOLS["check"])
    if entry.kind == "make_up" and entry.what.startswith("not accepted"):
        return "diamond"
    return _SYMBOLS[entry.kind]


def _words(entry: HistoryEntry) -> str:
    number = "" if entry.number is None else f", {entry.number:.4g} {'mm/s' if entry.kind == 'reading' else 'ppmv'}"
    return f"{entry.at:%Y-%m-%d}: {entry.what.replace('_', ' ')}{number}"


def _upright(on: date, words: str, dash: str, anchor: str) -> tuple[dict[str, Any], dict[str, Any]]:
    line = {
        "type": "line",
        "x0": on.isoformat(),
        "x1": on.isoformat(),
        "y0": 0,
        "y1": 1,
        "yref": "paper",
        "line": {"color": INK_2 if dash == "dot" else INK, "width": 1.4, "dash": dash},
    }
    note = {
        "x": on.isoformat(),
        "xanchor": anchor,
        "y": 1,
        "yref": "paper",
        "yanchor": "bottom",
        "text": words,
        "showarrow": False,
        "font": {"size": 11, "color": INK_2, "family": "var(--lettering)"},
        "bgcolor": PAPER,
        "bordercolor": FAINT,
    }
    return line, note

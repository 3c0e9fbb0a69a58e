"""The one layout that all figures share: hairlines, ink, no colour."""

from typing import Any

INK = "var(--ink)"
INK_2 = "var(--ink-2)"
HAIR = "var(--hair)"
FAINT = "var(--faint)"
PAPER = "var(--paper)"


def ruled_layout(**changes: Any) -> dict[str, Any]:
    """A layout in the look of the sheet."""
    layout: dict[str, Any] = {
        "paper_bgcolor": PAPER,
        "plot_bgcolor": PAPER,
        "font": {"family": "var(--text)", "size": 13, "color": INK},
        "margin": {"l": 60, "r": 16, "t": 12, "b": 44},
        "showlegend": False,
        "hovermode": "closest",
        "dragmode": False,
        "hoverlabel": {"bgcolor": PAPER, "bordercolor": INK, "font": {"color": INK, "family": "var(--text)"}},
        "xaxis": ruled_axis(),
        "yaxis": ruled_axis(),
    }
    for name, value in changes.items():
        layout[name] = {**layout[name], **value} if isinstance(layout.get(name), dict) else value
    return layout


def ruled_axis(**changes: Any) -> dict[str, Any]:
    """An axis as a hairline with outside ticks."""
    return {
        "showgrid": True,
        "gridcolor": FAINT,
        "gridwidth": 1,
        "zeroline": False,
        "showline": True,
        "linecolor": INK,
        "linewidth": 1,
        "ticks": "outside",
        "ticklen": 5,
        "tickcolor": INK,
        "fixedrange": True,
        **changes,
    }

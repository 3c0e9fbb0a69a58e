"""Codes in the trade's words, as pages say them."""

from collections.abc import Mapping
from typing import Final

from registry.overview.risk_bands import BAND_EDGES, BAND_WORDS

DUE_STATE_WORDS: Final[Mapping[str, str]] = {
    "overdue": "overdue",
    "due_soon": "due within 30 days",
    "later": "due later",
}

DUE_REASON_WORDS: Final[Mapping[str, str]] = {
    "interval": "its interval",
    "settling": "settling check after make-up",
    "retightening": "bolt load has settled",
    "leak_nearby": "a leak nearby on its line",
    "no_record": "no record of a check",
    "recall": "a recall of how it was made up",
}

LIMIT_WORDS: Final[Mapping[str, str]] = {
    "risk": "the tolerable leak rate of its class",
    "floor": "the shortest interval of its class",
    "cap": "the longest interval of its class",
    "override": "an engineer's decision",
}

RESULT_WORDS: Final[Mapping[str, str]] = {
    "tight": "tight",
    "retightened": "retightened",
    "weeping": "weeping",
    "leaking": "leaking",
    "not_reached": "not reached",
}

ACCESS_WORDS: Final[Mapping[str, str]] = {
    "grade": "from grade",
    "platform": "from a platform",
    "ladder": "by ladder",
    "scaffold": "by scaffold",
}

HORIZON_WORDS: Final[Mapping[str, str]] = {
    "frozen": "stays as it was",
    "planned": "moving costs",
    "forecast": "free to move",
}

KIND_WORDS: Final[Mapping[str, str]] = {
    "make_up": "make-up",
    "check": "check",
    "leak": "leak",
    "repair": "repair",
    "reading": "vibration reading",
    "override": "decision",
    "change": "joint list changed",
}


def band_legend() -> tuple[str, ...]:
    """The five bands in words with their edges.

    >>> band_legend()[0], band_legend()[4]
    ('very low: below 0.01', 'very high: 0.3 and above')
    """
    lows, highs = (0.0, *BAND_EDGES), (*BAND_EDGES, None)
    texts: list[str] = []
    for words, low, high in zip(BAND_WORDS, lows, highs, strict=True):
        if high is None:
            texts.append(f"{words}: {low:g} and above")
        elif low == 0.0:
            texts.append(f"{words}: below {high:g}")
        else:
            texts.append(f"{words}: {low:g} to {high:g}")
    return tuple(texts)

"""The layer mapping: a small TOML file that says what a drawing's layers mean.

units = "feet"                  # only where the drawing does not say, or says it wrongly

[layers]
A-AREA = "area"
S-BLDG = "obstacle"
C-WALK-EL = { kind = "walkway", elevation_m = 5.5, width_m = 1.2 }
A-TEXT = "label"                # texts that name what they stand in

[occupancy]
"30 Synthesis loop" = "frequent"
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, cast

from registry.errors import Issue
from registry.plant.model import KINDS, OCCUPANCIES, PlanRefused

LABEL = "label"
UNITS_M = {
    "metres": 1.0,
    "centimetres": 0.01,
    "millimetres": 0.001,
    "feet": 0.3048,
    "us_survey_feet": 1200 / 3937,
    "inches": 0.0254,
}
_SECTIONS = ("units", "layers", "occupancy")


@dataclass(frozen=True, slots=True)
class LayerMeaning:
    """The kind of feature that a layer's entities are, and the properties that they share."""

    kind: str
    properties: Mapping[str, Any] = field(default_factory=dict[str, Any])


@dataclass(frozen=True, slots=True)
class LayerMapping:
    """What each layer of a drawing means. `units` None leaves it to the drawing."""

    layers: Mapping[str, LayerMeaning]
    units: str | None = None
    occupancy: Mapping[str, str] = field(default_factory=dict[str, str])

    def meaning(self, layer: str) -> LayerMeaning | None:
        """A layer's meaning; drawings hold layer names without regard to letter case."""
        return self.layers.get(layer.casefold())


def read_layer_mapping(content: bytes) -> LayerMapping:
    """The mapping in a TOML file. Raises PlanRefused with every fault in it."""
    try:
        document = tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as exc:
        raise PlanRefused("the layer mapping is not UTF-8 text") from exc
    except tomllib.TOMLDecodeError as exc:
        raise PlanRefused(f"the layer mapping is not TOML: {exc}") from exc
    issues = [
        Issue(None, key, None, f"the mapping knows {', '.join(_SECTIONS)}") for key in document if key not in _SECTIONS
    ]
    units = document.get("units")
    if units is not None and units not in UNITS_M:
        issues.append(Issue(None, "units", str(units), f"it is one of {', '.join(UNITS_M)}"))
    layers: dict[str, LayerMeaning] = {}
    listed = _table(document, "layers", issues)
    for layer, given in listed.items():
        entry = cast("dict[str, Any]", given) if isinstance(given, dict) else {"kind": given}
        kind = entry.get("kind")
        if kind not in KINDS and kind != LABEL:
            issues.append(Issue(None, f"layers.{layer}", str(kind), f"it is one of {', '.join(KINDS)}, {LABEL}"))
            continue
        layers[layer.casefold()] = LayerMeaning(
            str(kind), {key: value for key, value in entry.items() if key != "kind"}
        )
    if not listed and not issues:
        issues.append(Issue(None, "layers", None, "the mapping names no layer"))
    occupancy = _table(document, "occupancy", issues)
    issues += [
        Issue(None, f"occupancy.{area}", str(value), f"it is one of {', '.join(OCCUPANCIES)}")
        for area, value in occupancy.items()
        if value not in OCCUPANCIES
    ]
    if issues:
        raise PlanRefused("the layer mapping was refused", issues)
    return LayerMapping(
        layers, units, {" ".join(area.casefold().split()): str(value) for area, value in occupancy.items()}
    )


def _table(document: Mapping[str, Any], key: str, issues: list[Issue]) -> dict[str, Any]:
    value = document.get(key, {})
    if isinstance(value, dict):
        return cast("dict[str, Any]", value)
    issues.append(Issue(None, key, str(value), "it is a table"))
    return {}

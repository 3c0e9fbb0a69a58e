"""Which text in a drawing names which outline or point."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import MultiPolygon, Point, Polygon

from registry.plant.dxf_mapping import LABEL
from registry.plant.features import DrawingFault, Place, PlanReading, RawFeature

# Own method: a text within this distance of a gate or machine names it.
NEAR_M = 5.0


@dataclass(frozen=True, slots=True)
class Label:
    """A text, where it stands, how high its letters are, and the kind of its layer."""

    place: Place
    text: str
    at: Point
    height_m: float
    kind: str


def name_features(reading: PlanReading, labels: Sequence[Label], occupancy: Mapping[str, str]) -> PlanReading:
    """Name each outline by the text inside it (of several the largest), each gate and machine by the nearest.

    Areas get their occupancy by name. A text on an area layer that lies in no outline is refused: an outline is
    missing. Texts that name nothing elsewhere, and second texts, are faults of the drawing.
    """
    features, issues, faults = list(reading.features), list(reading.issues), list(reading.faults)
    chosen: dict[int, Label] = {}
    # Largest letters first, then from the north, so that the outcome does not hang on the order in the file.
    for label in sorted(labels, key=lambda label: (-label.height_m, -label.at.y, label.at.x, label.text)):
        if not label.text:
            continue
        holders = _holders(label, features)
        free = [index for index in holders if index not in chosen and features[index].name is None]
        if free:
            chosen[free[0]] = label
        elif not holders and label.kind == "area":
            at = f"east {label.at.x:.2f} m, north {label.at.y:.2f} m"
            reason = f"this text at {at} lies in no area outline: the outline is missing"
            issues.append(label.place.issue("name", label.text, reason))
        else:
            why = "names something that has a name already" if holders else "names nothing near it"
            faults.append(
                DrawingFault(f"the text '{label.text}' {why}", label.at.x, label.at.y, where=label.place.where)
            )
    for index, label in chosen.items():
        features[index] = replace(features[index], name=label.text)
    for index, feature in enumerate(features):
        given = occupancy.get(" ".join((feature.name or "").casefold().split()))
        if feature.kind == "area" and given is not None:
            features[index] = replace(feature, properties={**feature.properties, "occupancy": given})
    return PlanReading(features, issues, faults)


def _holders(label: Label, features: Sequence[RawFeature]) -> list[int]:
    found: list[tuple[bool, float, int]] = []
    for index, feature in enumerate(features):
        if label.kind not in (LABEL, feature.kind):
            continue
        shape = feature.geometry
        if isinstance(shape, Polygon | MultiPolygon):
            if shapely.intersects_xy(shape, label.at.x, label.at.y):
                found.append((feature.kind != "area", shape.area, index))
        elif isinstance(shape, Point) and shape.distance(label.at) <= NEAR_M:
            found.append((True, shape.distance(label.at), index))
    return [index for _, _, index in sorted(found)]

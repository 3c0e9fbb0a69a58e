"""A drawing (DXF) in, by a layer mapping: outlines, lines, points and the texts that name them."""

import io
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from ezdxf import recover
from ezdxf.document import Drawing
from ezdxf.entities.circle import Circle
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.insert import Insert
from ezdxf.entities.mtext import MText
from ezdxf.entities.point import Point as DxfPoint
from ezdxf.entities.text import Text
from ezdxf.lldxf.const import DXFError
from ezdxf.math import Vec3
from ezdxf.path import make_path
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from registry.plant.dxf_labels import Label, name_features
from registry.plant.dxf_mapping import LABEL, UNITS_M, LayerMapping, LayerMeaning
from registry.plant.dxf_outlines import OpenLine, closed_outlines
from registry.plant.features import DrawingFault, Place, PlanReading, RawFeature
from registry.plant.model import PlanRefused

OUTLINE_KINDS = ("area", "equipment", "obstacle")
POINT_KINDS = ("gate", "vibration_source")
# Own method: a curve is read as chords no farther from it than a hand's breadth; ends within a centimetre are one.
CHORD_M = 0.1
CLOSED_M = 0.01
DEEPEST_BLOCK = 16

_UNITS_OF_FILE = {1: "inches", 2: "feet", 4: "millimetres", 5: "centimetres", 6: "metres", 21: "us_survey_feet"}
_PATHS = ("LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE")


@dataclass(frozen=True, slots=True)
class _Entity:
    """An entity out of whatever blocks it stood in, with the layer and handle that a person can find."""

    entity: DXFGraphic
    layer: str
    handle: str
    attributes: dict[str, str]

    @property
    def place(self) -> Place:
        return Place(None, f"layer {self.layer}, handle {self.handle}")


def read_dxf(content: bytes, mapping: LayerMapping) -> PlanReading:
    """The features of a drawing's model space, as the mapping reads its layers.

    Texts inside an outline name it, and texts near a gate or machine name that. Raises PlanRefused when the file is
    no drawing, when nobody says its unit, or when it has nothing on any mapped layer.
    """
    drawing, faults = _drawing(content)
    unit, fault = _unit(drawing, mapping)
    scale = UNITS_M[unit]
    if fault is not None:
        faults.append(fault)
    reading = PlanReading([], [], faults)
    labels: list[Label] = []
    open_lines: dict[str, list[OpenLine]] = {}
    seen_layers: set[str] = set()
    unmapped: dict[str, int] = {}
    for item in _entities(drawing, mapping, reading.faults):
        meaning = mapping.meaning(item.layer)
        if meaning is None:
            unmapped[item.layer] = unmapped.get(item.layer, 0) + 1
            continue
        seen_layers.add(item.layer.casefold())
        if isinstance(item.entity, Text | MText):
            labels.append(_label(item, meaning, scale))
        elif meaning.kind != LABEL:
            _take(item, meaning, scale, reading, open_lines)
    for layer, lines in open_lines.items():
        meaning = mapping.layers[layer]
        outlines, issues = closed_outlines(lines)
        reading.features.extend(_raw(place, meaning, outline, {}) for place, outline in outlines)
        reading.issues.extend(issues)
    if not reading.features and not reading.issues:
        raise PlanRefused(
            f"the drawing has nothing on the mapped layers; it has {', '.join(sorted(unmapped)) or 'nothing at all'}"
        )
    for layer, count in sorted(unmapped.items()):
        reading.faults.append(
            DrawingFault(f"{count} entities are not read: the layer is not mapped", where=f"layer {layer}")
        )
    for layer in sorted(set(mapping.layers) - seen_layers):
        reading.faults.append(DrawingFault("the mapping names this layer and nothing is on it", where=f"layer {layer}"))
    return name_features(reading, labels, mapping.occupancy)


def _drawing(content: bytes) -> tuple[Drawing, list[DrawingFault]]:
    if not content.strip():
        raise PlanRefused("the file is empty")
    try:
        drawing, auditor = recover.read(io.BytesIO(content))
    except (DXFError, OSError, ValueError, KeyError, IndexError, TypeError, AttributeError) as exc:
        # The reader was made for damaged drawings; what it cannot make sense of fails in many ways.
        raise PlanRefused(f"the file is no drawing that can be read: {exc}") from exc
    faults = [DrawingFault(f"damage in the file: {error.message}") for error in auditor.errors]
    return drawing, faults


def _unit(drawing: Drawing, mapping: LayerMapping) -> tuple[str, DrawingFault | None]:
    code = int(drawing.header.get("$INSUNITS", 0))
    says = _UNITS_OF_FILE.get(code)
    if mapping.units is not None:
        if says is not None and says != mapping.units:
            return mapping.units, DrawingFault(
                f"the drawing says its unit is {says}; the mapping's {mapping.units} was taken"
            )
        return mapping.units, None
    if says is None:
        reason = (
            f'the drawing does not say its unit (code {code}): put units = "metres", or what it is, into the mapping'
        )
        raise PlanRefused(reason)
    return says, None


def _entities(drawing: Drawing, mapping: LayerMapping, faults: list[DrawingFault]) -> Iterator[_Entity]:
    for entity in drawing.modelspace():
        handle = str(entity.dxf.handle)
        yield from _unfolded(entity, str(entity.dxf.layer), handle, mapping, faults, 0)


def _unfolded(
    entity: DXFEntity, layer: str, handle: str, mapping: LayerMapping, faults: list[DrawingFault], depth: int
) -> Iterator[_Entity]:
    if not isinstance(entity, DXFGraphic):
        return
    if not isinstance(entity, Insert):
        yield _Entity(entity, layer, handle, {})
        return
    where = f"layer {layer}, handle {handle}"
    if depth >= DEEPEST_BLOCK:
        faults.append(DrawingFault("blocks inside blocks too deep: not read", where=where))
        return
    block = entity.block()
    if block is None or block.block is None or block.block.is_xref:
        faults.append(DrawingFault(f"the block '{entity.dxf.name}' is not in this file: not read", where=where))
        return
    for single in entity.multi_insert() if entity.mcount > 1 else (entity,):
        attributes = {str(attribute.dxf.tag).casefold(): str(attribute.dxf.text) for attribute in single.attribs}
        meaning = mapping.meaning(layer)
        if meaning is not None and meaning.kind in POINT_KINDS:
            yield _Entity(single, layer, handle, attributes)
            continue
        for attribute in single.attribs:
            yield _Entity(attribute, layer, handle, {})
        for part in single.virtual_entities():
            # Layer 0 in a block means the layer on which the block stands.
            own = str(part.dxf.layer)
            yield from _unfolded(part, layer if own == "0" else own, handle, mapping, faults, depth + 1)


def _take(
    item: _Entity, meaning: LayerMeaning, scale: float, reading: PlanReading, open_lines: dict[str, list[OpenLine]]
) -> None:
    if meaning.kind in POINT_KINDS or isinstance(item.entity, DxfPoint):
        feature = _point_feature(item, meaning, scale)
        if feature is None:
            reading.faults.append(
                DrawingFault(f"a {item.entity.dxftype()} is not read as a {meaning.kind}", where=item.place.where)
            )
        else:
            reading.features.append(feature)
        return
    if item.entity.dxftype() not in _PATHS:
        fault = f"a {item.entity.dxftype()} cannot be read as {meaning.kind}: it is left out"
        reading.faults.append(DrawingFault(fault, where=item.place.where))
        return
    vertices, closed = _vertices(item.entity, scale)
    if not np.isfinite(vertices).all():
        reading.issues.append(
            item.place.issue("geometry", None, f"this {meaning.kind} has a coordinate that is not a finite number")
        )
    elif len(vertices) < 2:
        reading.issues.append(item.place.issue("geometry", None, f"this {meaning.kind} has an empty geometry"))
    elif meaning.kind not in OUTLINE_KINDS:
        reading.features.append(_raw(item.place, meaning, LineString(_ring(vertices) if closed else vertices), {}))
    elif closed and len(vertices) >= 3:
        reading.features.append(_raw(item.place, meaning, Polygon(_ring(vertices)[:, :2]), {}))
    elif meaning.kind == "equipment" or meaning.properties.get("fence") is True:
        reading.features.append(_raw(item.place, meaning, LineString(vertices[:, :2]), {}))
    else:
        open_lines.setdefault(item.layer.casefold(), []).append(OpenLine(item.place, meaning.kind, vertices[:, :2]))


def _vertices(entity: DXFGraphic, scale: float) -> tuple[np.ndarray, bool]:
    try:
        path = make_path(entity)
        control = np.array([vertex.xyz for vertex in path.control_vertices()], dtype=np.float64).reshape(-1, 3)
        if not np.isfinite(control).all():
            return control, False
        flat = np.array([vertex.xyz for vertex in path.flattening(CHORD_M / scale)], dtype=np.float64).reshape(-1, 3)
    except (DXFError, ValueError, TypeError, ZeroDivisionError, OverflowError):
        return np.full((1, 3), np.nan), False
    flat = flat * scale
    closed = len(flat) >= 3 and (path.is_closed or bool(np.hypot(*(flat[0] - flat[-1])[:2]) <= CLOSED_M))
    return flat, closed


def _ring(vertices: np.ndarray) -> np.ndarray:
    last = np.hypot(*(vertices[0] - vertices[-1])[:2]) <= CLOSED_M
    return np.vstack([vertices[:-1] if last else vertices, vertices[:1]])


def _point_feature(item: _Entity, meaning: LayerMeaning, scale: float) -> RawFeature | None:
    entity, properties = item.entity, dict(item.attributes)
    if isinstance(entity, Insert):
        at = entity.dxf.insert
    elif isinstance(entity, DxfPoint):
        at = entity.dxf.location
    elif isinstance(entity, Circle):
        at = entity.dxf.center
        properties.setdefault("radius_m", str(float(entity.dxf.radius) * scale))
    else:
        return None
    return _raw(item.place, meaning, Point(np.array(Vec3(at).xyz) * scale), properties)


def _raw(place: Place, meaning: LayerMeaning, geometry: BaseGeometry, properties: dict[str, str]) -> RawFeature:
    # What the drawing itself says of one thing goes before what the mapping says of its layer.
    together = {**meaning.properties, **properties}
    return RawFeature(place, meaning.kind, properties.get("name"), geometry, together)


def _label(item: _Entity, meaning: LayerMeaning, scale: float) -> Label:
    entity = item.entity
    if isinstance(entity, MText):
        text, at, height = str(entity.plain_text()), Vec3(entity.dxf.insert), float(entity.dxf.char_height)
    else:
        assert isinstance(entity, Text)
        # A justified text has its true place in the alignment point.
        placed = entity.dxf.get("align_point") if entity.dxf.get("halign", 0) or entity.dxf.get("valign", 0) else None
        text, at, height = entity.plain_text(), Vec3(placed or entity.dxf.insert), float(entity.dxf.height)
    place = shapely.Point(at.x * scale, at.y * scale)
    return Label(item.place, " ".join(text.split()), place, height * scale, meaning.kind)

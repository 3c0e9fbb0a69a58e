"""Taking a plot plan in: all of it or nothing, the areas kept by their names."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256

from registry.db import Connection
from registry.errors import Issue
from registry.intake.store import note_intake, take_intake_lock
from registry.plant import store
from registry.plant.drawing_faults import drawing_faults
from registry.plant.dxf_mapping import read_layer_mapping
from registry.plant.features import DrawingFault, PlanReading, checked_features
from registry.plant.geojson import read_geojson
from registry.plant.model import PlanFeature, PlanMissing, PlanRefused, PlotPlan, plain_name, plot_plan
from registry.plant.store import AreaRow, read_plan

KIND = "plot_plan"


@dataclass(frozen=True, slots=True)
class PlanReport:
    """What became of a plot plan: what it holds, what it changed, and the faults of the drawing that did not stop it.

    `changed` is False when the same file is the present plan already. `before` and `after` are the plans, for whoever
    follows the outlines.
    """

    source_name: str
    changed: bool
    before: PlotPlan
    after: PlotPlan
    counts: Mapping[str, int] = field(default_factory=dict[str, int])
    areas_added: tuple[str, ...] = ()
    areas_renamed: tuple[tuple[str, str], ...] = ()
    areas_without_outline: tuple[str, ...] = ()
    faults: tuple[DrawingFault, ...] = ()
    intake_id: int | None = None


def read_plan_file(content: bytes, source_name: str, layers: bytes | None = None) -> PlanReading:
    """The features of a plot plan file: a drawing (DXF) if it is called so or has a layer mapping, else GeoJSON.

    Raises PlanRefused.
    """
    if layers is not None or source_name.casefold().endswith(".dxf"):
        if layers is None:
            raise PlanRefused("a drawing needs a layer mapping: a TOML file that says what each layer is (--layers)")
        # The reader of drawings takes a good part of a second to import, and only a drawing needs it.
        from registry.plant.dxf import read_dxf

        return read_dxf(content, read_layer_mapping(layers))
    return read_geojson(content)


def import_plan_file(
    connection: Connection, content: bytes, source_name: str, layers: bytes | None = None
) -> PlanReport:
    """Read a plot plan file and load it as `import_plan` does."""
    reading = read_plan_file(content, source_name, layers)
    return import_plan(connection, reading, source_name, sha256(content + (layers or b"")).digest())


def checked_plan(reading: PlanReading, source_name: str) -> list[PlanFeature]:
    """The features of a reading, all of them in order. Raises PlanRefused with every fault that there is."""
    features, issues = checked_features(reading.features)
    issues = sorted([*reading.issues, *issues], key=lambda issue: issue.row or 0)
    if not issues and not any(feature.kind == "area" for feature in features):
        reason = "the plan has no area outline: without one no joint can be said to lie in an area"
        issues = [Issue(None, "kind", None, reason)]
    if issues:
        count = f"{len(issues):,} fault{'s' if len(issues) > 1 else ''}"
        raise PlanRefused(f"{source_name} has {count}; nothing was loaded", issues)
    return features


def import_plan(connection: Connection, reading: PlanReading, source_name: str, content_sha256: bytes) -> PlanReport:
    """Make what was read the site's plot plan, in place of the one before. Raises PlanRefused and changes nothing.

    An area keeps its number as long as a plan calls it by its name; one that a joint list named without the drawing's
    number ('Electrolysis hall' for '10 Electrolysis hall') takes the drawing's name. Whoever holds joints moves those
    that followed the outlines before (`report.before`) to the outlines now (`report.after`).
    """
    features = checked_plan(reading, source_name)
    take_intake_lock(connection, KIND)
    before = read_plan(connection)
    source = store.read_plan_source(connection)
    if source is not None and source.content_sha256 == content_sha256:
        return PlanReport(source_name, False, before, before, _counts(features), intake_id=source.intake_id)
    known = store.list_areas(connection)
    names = [feature.name or "" for feature in features if feature.kind == "area"]
    renamed = renamed_areas(names, known)
    for area_id, _, name in renamed:
        store.rename_area(connection, area_id, name)
    store.add_areas(connection, names)
    store.save_occupancies(connection, _occupancies(features))
    intake_id = note_intake(connection, KIND, source_name, content_sha256, len(features), len(features), 0)
    store.drop_features(connection)
    store.add_features(connection, intake_id, features)
    after = read_plan(connection)
    kept = {area.name for area in known} - {old for _, old, _ in renamed} | {new for _, _, new in renamed}
    return PlanReport(
        source_name,
        changed=True,
        before=before,
        after=after,
        counts=_counts(features),
        areas_added=tuple(name for name in names if name not in kept),
        areas_renamed=tuple((old, new) for _, old, new in renamed),
        areas_without_outline=tuple(sorted(kept - set(names))),
        faults=(*reading.faults, *drawing_faults(after)),
        intake_id=intake_id,
    )


def preview_plan(reading: PlanReading, source_name: str) -> tuple[PlotPlan, tuple[DrawingFault, ...]]:
    """The plan that a reading makes, with numbers of its own for the areas, and the faults of the drawing.

    Raises PlanRefused.
    """
    features = checked_plan(reading, source_name)
    names = [feature.name or "" for feature in features if feature.kind == "area"]
    plan = plot_plan(features, {name: number for number, name in enumerate(names, start=1)})
    return plan, (*reading.faults, *drawing_faults(plan))


def current_plan(connection: Connection) -> PlotPlan:
    """The site's plot plan. Raises PlanMissing."""
    if store.read_plan_source(connection) is None:
        raise PlanMissing("load one with `jointwright load plot-plan FILE`")
    return read_plan(connection)


def renamed_areas(names: Sequence[str], known: Sequence[AreaRow]) -> list[tuple[int, str, str]]:
    """Number, old and new name of the known areas that a plan calls by a longer name.

    >>> renamed_areas(["10 Electrolysis hall", "20 Jetty"], [AreaRow(7, "electrolysis hall", "rare")])
    [(7, 'electrolysis hall', '10 Electrolysis hall')]
    """
    recorded = {area.name for area in known}
    listed = set(names)
    free = {plain_name(area.name): area for area in known if area.name not in listed}
    found: list[tuple[int, str, str]] = []
    for name in names:
        if name in recorded:
            continue
        number, _, rest = plain_name(name).partition(" ")
        area = free.pop(plain_name(name), None) or (free.pop(rest, None) if number.isdigit() else None)
        if area is not None:
            found.append((area.area_id, area.name, name))
    return found


def _occupancies(features: Sequence[PlanFeature]) -> dict[str, str]:
    return {
        feature.name or "": str(feature.properties["occupancy"])
        for feature in features
        if feature.kind == "area" and "occupancy" in feature.properties
    }


def _counts(features: Sequence[PlanFeature]) -> dict[str, int]:
    return dict(sorted(Counter(feature.kind for feature in features).items()))

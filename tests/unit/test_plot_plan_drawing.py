"""A plot plan as a drawing: layers mapped, units, blocks, texts that name, outlines that do not close."""

import io
from collections.abc import Callable

import ezdxf
import pytest
from ezdxf.layouts.layout import Modelspace

from registry.plant.dxf import read_dxf
from registry.plant.dxf_mapping import read_layer_mapping
from registry.plant.features import PlanReading, checked_features
from registry.plant.model import PlanRefused, PlotPlan, plot_plan
from tests.conftest import FIXTURES

LAYERS = b"""
[layers]
AREA = "area"
WALK = "walkway"
RACK = { kind = "walkway", elevation_m = 5.5 }
STAIR = { kind = "stair", elevation_m = 0, top_elevation_m = 5.5 }
WALL = "obstacle"
FENCE = { kind = "obstacle", fence = true }
EQUIP = "equipment"
GATE = "gate"
PUMP = { kind = "vibration_source", velocity_mm_s = 7.1, frequency_hz = 25 }
TEXT = "label"

[occupancy]
"10 hall" = "continuous"
"""


def drawing(draw: Callable[[Modelspace], None], units: int = 6) -> bytes:
    document = ezdxf.new(units=units)
    draw(document.modelspace())
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def read(draw: Callable[[Modelspace], None], units: int = 6, layers: bytes = LAYERS) -> PlanReading:
    return read_dxf(drawing(draw, units), read_layer_mapping(layers))


def plan_of(reading: PlanReading) -> PlotPlan:
    features, issues = checked_features(reading.features)
    assert not reading.issues
    assert not issues
    names = [item.name or "" for item in features if item.kind == "area"]
    return plot_plan(features, {name: number for number, name in enumerate(names, start=1)})


def hall(space: Modelspace, name: str = "10 Hall") -> None:
    space.add_lwpolyline([(0, 0), (50, 0), (50, 40), (0, 40)], close=True, dxfattribs={"layer": "AREA"})
    space.add_text(name, dxfattribs={"layer": "AREA", "insert": (2, 36), "height": 2})


def test_the_sample_drawing_loads_with_its_layers_mapped() -> None:
    content = (FIXTURES / "plot_plan.dxf").read_bytes()
    mapping = read_layer_mapping((FIXTURES / "plot_plan_layers.toml").read_bytes())
    reading = read_dxf(content, mapping)
    plan = plan_of(reading)
    assert [area.name for area in plan.areas][:2] == ["10 Electrolysis hall", "20 Hydrogen compression"]
    assert (len(plan.areas), len(plan.equipment), len(plan.obstacles), len(plan.walkways)) == (8, 16, 8, 9)
    assert not reading.faults
    # The drawing is in feet: the hall's west edge stands at 131.23 ft.
    assert plan.areas[0].outline.bounds[0] == pytest.approx(131.23 * 0.3048)


@pytest.mark.parametrize(("code", "metres"), [(6, 1.0), (4, 0.001), (2, 0.3048), (1, 0.0254), (5, 0.01)])
def test_the_unit_comes_from_the_drawing(code: int, metres: float) -> None:
    assert plan_of(read(hall, units=code)).areas[0].outline.bounds[2] == pytest.approx(50 * metres)


def test_a_drawing_without_a_unit_is_refused_unless_the_mapping_says_it() -> None:
    with pytest.raises(PlanRefused, match="does not say its unit"):
        read(hall, units=0)
    plan = plan_of(read(hall, units=0, layers=b'units = "feet"\n' + LAYERS))
    assert plan.areas[0].outline.bounds[2] == pytest.approx(15.24)


def test_a_mapping_that_contradicts_the_drawings_unit_is_followed_and_said() -> None:
    reading = read(hall, units=6, layers=b'units = "feet"\n' + LAYERS)
    assert plan_of(reading).areas[0].outline.bounds[2] == pytest.approx(15.24)
    assert "says its unit is metres; the mapping's feet was taken" in reading.faults[0].reason


def test_texts_name_what_they_stand_in_and_areas_get_their_occupancy() -> None:
    def draw(space: Modelspace) -> None:
        hall(space)
        space.add_text("small print", dxfattribs={"layer": "AREA", "insert": (2, 30), "height": 0.5})
        space.add_circle((20, 20), 3, dxfattribs={"layer": "EQUIP"})
        space.add_mtext("V-101", dxfattribs={"layer": "EQUIP", "insert": (20, 20)})
        space.add_point((0, 0, 0), dxfattribs={"layer": "GATE"})
        space.add_text("Main gate", dxfattribs={"layer": "TEXT", "insert": (-2, -1)})

    reading = read(draw)
    plan = plan_of(reading)
    assert (plan.areas[0].name, plan.areas[0].occupancy) == ("10 Hall", "continuous")
    assert plan.equipment[0].name == "V-101"
    assert plan.gates[0].name == "Main gate"
    assert any("small print" in fault.reason for fault in reading.faults)


def test_curves_and_lines_of_all_sorts_become_features() -> None:
    def draw(space: Modelspace) -> None:
        hall(space)
        space.add_line((0, 0), (10, 0), dxfattribs={"layer": "WALK"})
        space.add_arc((20, 0), 10, 180, 270, dxfattribs={"layer": "WALK"})
        space.add_polyline3d([(0, 0, 1), (5, 0, 2), (9, 0, 2)], dxfattribs={"layer": "WALK"})
        space.add_lwpolyline([(0, 5), (9, 5)], dxfattribs={"layer": "RACK"})
        space.add_line((3, 3), (8, 3), dxfattribs={"layer": "STAIR"})
        space.add_point((4, 4), dxfattribs={"layer": "STAIR"})
        space.add_line((0, 60), (60, 60), dxfattribs={"layer": "FENCE"})
        space.add_circle((30, 30), 2, dxfattribs={"layer": "PUMP"})
        space.add_ellipse((10, 30), (4, 0), 0.5, dxfattribs={"layer": "WALL"})

    plan = plan_of(read(draw))
    straight, bow, ramp, rack = plan.walkways
    assert straight.line.length == 10
    assert bow.line.length == pytest.approx(15.708, abs=0.15)
    assert [vertex[2] for vertex in ramp.line.coords] == [1, 2, 2]
    assert {vertex[2] for vertex in rack.line.coords} == {5.5}
    assert [stair.climb for stair in plan.stairs] == ["stair", "ladder"]
    assert plan.obstacles[0].shape.geom_type == "LineString"
    assert plan.obstacles[1].shape.area == pytest.approx(25.13, abs=0.8)
    assert (plan.vibration_sources[0].radius_m, plan.vibration_sources[0].velocity_mm_s) == (2, 7.1)


def test_blocks_are_unfolded_and_their_attributes_read() -> None:
    def draw(space: Modelspace) -> None:
        hall(space)
        assert space.doc is not None
        vessel = space.doc.blocks.new("VESSEL")
        vessel.add_circle((0, 0), 1, dxfattribs={"layer": "0"})
        vessel.add_lwpolyline([(2, 0), (4, 0), (4, 2), (2, 2)], close=True, dxfattribs={"layer": "WALL"})
        space.add_blockref("VESSEL", (20, 20), dxfattribs={"layer": "EQUIP", "xscale": 2, "yscale": 2})
        pump = space.doc.blocks.new("PUMP")
        pump.add_circle((0, 0), 1)
        placed = space.add_blockref("PUMP", (40, 10), dxfattribs={"layer": "PUMP"})
        for tag, text in (("NAME", "P-301"), ("VELOCITY_MM_S", "4.5"), ("RADIUS_M", "12")):
            placed.add_attrib(tag, text)

    plan = plan_of(read(draw))
    assert plan.equipment[0].shape.bounds == pytest.approx((18, 18, 22, 22), abs=0.2)
    assert plan.obstacles[0].shape.bounds == pytest.approx((24, 20, 28, 24))
    source = plan.vibration_sources[0]
    assert (source.name, source.velocity_mm_s, source.frequency_hz, source.radius_m) == ("P-301", 4.5, 25, 12)
    assert (source.east_m, source.north_m) == (40, 10)


def test_loose_lines_that_meet_make_an_outline() -> None:
    def draw(space: Modelspace) -> None:
        for start, end in [((0, 0), (9, 0)), ((9, 7), (9, 0)), ((9, 7), (0, 7)), ((0, 0), (0, 7))]:
            space.add_line(start, end, dxfattribs={"layer": "AREA"})
        space.add_text("10 Hall", dxfattribs={"layer": "AREA", "insert": (2, 2)})

    assert plan_of(read(draw)).areas[0].outline.area == pytest.approx(63)


def test_an_outline_that_does_not_close_is_named_by_layer_and_handle() -> None:
    def draw(space: Modelspace) -> None:
        hall(space)
        space.add_lwpolyline([(60, 0), (70, 0), (70, 9), (60, 4)], dxfattribs={"layer": "WALL", "handle": "ABC"})

    issues = read(draw).issues
    assert len(issues) == 1
    assert issues[0].reason.startswith("layer WALL, handle ABC: the outline of this obstacle is not closed")
    assert "ends 4.00 m from there, at east 60.00 m, north 4.00 m" in issues[0].reason


def test_a_text_without_an_outline_says_that_the_outline_is_missing() -> None:
    def draw(space: Modelspace) -> None:
        hall(space)
        space.add_text("20 Yard", dxfattribs={"layer": "AREA", "insert": (90, 90)})

    issues = read(draw).issues
    assert [issue.value for issue in issues] == ["20 Yard"]
    assert "lies in no area outline: the outline is missing" in issues[0].reason


def test_an_outline_without_a_name_and_one_that_crosses_itself_are_told_by_layer_and_handle() -> None:
    def draw(space: Modelspace) -> None:
        points = [(0, 0), (10, 10), (10, 0), (0, 10)]
        space.add_lwpolyline(points, close=True, dxfattribs={"layer": "AREA", "handle": "AAA"})

    _, issues = checked_features(read(draw).features)
    assert [issue.reason for issue in issues] == [
        "layer AREA, handle AAA: the area has no name",
        "layer AREA, handle AAA: the outline of this area crosses itself at east 5.00 m, north 5.00 m",
    ]


@pytest.mark.parametrize("number", ["nan", "inf"])
def test_a_coordinate_that_is_no_number_is_a_fault(number: str) -> None:
    content = drawing(lambda space: space.add_line((1.25, 0), (5, 0), dxfattribs={"layer": "WALK"}))
    broken = content.replace(b"\n1.25\n", f"\n{number}\n".encode())
    assert broken != content
    reading = read_dxf(broken, read_layer_mapping(LAYERS))
    assert "not a finite number" in reading.issues[0].reason


def test_what_is_left_out_is_told() -> None:
    def draw(space: Modelspace) -> None:
        hall(space)
        space.add_line((0, 0), (1, 1), dxfattribs={"layer": "DIMENSIONS"})
        space.add_hatch(dxfattribs={"layer": "WALL"})

    told = [str(fault) for fault in read(draw).faults]
    assert "layer DIMENSIONS: 1 entities are not read: the layer is not mapped" in told
    assert any("a HATCH cannot be read as obstacle" in text for text in told)
    assert any("nothing is on it" in text for text in told)


@pytest.mark.parametrize(
    "content", [b"", b"not a drawing", b"PK\x03\x04" + bytes(40), b"0\nSECTION\n2\nENTITIES\n0\nLINE\n10\nx"]
)
def test_what_is_no_drawing_is_refused(content: bytes) -> None:
    with pytest.raises(PlanRefused):
        read_dxf(content, read_layer_mapping(LAYERS))


def test_a_drawing_with_nothing_on_the_mapped_layers_is_refused_with_the_layers_it_has() -> None:
    with pytest.raises(PlanRefused, match="it has ELSE"):
        read(lambda space: space.add_line((0, 0), (1, 0), dxfattribs={"layer": "ELSE"}))


@pytest.mark.parametrize(
    ("mapping", "said"),
    [
        (b"", "the mapping names no layer"),
        (b"[layers", "not TOML"),
        (b"\xff", "not UTF-8"),
        (b'[layers]\nA = "lake"', "it is one of area"),
        (b'units = "cubits"\n[layers]\nA = "area"', "it is one of metres"),
        (b'layer = 1\n[layers]\nA = "area"', "the mapping knows units"),
        (b'[layers]\nA = "area"\n[occupancy]\nHall = "full"', "it is one of rare"),
    ],
)
def test_a_layer_mapping_is_refused_with_what_is_wrong_in_it(mapping: bytes, said: str) -> None:
    with pytest.raises(PlanRefused) as refused:
        read_layer_mapping(mapping)
    assert said in f"{refused.value} {' '.join(map(str, refused.value.issues))}"

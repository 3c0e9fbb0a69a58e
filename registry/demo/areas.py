"""What stands in the eight areas of Saltmarsh Point and what flows there. All of it is invented.

Numbers are plausible for such a plant and nobody's: common practice, no source. Lengths are metres on the plant grid.
"""

from dataclasses import dataclass

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Row:
    """Like equipment standing in a row from west to east, `north_m` through its middle.

    A machine that turns or strokes has a velocity and a frequency; it shakes what stands around it.
    """

    north_m: float
    letter: str
    what: str
    count: int
    width_m: float
    depth_m: float
    west_m: float
    east_m: float
    velocity_mm_s: float = 0.0
    frequency_hz: float = 0.0


@dataclass(frozen=True, slots=True)
class System:
    """Lines of one service in one area: between which equipment, how hard and how hot, how wide.

    `start` and `end` are letters of equipment; an empty `end` leaves by the main rack. `style` chooses the families.
    """

    service: str
    code: str
    share: float
    start: str
    end: str
    pressure_barg: tuple[float, float]
    temperature_degc: tuple[float, float]
    sizes_mm: tuple[float, ...]
    style: str = "process"
    cycles_per_year: tuple[float, float] = (2.0, 24.0)
    range_degc: tuple[float, float] = (20.0, 60.0)


@dataclass(frozen=True, slots=True)
class Area:
    """One area: where it is, how its rack runs through it, what stands in it and what flows in it."""

    number: int
    name: str
    occupancy: str
    outline: tuple[tuple[float, float], ...]
    share: float
    spine_east_m: float
    rack_elevation_m: float
    rack_ends_m: tuple[float, float]
    aisles_m: tuple[float, ...]
    rows: tuple[Row, ...]
    systems: tuple[System, ...]
    buildings: tuple[tuple[str, Box], ...] = ()


def _rectangle(west: float, south: float, east: float, north: float) -> tuple[tuple[float, float], ...]:
    return ((west, south), (east, south), (east, north), (west, north))


_SOUTH_AISLES = (33.0, 53.0, 71.0, 89.0, 107.0, 125.0)
_NORTH_AISLES = (185.0, 203.0, 221.0, 239.0, 257.0, 275.0)
_UTILITY = (15.0, 20.0, 25.0, 40.0, 50.0, 80.0)
_SMALL = (15.0, 20.0, 25.0, 40.0)
_WIDE = (80.0, 100.0, 150.0, 200.0, 250.0)


def _cooling(share: float) -> System:
    return System(
        "cooling water", "CO", share, "EKX", "", (3.8, 6.2), (22, 38), (50.0, 80.0, 100.0, 150.0, 200.0), "utility"
    )


def _air(share: float) -> System:
    return System("instrument air", "IN", share, "XVEKPC", "", (6.5, 8.2), (10, 30), _SMALL, "utility")


def _nitrogen(share: float) -> System:
    return System("nitrogen", "NI", share, "VXKT", "", (6.0, 9.5), (5, 30), _UTILITY, "utility")


def _oil(share: float) -> System:
    return System("lube oil", "LU", share, "X", "K", (4.0, 24.0), (38, 62), _SMALL, "utility", (6, 52), (20, 35))


ELECTROLYSIS = Area(
    10, "Electrolysis hall", "frequent", _rectangle(36, 26, 200, 155), 0.215, 116.0, 5.8, (42.0, 196.0), _SOUTH_AISLES,
    (
        *(
            Row(north, "X", "electrolyser stack", 7, 7.5, 3.2, west, east)
            for north in (44.0, 62.0, 80.0)
            for west, east in ((42.0, 110.0), (122.0, 192.0))
        ),
        Row(98.0, "V", "gas and lye separator", 8, 2.6, 2.6, 42.0, 110.0),
        Row(98.0, "V", "gas and lye separator", 8, 2.6, 2.6, 122.0, 192.0),
        Row(116.0, "P", "lye pump", 7, 2.6, 1.2, 42.0, 110.0, 9.5, 24.8),
        Row(116.0, "E", "lye cooler", 6, 5.0, 1.4, 122.0, 192.0),
        Row(134.0, "V", "gas dryer", 6, 2.0, 2.0, 42.0, 110.0),
    ),
    (
        System("hydrogen", "HY", 3.0, "XV", "V", (28, 32), (58, 84), (25.0, 50.0, 80.0, 100.0),
               "process", (12, 365), (30, 60)),
        System("hydrogen", "HY", 1.0, "V", "", (27, 30), (25, 45), (80.0, 100.0, 150.0)),
        System("oxygen", "OX", 1.6, "XV", "V", (27, 31), (58, 84), (25.0, 50.0, 80.0)),
        System("lye", "LY", 3.2, "PE", "X", (29, 34), (66, 88), (25.0, 40.0, 50.0, 80.0),
               "process", (12, 365), (30, 60)),
        System("demin water", "DE", 1.1, "X", "", (5, 36), (18, 38), _SMALL, "utility"),
        _cooling(1.0), _nitrogen(0.7), _air(0.9),
    ),
    (("Rectifier house", (124.0, 129.5, 190.0, 139.0)),),
)  # fmt: skip

COMPRESSION = Area(
    20, "Hydrogen compression", "occasional",
    _rectangle(200, 26, 310, 155), 0.15, 255.0, 5.8, (204.0, 306.0), _SOUTH_AISLES,
    (
        Row(44.0, "K", "reciprocating hydrogen compressor", 2, 12.0, 7.0, 208.0, 248.0, 13.5, 12.4),
        Row(44.0, "K", "reciprocating hydrogen compressor", 2, 12.0, 7.0, 262.0, 302.0, 11.5, 12.4),
        Row(62.0, "V", "pulsation vessel", 5, 1.6, 1.6, 208.0, 248.0),
        Row(62.0, "V", "knock-out drum", 4, 2.2, 2.2, 262.0, 302.0),
        Row(80.0, "E", "intercooler", 4, 6.5, 1.6, 208.0, 248.0),
        Row(80.0, "E", "aftercooler", 4, 6.5, 1.6, 262.0, 302.0),
        Row(98.0, "K", "high-pressure hydrogen compressor", 2, 9.0, 6.0, 208.0, 248.0, 17.5, 9.9),
        Row(98.0, "X", "lube oil skid", 4, 4.0, 2.6, 262.0, 302.0),
        Row(116.0, "V", "high-pressure buffer vessel", 8, 1.8, 1.8, 208.0, 248.0),
        Row(116.0, "P", "lube oil pump", 4, 1.8, 0.9, 262.0, 302.0, 3.2, 49.5),
    ),
    (
        System("hydrogen", "HY", 1.2, "KV", "", (27, 30), (20, 40), (100.0, 150.0, 200.0)),
        System("hydrogen", "HY", 2.2, "K", "E", (78, 112), (85, 138), (50.0, 80.0, 100.0),
               "high", (24, 365), (60, 110)),
        System("hydrogen", "HY", 2.6, "K", "EV", (198, 228), (60, 135), (25.0, 40.0, 50.0),
               "high", (24, 365), (60, 110)),
        System("hydrogen", "HY", 1.2, "V", "V", (225, 262), (10, 45), (15.0, 20.0, 25.0), "high"),
        _oil(2.0), _cooling(1.2), _nitrogen(0.9), _air(0.9),
    ),
)  # fmt: skip

SYNTHESIS = Area(
    30, "Synthesis loop", "occasional", _rectangle(310, 26, 470, 155), 0.165, 390.0, 5.8, (314.0, 466.0), _SOUTH_AISLES,
    (
        Row(44.0, "K", "synthesis gas compressor", 2, 14.0, 6.5, 318.0, 380.0, 4.4, 182.0),
        Row(44.0, "K", "loop circulator", 2, 8.0, 5.0, 398.0, 460.0, 15.0, 148.0),
        Row(62.0, "E", "interchanger", 6, 7.0, 1.8, 318.0, 380.0),
        Row(62.0, "X", "lube oil skid", 3, 4.0, 2.6, 398.0, 460.0),
        Row(94.0, "R", "ammonia converter", 2, 3.4, 3.4, 336.0, 366.0),
        Row(80.0, "E", "waste heat boiler", 4, 7.0, 2.2, 398.0, 460.0),
        Row(98.0, "V", "ammonia separator", 6, 2.4, 2.4, 398.0, 460.0),
        Row(116.0, "P", "ammonia product pump", 6, 2.4, 1.2, 318.0, 380.0, 4.1, 49.3),
        Row(116.0, "V", "let-down drum", 5, 2.8, 2.8, 398.0, 460.0),
        Row(134.0, "E", "water-cooled exchanger", 6, 6.0, 1.6, 318.0, 380.0),
    ),
    (
        System("syngas", "SY", 2.4, "KE", "ER", (162, 192), (38, 240), (80.0, 100.0, 150.0),
               "high", (4, 40), (60, 180)),
        System("syngas", "SY", 1.0, "R", "E", (158, 186), (240, 430), (100.0, 150.0), "high", (4, 24), (120, 280)),
        System("ammonia", "AM", 1.6, "EV", "V", (152, 182), (-8, 40), (50.0, 80.0, 100.0), "high", (4, 40), (30, 60)),
        System("ammonia", "AM", 1.8, "VP", "P", (17, 26), (-12, 36), (50.0, 80.0, 100.0), "process", (4, 60), (25, 60)),
        System("steam", "ST", 1.2, "E", "", (38, 44), (248, 385), (50.0, 80.0, 100.0), "process", (6, 40), (150, 300)),
        System("condensate", "CN", 0.7, "E", "", (3, 12), (92, 160), _UTILITY, "utility", (6, 60), (60, 120)),
        _oil(1.3), _cooling(1.1), _nitrogen(0.8), _air(1.0),
    ),
)  # fmt: skip

REFRIGERATION = Area(
    40, "Refrigeration", "occasional",
    _rectangle(310, 155, 470, 268), 0.11, 390.0, 5.8, (314.0, 466.0), _NORTH_AISLES[:5],
    (
        Row(176.0, "V", "suction scrubber", 5, 2.4, 2.4, 318.0, 380.0),
        Row(176.0, "E", "ammonia chiller", 5, 7.0, 2.0, 398.0, 460.0),
        Row(194.0, "K", "screw compressor", 5, 6.5, 3.2, 318.0, 380.0, 16.5, 49.6),
        Row(194.0, "X", "oil separator skid", 4, 4.2, 2.6, 398.0, 460.0),
        Row(212.0, "E", "evaporative condenser", 5, 8.0, 4.0, 318.0, 380.0),
        Row(212.0, "V", "ammonia receiver", 4, 6.0, 2.4, 398.0, 460.0),
        Row(230.0, "P", "refrigerant pump", 6, 2.2, 1.1, 318.0, 380.0, 9.0, 49.2),
        Row(230.0, "V", "flash drum", 5, 2.6, 2.6, 398.0, 460.0),
    ),
    (
        System("ammonia", "AM", 2.6, "KV", "EX", (11, 17), (38, 112), (50.0, 80.0, 100.0, 150.0),
               "process", (24, 365), (40, 90)),
        System("ammonia", "AM", 3.0, "PV", "E", (0.4, 9), (-33, 12), (40.0, 50.0, 80.0),
               "process", (12, 180), (25, 55)),
        _oil(1.6), _cooling(1.0), _nitrogen(0.7), _air(0.9),
    ),
)  # fmt: skip

STORAGE = Area(
    50, "Ammonia storage", "rare",
    _rectangle(470, 26, 628, 172), 0.09, 549.0, 5.8, (474.0, 622.0), (53.0, 107.0, 125.0),
    (
        Row(75.0, "T", "refrigerated ammonia tank", 2, 40.0, 40.0, 474.0, 626.0),
        Row(116.0, "P", "ship loading pump", 5, 3.2, 1.6, 478.0, 542.0, 8.5, 24.7),
        Row(116.0, "K", "boil-off compressor", 3, 5.0, 2.8, 556.0, 620.0, 11.5, 16.4),
        Row(134.0, "E", "ammonia heater", 5, 5.0, 1.6, 478.0, 542.0),
        Row(134.0, "V", "boil-off drum", 4, 2.6, 2.6, 556.0, 620.0),
    ),
    (
        System("ammonia", "AM", 2.6, "TP", "P", (0.3, 9.5), (-33, -30), _WIDE, "process", (12, 120), (10, 45)),
        System("ammonia", "AM", 1.4, "P", "", (5.5, 11), (-33, -29), (150.0, 200.0, 250.0),
               "process", (40, 160), (20, 50)),
        System("ammonia", "AM", 1.4, "KV", "VE", (0.1, 16), (-30, 85), (50.0, 80.0, 100.0),
               "process", (24, 365), (40, 80)),
        _nitrogen(0.9),
        System("fire water", "FI", 0.8, "TE", "", (8, 12), (6, 22), (80.0, 100.0, 150.0), "utility"),
        _air(0.8),
    ),
)  # fmt: skip

AIR_SEPARATION = Area(
    60, "Air separation", "occasional", _rectangle(36, 155, 200, 294), 0.12, 116.0, 5.8, (42.0, 196.0), _NORTH_AISLES,
    (
        Row(176.0, "K", "main air compressor", 2, 15.0, 7.0, 44.0, 110.0, 3.8, 156.0),
        Row(176.0, "E", "air cooler", 5, 7.0, 2.2, 122.0, 192.0),
        Row(194.0, "V", "molecular sieve vessel", 5, 3.2, 3.2, 44.0, 110.0),
        Row(194.0, "X", "lube oil skid", 3, 4.0, 2.6, 122.0, 192.0),
        Row(212.0, "C", "cold box", 2, 12.0, 8.0, 52.0, 104.0),
        Row(230.0, "K", "nitrogen booster", 3, 6.0, 3.4, 122.0, 192.0, 15.5, 98.0),
        Row(230.0, "P", "liquid oxygen pump", 4, 2.0, 1.0, 44.0, 110.0, 3.1, 48.0),
        Row(248.0, "T", "liquid nitrogen tank", 3, 7.0, 7.0, 122.0, 192.0),
        Row(248.0, "T", "liquid oxygen tank", 2, 7.0, 7.0, 44.0, 110.0),
        Row(266.0, "E", "ambient vaporiser", 7, 4.0, 3.0, 44.0, 110.0),
    ),
    (
        System("nitrogen", "NI", 3.0, "KCE", "VC", (4.8, 12), (-20, 95), (50.0, 80.0, 100.0, 150.0)),
        System("nitrogen", "NI", 1.6, "KT", "", (8, 38), (5, 85), (50.0, 80.0, 100.0)),
        System("oxygen", "OX", 2.0, "PTC", "E", (3, 32), (-40, 25), (25.0, 40.0, 50.0, 80.0),
               "process", (24, 200), (60, 180)),
        _oil(1.4), _cooling(1.0), _air(1.2),
    ),
)  # fmt: skip

UTILITIES = Area(
    70, "Utilities", "frequent", _rectangle(200, 155, 310, 294), 0.09, 255.0, 5.8, (204.0, 306.0), _NORTH_AISLES,
    (
        Row(176.0, "K", "instrument air compressor", 3, 4.0, 2.4, 206.0, 248.0, 12.5, 49.4),
        Row(176.0, "V", "air receiver", 4, 2.2, 2.2, 262.0, 304.0),
        Row(194.0, "X", "packaged boiler", 2, 12.0, 5.0, 206.0, 248.0),
        Row(194.0, "P", "boiler feed pump", 4, 2.6, 1.2, 262.0, 304.0, 4.4, 49.4),
        Row(212.0, "V", "demineraliser vessel", 5, 2.4, 2.4, 206.0, 248.0),
        Row(212.0, "E", "steam heater", 4, 4.0, 1.4, 262.0, 304.0),
        Row(230.0, "P", "cooling water pump", 4, 4.0, 2.0, 206.0, 248.0, 8.2, 16.5),
        Row(230.0, "P", "fire water pump", 3, 5.0, 2.4, 262.0, 304.0, 11.0, 29.7),
        Row(248.0, "X", "cooling tower cell", 3, 13.0, 10.0, 262.0, 306.0),
        Row(248.0, "X", "chemical dosing skid", 4, 4.0, 2.6, 206.0, 248.0),
    ),
    (
        System("steam", "ST", 2.0, "X", "EV", (9, 42), (184, 300), (50.0, 80.0, 100.0), "process", (6, 60), (120, 250)),
        System("condensate", "CN", 1.4, "E", "P", (2, 8), (88, 150), _UTILITY, "utility", (6, 60), (60, 120)),
        System("cooling water", "CO", 1.8, "P", "X", (4, 6.4), (20, 36), (100.0, 150.0, 200.0, 250.0), "utility"),
        System("demin water", "DE", 1.4, "V", "P", (4, 9), (15, 40), _UTILITY, "utility"),
        System("fire water", "FI", 1.0, "P", "", (9, 13), (6, 22), (100.0, 150.0, 200.0), "utility"),
        System("instrument air", "IN", 2.0, "KV", "V", (6.8, 9), (15, 45), _UTILITY, "utility"),
        _nitrogen(0.8),
    ),
)  # fmt: skip

JETTY = Area(
    80, "Jetty", "occasional",
    ((628, 150), (688, 150), (688, 92), (716, 92), (716, 228), (688, 228), (688, 172), (628, 172)),
    0.06, 694.0, 1.2, (630.0, 690.0), (),
    (
        *(Row(north, "X", "loading arm", 1, 2.4, 2.4, 703.0, 710.0) for north in (132.0, 146.0, 160.0, 174.0)),
        *(Row(north, "V", "drain drum", 1, 2.8, 1.8, 703.0, 709.0) for north in (104.0, 216.0)),
        *(Row(north, "P", "stripping pump", 1, 2.2, 1.1, 703.0, 709.0, 4.3, 49.1) for north in (118.0, 188.0)),
        Row(202.0, "E", "vapour return heater", 1, 4.5, 1.4, 703.0, 709.0),
    ),
    (
        System("ammonia", "AM", 3.4, "X", "", (4, 8.5), (-33, -28), (100.0, 150.0, 200.0),
               "process", (60, 180), (30, 50)),
        System("ammonia", "AM", 2.0, "PVE", "XE", (0.3, 8), (-33, 20), (50.0, 80.0, 100.0),
               "process", (60, 180), (30, 50)),
        System("fire water", "FI", 1.0, "XV", "", (9, 12), (6, 22), (80.0, 100.0), "utility"),
        _nitrogen(1.2), _air(1.0),
    ),
)  # fmt: skip

AREAS: tuple[Area, ...] = (
    ELECTROLYSIS, COMPRESSION, SYNTHESIS, REFRIGERATION, STORAGE, AIR_SEPARATION, UTILITIES, JETTY,
)  # fmt: skip

"""What is true at Saltmarsh Point: the parameters that its history is simulated with, to be found again by learning.

The rates of the families stand here by themselves, so that a changed policy does not change the past. Vibration and
temperature work on them as the model says; what the model cannot know beforehand are the plant's own factors below.
"""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from registry.demo.areas import AREAS
from registry.demo.joints import FAMILIES, FloatArray, Plant


@dataclass(frozen=True, slots=True)
class FamilyTruth:
    """True rates of one family: defects a joint-year at the reference size, delay a year, chance to be found."""

    defect_rate_per_year: float
    delay_rate_per_year: float
    detection_probability: float
    size_reference_mm: float = 100.0
    size_exponent: float = 0.0


@dataclass(frozen=True, slots=True)
class TrueFactor:
    """How much worse (or better) than its family a cohort of this plant is: a factor on the defect rate."""

    family: str
    service: str
    area: str
    factor: float


FAMILY_TRUTH: dict[str, FamilyTruth] = {
    "flanged": FamilyTruth(0.006, 0.8, 0.90, 100.0, 0.3),
    "clamp_hub": FamilyTruth(0.004, 0.8, 0.90),
    "twin_ferrule": FamilyTruth(0.010, 1.0, 0.90),
    "cone_thread": FamilyTruth(0.008, 1.0, 0.90),
    "ferrule_mp": FamilyTruth(0.008, 1.0, 0.90),
    "taper_thread": FamilyTruth(0.015, 1.0, 0.85),
    "union": FamilyTruth(0.012, 1.0, 0.85),
}

TRUE_FACTORS: tuple[TrueFactor, ...] = (
    # Caustic creeps through tube fittings that were made up in a hurry before the first start.
    TrueFactor("twin_ferrule", "lye", "Electrolysis hall", 3.0),
    # Pulsation that the screening does not see.
    TrueFactor("twin_ferrule", "hydrogen", "Hydrogen compression", 2.2),
    TrueFactor("taper_thread", "cooling water", "Utilities", 1.8),
    # Cold and steady: better than judged.
    TrueFactor("flanged", "ammonia", "Ammonia storage", 0.4),
    TrueFactor("twin_ferrule", "nitrogen", "Air separation", 0.4),
)


def true_plant_factors(plant: Plant) -> FloatArray:
    """The true M_plant of every joint [-]; 1 where its cohort is like its family."""
    joints, lines = plant.joints, plant.lines
    factors = np.ones(len(joints))
    system = lines.system[joints.line]
    for row in TRUE_FACTORS:
        area_index = [area.name for area in AREAS].index(row.area)
        systems = [i for i, s in enumerate(AREAS[area_index].systems) if s.service == row.service]
        mine = (joints.area == area_index) & np.isin(system, systems) & (joints.family == FAMILIES.index(row.family))
        factors[mine] *= row.factor
    return factors


def true_base_rates(plant: Plant) -> FloatArray:
    """Defects a joint-year of every joint before vibration, temperature, make-up and plant work on it."""
    joints = plant.joints
    rows = [FAMILY_TRUTH[code] for code in FAMILIES]
    rate = np.array([row.defect_rate_per_year for row in rows])[joints.family]
    reference = np.array([row.size_reference_mm for row in rows])[joints.family]
    exponent = np.array([row.size_exponent for row in rows])[joints.family]
    size = np.where(np.isnan(joints.size_mm), reference, joints.size_mm)
    return rate * (size / reference) ** exponent


def truth_document() -> dict[str, Any]:
    """Everything that is true, as plain data: what a learned rate is to be held against."""
    return {
        "plant": "Saltmarsh Point (invented)",
        "families": {code: asdict(row) for code, row in FAMILY_TRUTH.items()},
        "plant_factors": [asdict(row) for row in TRUE_FACTORS],
    }

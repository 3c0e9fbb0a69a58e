"""What stands on the simulated make-ups beside their people: procedure, tool, torque or turns, lots."""

from datetime import date

import numpy as np
import numpy.typing as npt
import polars as pl

from registry.demo.joints import FAMILIES, Plant
from registry.demo.layout import FloatArray, IntArray
from registry.demo.make_ups import MakeUps
from registry.demo.papers import FOUND_OUT, WRENCH_RANGES, WRENCHES_A_RANGE, found_out_on, wrench_serial
from registry.makeup.past_make_ups import likely_procedure
from registry.makeup.procedures import Procedure
from registry.makeup.reading_procedures import shipped_procedures

_LOT_LETTERS = {"gasket_lot": ("GK", "flanged"), "seal_lot": ("SR", "clamp_hub"), "ferrule_lot": ("FS", "ferrule")}
_LOTS_A_QUARTER = 3
_FAVOURED = 0.6
"""Share of the work in its range that the wrench which was found out did in the two years before that."""


def record_columns(make_ups: MakeUps, plant: Plant, seed: int, as_of: date) -> dict[str, pl.Series]:
    """Columns of the list of make-ups; blank where the joint list gives no method or no size to go by."""
    generator = np.random.default_rng([seed, 5])
    joints, of = plant.joints, make_ups.joint
    family, size_mm, method = joints.family[of], joints.size_mm[of], joints.method[of]
    procedures, which = _procedures(family, size_mm, method)
    by_torque = np.array([each is not None and each.torque is not None for each in procedures])[which]
    expected = np.array([_expected_turns(each) for each in procedures])[which]
    torque = np.where(by_torque, _torque(size_mm, generator), np.nan)
    # Nobody counts to the hundredth; what was not accepted was turned too little.
    turned = np.where(make_ups.accepted, expected + generator.uniform(-0.05, 0.05, len(of)), 0.5 * expected)
    codes = pl.Series([None if each is None else each.code for each in procedures], dtype=pl.String)
    return {
        "procedure": codes.gather(which),
        "torque_n_m": pl.Series(np.round(torque, 0)).fill_nan(None),
        "turns": pl.Series(np.round(turned, 2)).fill_nan(None),
        "tools": _wrenches(torque, make_ups.made_up_on, as_of, generator),
        **{
            column: _lots(letters, np.char.find(np.array(FAMILIES), part)[family] >= 0, make_ups.made_up_on, generator)
            for column, (letters, part) in _LOT_LETTERS.items()
        },
    }


def _procedures(
    family: IntArray, size_mm: FloatArray, method: npt.NDArray[np.str_]
) -> tuple[list[Procedure | None], IntArray]:
    """The procedures that occur, and which of them each make-up is by."""
    keys = pl.DataFrame({"family": family, "size_mm": pl.Series(size_mm).fill_nan(None), "method": pl.Series(method)})
    kinds = keys.unique(maintain_order=True).with_row_index("which")
    found = [
        None if size is None or not how else likely_procedure(shipped_procedures(), FAMILIES[code], size, how)
        for _, code, size, how in kinds.iter_rows()
    ]
    which = keys.join(kinds, on=["family", "size_mm", "method"], nulls_equal=True, maintain_order="left")["which"]
    return found, which.to_numpy().astype(np.int64)


def _expected_turns(procedure: Procedure | None) -> float:
    rule = None if procedure is None else procedure.turns
    return np.nan if rule is None else rule.expected


def _torque(size_mm: FloatArray, generator: np.random.Generator) -> FloatArray:
    """Torques that grow with the size, of bolts from M12 upwards; Own method, for an invented plant."""
    size = np.nan_to_num(size_mm, nan=25.0)
    return np.clip(4.0 * size**0.95, 20.0, 1800.0) * generator.uniform(0.97, 1.03, len(size))


def _wrenches(
    torque: FloatArray, made_up_on: npt.NDArray[np.datetime64], as_of: date, generator: np.random.Generator
) -> pl.Series:
    """The wrench of each make-up by torque: one whose range fits, and none after it was found out."""
    fits = np.array([high for _, high in WRENCH_RANGES])
    which = np.minimum(np.searchsorted(fits, np.nan_to_num(torque)), len(fits) - 1)
    number = generator.integers(0, WRENCHES_A_RANGE, len(torque))
    serials = np.array(
        [[wrench_serial(at, each) for each in range(WRENCHES_A_RANGE)] for at in range(len(fits))], dtype=object
    )
    bad = next((at, each) for at, row in enumerate(serials) for each, serial in enumerate(row) if serial == FOUND_OUT)
    found_out = np.datetime64(found_out_on(as_of), "D")
    suspect = (made_up_on < found_out) & (made_up_on >= found_out - 730) & (generator.random(len(torque)) < _FAVOURED)
    number = np.where((which == bad[0]) & suspect, bad[1], number)
    idle = (which == bad[0]) & (number == bad[1]) & (made_up_on >= found_out)
    number = np.where(idle, (number + 1) % WRENCHES_A_RANGE, number)
    named = serials[which, number]
    named[np.isnan(torque)] = None
    return pl.Series(named.tolist(), dtype=pl.String)


def _lots(
    letters: str,
    of_family: npt.NDArray[np.bool_],
    made_up_on: npt.NDArray[np.datetime64],
    generator: np.random.Generator,
) -> pl.Series:
    """Lots as they come in, a few each quarter of a year."""
    months = made_up_on.astype("datetime64[M]").astype(np.int64)
    frame = pl.DataFrame(
        {
            "year": 1970 + months // 12,
            "quarter": 1 + months % 12 // 3,
            "number": generator.integers(1, _LOTS_A_QUARTER + 1, len(months)),
            "given": of_family & (generator.random(len(months)) < 0.8),
        }
    )
    return frame.select(
        pl.when("given").then(pl.format(f"{letters}-{{}}Q{{}}-{{}}", "year", "quarter", "number")).alias("lot")
    )["lot"]

"""Who made the joints up: the records of the first assembly, as far as they were kept, and of every repair since."""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from registry.demo.history import ACCEPTED, NO_RECORD, NOT_ACCEPTED, WITNESSED, History, Remakes
from registry.demo.joints import FAMILIES, PEOPLE, Joints
from registry.demo.layout import IntArray

WHOLE_HISTORY = 100_000
"""Of so many joints all is on record, of those behind them only the newest: a ledger of millions takes minutes."""

_KEPT = 0.74
"""Share of the dated assemblies of which a record was kept."""

_OVERHAULED = 0.005
"""Share of the joints that were opened and closed at the overhaul."""

_OVERHAULED_TO_MM = 100.0
_OVERHAUL_DAYS = 12
_QUIET_DAYS = 400


@dataclass(frozen=True, slots=True)
class FirstMakeUps:
    """Recorded first assemblies, in order of their day; `state` as in history.py."""

    joint: IntArray
    made_up_on: npt.NDArray[np.datetime64]
    state: IntArray


@dataclass(frozen=True, slots=True)
class MakeUps:
    """Every recorded make-up, in order of its day; people are positions in PEOPLE, -1 for nobody."""

    joint: IntArray
    made_up_on: npt.NDArray[np.datetime64]
    fitter: IntArray
    witness: IntArray
    accepted: npt.NDArray[np.bool_]


def first_make_ups(joints: Joints, generator: np.random.Generator) -> FirstMakeUps:
    """Records of the first assembly of most joints whose day is known; of a large plant, of its oldest part."""
    known = ~np.isnat(joints.made_up_on) & (np.arange(len(joints)) < WHOLE_HISTORY)
    joint = np.flatnonzero(known & (generator.random(len(joints)) < _KEPT))
    state = generator.choice([NOT_ACCEPTED, ACCEPTED, WITNESSED], len(joint), p=[0.015, 0.435, 0.55])
    order = np.lexsort((joint, joints.made_up_on[joint]))
    return FirstMakeUps(joint[order], joints.made_up_on[joint][order], state[order])


def make_up_states(count: int, first: FirstMakeUps) -> IntArray:
    """State of every joint's make-up before its history begins."""
    state = np.full(count, NO_RECORD)
    state[first.joint] = first.state
    return state


def all_make_ups(
    joints: Joints, first: FirstMakeUps, remakes: Remakes, as_of: np.datetime64, generator: np.random.Generator
) -> MakeUps:
    """First assemblies and repairs together, with their people."""
    joint = np.concatenate([first.joint, remakes.joint])
    state = np.concatenate([first.state, remakes.state])
    repaired_on = as_of + np.floor(remakes.day).astype("timedelta64[D]")
    made_up_on = np.concatenate([first.made_up_on, repaired_on])
    people = len(PEOPLE)
    fitter = generator.integers(0, people, len(joint))
    # The joint list names who first made it up; the record agrees.
    listed = joints.fitter[first.joint]
    fitter[: len(listed)] = np.where(listed >= 0, listed, fitter[: len(listed)])
    witness = (fitter + generator.integers(1, people, len(joint))) % people
    order = np.lexsort((joint, made_up_on))
    return MakeUps(
        joint=joint[order],
        made_up_on=made_up_on[order],
        fitter=fitter[order],
        witness=np.where(state == WITNESSED, witness, -1)[order],
        accepted=(state != NOT_ACCEPTED)[order],
    )


def with_overhaul(
    make_ups: MakeUps,
    joints: Joints,
    state: IntArray,
    history: History,
    as_of: np.datetime64,
    overhaul_on: np.datetime64,
    generator: np.random.Generator,
) -> MakeUps:
    """The same with flanges that were opened and closed again at an overhaul, like for like.

    They had not leaked, and did not until the as-of date, and their record is as good as before (`state`, as in
    history.py): the process that drives the history knows nothing of the overhaul, and need not.
    """
    quiet = np.ones(len(joints), dtype=bool)
    quiet[history.leaks.joint[history.leaks.day > (overhaul_on - as_of).astype(int) - _QUIET_DAYS]] = False
    before = np.zeros(len(joints), dtype=bool)
    before[make_ups.joint[make_ups.made_up_on < overhaul_on]] = True
    fit = quiet & before & (joints.method == "torque") & (joints.size_mm <= _OVERHAULED_TO_MM)
    fit &= np.isin(state, [ACCEPTED, WITNESSED]) & (joints.family == FAMILIES.index("flanged"))
    chosen = np.flatnonzero(fit)
    count = min(len(chosen), int(np.ceil(_OVERHAULED * len(joints))))
    joint = np.sort(generator.choice(chosen, count, replace=False))
    people = len(PEOPLE)
    fitter = generator.integers(0, people, count)
    witness = np.where(state[joint] == WITNESSED, (fitter + generator.integers(1, people, count)) % people, -1)
    day = overhaul_on + generator.integers(0, _OVERHAUL_DAYS, count).astype("timedelta64[D]")
    together = MakeUps(
        joint=np.concatenate([make_ups.joint, joint]),
        made_up_on=np.concatenate([make_ups.made_up_on, day]),
        fitter=np.concatenate([make_ups.fitter, fitter]),
        witness=np.concatenate([make_ups.witness, witness]),
        accepted=np.concatenate([make_ups.accepted, np.ones(count, dtype=bool)]),
    )
    order = np.lexsort((together.joint, together.made_up_on))
    return MakeUps(*(getattr(together, part.name)[order] for part in fields(together)))

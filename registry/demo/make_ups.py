"""Who made the joints up: the records of the first assembly, as far as they were kept, and of every repair since."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from registry.demo.history import ACCEPTED, NO_RECORD, NOT_ACCEPTED, WITNESSED, Remakes
from registry.demo.joints import PEOPLE, Joints
from registry.demo.layout import IntArray

WHOLE_HISTORY = 100_000
"""Of so many joints all is on record, of those behind them only the newest: a ledger of millions takes minutes."""

_KEPT = 0.74
"""Share of the dated assemblies of which a record was kept."""


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

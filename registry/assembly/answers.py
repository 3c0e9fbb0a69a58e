"""Answers as they come in, sorted by what their steps ask for: yes or no, readings, serials, lots."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from registry.assembly.model import Given
from registry.errors import Issue
from registry.makeup.model import MakeUpUnfit
from registry.makeup.procedures import MakeUpKind, Procedure, Step

YES: Final = frozenset({"yes", "y", "true"})
NO: Final = frozenset({"no", "n", "false"})


@dataclass(slots=True)
class SortedAnswers:
    """Answers by kind, each by the key of its step; what was left blank is left out."""

    answers: dict[str, bool | float] = field(default_factory=dict[str, bool | float])
    serials: dict[str, str] = field(default_factory=dict[str, str])
    lots: dict[str, str] = field(default_factory=dict[str, str])

    @property
    def whole(self) -> dict[str, bool | float | str]:
        """All of them by step, as the ledger keeps them."""
        return {**self.answers, **self.serials, **self.lots}


def sorted_answers(procedure: Procedure | None, kind: MakeUpKind, given: Given) -> SortedAnswers:
    """Sort answers by their steps. Raises MakeUpUnfit with every answer that no step asks for or can take.

    Examples
    --------
    >>> from registry.makeup.reading_procedures import shipped_procedures
    >>> half_inch = next(each for each in shipped_procedures() if each.code == "ferrule-mp-half-inch-torque")
    >>> found = sorted_answers(half_inch, "first", {"gap-gauge": "no", "torqued": "150", "torque-wrench": " TW-014 "})
    >>> found.answers, found.serials
    ({'gap-gauge': False, 'torqued': 150.0}, {'torque-wrench': 'TW-014'})
    """
    steps = {} if procedure is None else {step.key: step for step in procedure.steps}
    found, issues = SortedAnswers(), list[Issue]()
    for key, answer in given.items():
        if isinstance(answer, str) and not answer.strip():
            continue
        step = steps.get(key)
        if step is None:
            asked = "no procedure was found" if procedure is None else f"'{procedure.code}' has no such step"
            issues.append(Issue(None, key, str(answer), asked))
        elif not step.is_for(kind):
            issues.append(Issue(None, key, str(answer), f"belongs to a {step.only} make-up"))
        else:
            issues += _taken(found, step, answer)
    if issues:
        raise MakeUpUnfit("some answers cannot be taken", issues)
    return found


def _taken(found: SortedAnswers, step: Step, answer: bool | float | str) -> Iterator[Issue]:
    if step.kind in ("tool", "lot"):
        if isinstance(answer, bool):
            yield Issue(None, step.key, str(answer), f"is no {'serial' if step.kind == 'tool' else 'lot'}")
            return
        text = f"{answer:g}" if isinstance(answer, float) else str(answer).strip()
        (found.serials if step.kind == "tool" else found.lots)[step.key] = text
    elif step.kind == "number":
        number = _number(answer)
        if number is None:
            yield Issue(None, step.key, str(answer), f"is no number [{step.unit}]")
        else:
            found.answers[step.key] = number
    else:
        said = _yes_or_no(answer)
        if said is None:
            yield Issue(None, step.key, str(answer), "is neither yes nor no")
        else:
            found.answers[step.key] = said


def _number(answer: bool | float | str) -> float | None:
    if isinstance(answer, bool):
        return None
    try:
        number = float(answer)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def _yes_or_no(answer: bool | float | str) -> bool | None:
    if isinstance(answer, bool):
        return answer
    word = str(answer).strip().lower()
    return True if word in YES else False if word in NO else None

"""What limits a plan, said in words."""

from registry.planning.model import PlanSummary


def limits_in_words(told: PlanSummary) -> tuple[str, ...]:
    """What keeps the plan from being better, the weightiest first: a sentence each."""
    raise NotImplementedError

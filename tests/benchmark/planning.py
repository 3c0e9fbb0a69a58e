"""Plan 200,000 checks of 60 areas over 104 weeks with six crews: `python -m tests.benchmark.planning --help`.

Needs no database. Time and memory depend on the machine; the gap to the bound and the ratio to a plan made by due date
alone do not.
"""

import argparse
import resource
import sys

from registry.planning.costs import plan_costs
from registry.planning.faults import faults
from registry.planning.problem import UNPLACED, Problem
from registry.planning.solver import solved
from registry.planning.waiting import waiting
from tests.benchmark.greedy_plan import greedy_plan
from tests.benchmark.measured import Row, table, timed
from tests.benchmark.planning_case import planning_case

CHECKS = 200_000
SEED = 1


def main() -> None:
    """Measure plans of the sizes given, and print them."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmark.planning", description=__doc__)
    parser.add_argument("--checks", type=int, nargs="+", default=[CHECKS], help=f"sizes (default {CHECKS:,})")
    parser.add_argument("--seed", type=int, default=SEED)
    parsed = parser.parse_args()
    # Compiling to machine code is once for an installation.
    solved(planning_case(500, parsed.seed, areas=4, scaffolds=4, weeks=12))
    rows = [row for checks in parsed.checks for row in plan_rows(planning_case(checks, parsed.seed))]
    print(table(rows))


def plan_rows(problem: Problem) -> list[Row]:
    """One plan: its time, memory, gap, and how much dearer the plan by due date is."""
    began = _processor_seconds()
    seconds, peak, answer = timed(lambda: solved(problem))
    processor = _processor_seconds() - began
    broken = faults(problem, answer.week, answer.crew)
    if broken:
        sys.exit("the plan breaks its problem: " + "; ".join(broken))
    greedy_seconds, greedy_peak, greedy = timed(lambda: greedy_plan(problem))
    by_due = plan_costs(problem, *greedy)
    # What no plan can change, as checks whose outage never comes, costs every plan the same.
    settled = waiting(problem).settled_cost
    above = (answer.costs.total - answer.bound) / (answer.bound - settled)
    size = f"{len(problem.checks):,} checks"
    notes = (
        f"gap {answer.gap:.3%}, {above:.3%} of what can be decided; processor {processor:.1f} s;"
        f" {int((answer.week == UNPLACED).sum()):,} in no week"
    )
    dearer = by_due.total / answer.costs.total
    decided = (by_due.total - settled) / (answer.costs.total - settled)
    return [
        Row(f"plan: {size}", seconds, peak_mib=peak, notes=notes),
        Row(
            f"plan: {size} by due date alone",
            greedy_seconds,
            peak_mib=greedy_peak,
            notes=f"{dearer:.2f} × the cost, {decided:.2f} × of what can be decided;"
            f" {int((greedy[0] == UNPLACED).sum()):,} in no week",
        ),
    ]


def _processor_seconds() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


if __name__ == "__main__":
    main()

"""The verdict on a make-up: accepted, or not accepted with every reason.

The rules are the procedure's; nothing here knows a family. An old record (`in_retrospect`) is judged by the same rules
for what it says. What it leaves out counts where records of that time could hold it: the fitter's name, and the steps
marked `in_old_records`, such as the torque and the wrench's serial. What they could not hold is passed over, and said
so: answers to questions that nobody asked, papers from before the registers of people and tools begin, the target
torque of that day.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from registry.makeup.judging_tools import tool_remarks
from registry.makeup.procedures import Procedure, Step
from registry.makeup.readings import Readings, fault_of, number_of, readings_of
from registry.makeup.report import Findings, MakeUpReport, PassedOver, Reason, Verdict
from registry.makeup.targets import TorqueTarget, Unsaid, bolt_load_band, torque_target, wrench_setting
from registry.makeup.wording import in_turns, in_unit, plus_minus
from registry.papers.on_the_day import want_of_qualification

Remark = Reason | PassedOver

# A reading on the very edge of a band is within it; so much is lost in binary fractions.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class _Case:
    """A report held against its procedure, with the readings that can be used."""

    procedure: Procedure
    report: MakeUpReport
    readings: Readings

    @property
    def steps(self) -> tuple[Step, ...]:
        return self.procedure.steps_for(self.report.kind)


def verdict(procedure: Procedure | None, report: MakeUpReport) -> Verdict:
    """Judge a make-up by its procedure; None where nobody knows by which one an old joint was made up."""
    remarks: list[Remark] = [*_people(report)]
    findings = Findings()
    if procedure is None:
        remarks += _without_procedure(report)
    else:
        case = _Case(procedure, report, readings_of(procedure, report.kind, report.answers))
        findings = _findings(case)
        remarks += _joint(case)
        remarks += _steps(case)
        remarks += tool_remarks(case.steps, report, findings)
        remarks += _turns(case, findings)
        remarks += _torque(case, findings)
        remarks += _gap(case)
    return Verdict(
        tuple(remark for remark in remarks if isinstance(remark, Reason)),
        tuple(remark for remark in remarks if isinstance(remark, PassedOver)),
        findings,
    )


def _findings(case: _Case) -> Findings:
    torque = case.readings.get("torque_n_m") if case.procedure.torque is not None else None
    return Findings(
        turned=case.readings.get("turns"),
        turns=case.procedure.turns_expected(case.report.kind),
        torque_n_m=torque,
        target=torque_target(case.procedure, case.readings),
        setting_n_m=None if torque is None else wrench_setting(torque, case.readings),
        bolt_load_n=bolt_load_band(case.procedure, case.readings, torque),
    )


def _people(report: MakeUpReport) -> Iterator[Remark]:
    fitter = (report.fitter or "").strip()
    if not fitter:
        yield Reason("refused", "fitter-missing", "nobody is named as the fitter")
        return
    if _same_name(fitter, report.witness):
        yield Reason("refused", "witness-is-fitter", f"{fitter} cannot be the witness of their own make-up")
    want = want_of_qualification(report.qualifications, report.family, report.size_mm, report.made_up_on)
    if want is None:
        return
    reaches_back = any(paper.valid_from_on <= report.made_up_on for paper in report.qualifications)
    if report.in_retrospect and not reaches_back:
        yield PassedOver("fitter-not-qualified", f"{fitter}: no papers are on file from before {report.made_up_on}")
    else:
        yield Reason("refused", "fitter-not-qualified", f"{fitter}: {want}")


def _same_name(fitter: str, witness: str | None) -> bool:
    return witness is not None and fitter.casefold().split() == witness.casefold().split()


def _without_procedure(report: MakeUpReport) -> Iterator[Remark]:
    text = "nobody knows by which procedure it was made up: only the people and the tools' calibration were judged"
    if report.in_retrospect:
        yield PassedOver("procedure-missing", text)
    else:
        yield Reason("refused", "procedure-missing", "no procedure was named for it")
    yield from tool_remarks((), report, Findings())


def _joint(case: _Case) -> Iterator[Remark]:
    procedure, report = case.procedure, case.report
    if not procedure.fits(report.family, report.size_mm):
        size = "" if report.size_mm is None else f" of {in_unit(report.size_mm, 'mm')}"
        text = (
            f"'{procedure.title}' is not for this joint: {report.family.replace('_', ' ')}{size}, where it is for "
            f"{procedure.family.replace('_', ' ')} from {procedure.size_from_mm:g} to below {procedure.size_to_mm:g} mm"
        )
        yield Reason("refused", "procedure-not-for-joint", text)


def _steps(case: _Case) -> Iterator[Remark]:
    report, unasked = case.report, list[str]()
    for step in case.steps:
        if _is_answered(report, step):
            yield from _answered(report, step)
        elif step.optional:
            continue
        elif report.in_retrospect and not step.in_old_records:
            unasked.append(step.key)
        else:
            text = step.if_not if step.kind in ("number", "tool", "lot") else f"not answered: {step.ask}"
            yield Reason("refused", f"{step.key}-missing", text, step.key)
    if unasked:
        yield PassedOver("steps-not-asked", f"not asked at that time: {', '.join(unasked)}")


def _answered(report: MakeUpReport, step: Step) -> Iterator[Reason]:
    number = number_of(step, report.answers)
    if number is not None and (fault := fault_of(step, number)) is not None:
        yield Reason("refused", f"{step.key}-out-of-range", f"{step.ask}: {fault}", step.key)
    wrong = {"confirm": False, "absent": True}.get(step.kind)
    if wrong is not None and report.answers[step.key] is wrong and step.if_not:
        yield Reason("refused", f"{step.key}-failed", step.if_not, step.key)


def _is_answered(report: MakeUpReport, step: Step) -> bool:
    """Whether there is an answer of the step's kind."""
    if step.kind == "tool":
        return report.tools.get(step.key, "") != ""
    if step.kind == "lot":
        return bool(report.lots.get(step.key, "").strip())
    if step.kind == "number":
        return number_of(step, report.answers) is not None
    return isinstance(report.answers.get(step.key), bool)


def _turns(case: _Case, findings: Findings) -> Iterator[Reason]:
    turned, rule = findings.turned, findings.turns
    if turned is None or rule is None or abs(turned - rule.expected) <= rule.tolerance + _ROUNDING:
        return
    expected = plus_minus(rule.expected, rule.tolerance)
    if case.procedure.torque is not None:
        text = f"turned {in_turns(turned)}, {expected} expected at this torque"
        yield Reason("questioned", "turns-disagree-with-torque", text)
    else:
        yield Reason("refused", "turns-off", f"turned {in_turns(turned)}, {expected} asked for")


def _torque(case: _Case, findings: Findings) -> Iterator[Remark]:
    torque, target = findings.torque_n_m, findings.target
    if torque is None:
        return
    if isinstance(findings.setting_n_m, Unsaid):
        yield Reason("questioned", findings.setting_n_m.code, findings.setting_n_m.text)
    if isinstance(target, Unsaid):
        yield Reason("refused", target.code, target.text)
    elif isinstance(target, TorqueTarget):
        slack = target.n_m * _ROUNDING
        if not target.least_n_m - slack <= torque <= target.most_n_m + slack:
            text = (
                f"torqued to {in_unit(torque, 'N·m')}, {in_unit(target.n_m, 'N·m')} ± {100 * target.band:g} % asked "
                f"for ({in_unit(target.least_n_m)} to {in_unit(target.most_n_m, 'N·m')})"
            )
            yield Reason("refused", "torque-off", text)
    elif case.report.in_retrospect:
        yield PassedOver("torque-target-unknown", "the target torque of that day is not known: its band was not judged")


def _gap(case: _Case) -> Iterator[Reason]:
    least, most = case.readings.get("gap_least_mm"), case.readings.get("gap_most_mm")
    if case.procedure.bolting is None or least is None or most is None:
        return
    allowed = case.procedure.bolting.gap_difference_mm
    if least > most:
        text = f"the smallest gap, {in_unit(least, 'mm')}, is above the largest, {in_unit(most, 'mm')}"
        yield Reason("questioned", "gaps-disagree", text)
    elif allowed is not None and most - least > allowed + _ROUNDING:
        text = f"the gap differs by {in_unit(most - least, 'mm')} round the joint, {in_unit(allowed, 'mm')} at most"
        yield Reason("refused", "gap-uneven", text)

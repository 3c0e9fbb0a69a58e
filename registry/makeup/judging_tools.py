"""What stands against the tools of a make-up, as they were on its day."""

from collections.abc import Iterator, Mapping, Sequence

from registry.makeup.procedures import Step
from registry.makeup.report import Findings, MakeUpReport, PassedOver, Reason
from registry.makeup.wording import in_unit
from registry.papers.on_the_day import ToolOnDay

_ROUNDING = 1e-9


def tool_remarks(steps: Sequence[Step], report: MakeUpReport, findings: Findings) -> Iterator[Reason | PassedOver]:
    """Yield what stands against each tool that was named."""
    by_key = {step.key: step for step in steps if step.kind == "tool"}
    for key, tool in report.tools.items():
        step = by_key.get(key)
        at = key if step is not None else ""
        if tool == "":
            continue
        if isinstance(tool, str):
            if report.in_retrospect:
                yield PassedOver("tool-unknown", f"tool {tool} is not in the register, which may begin later")
            else:
                yield Reason("refused", "tool-unknown", f"tool {tool} is not in the register of tools", at)
            continue
        if step is not None and step.tool is not None and tool.kind != step.tool:
            text = f"{tool.serial} is {_a(tool.kind)}, where {_a(step.tool)} is asked for"
            yield Reason("refused", "tool-wrong-kind", text, at)
        yield from _calibration(tool, report, at, needed=step is None or step.calibrated)
        if step is not None and step.tool == "torque_wrench":
            yield from _range(tool, findings, at)


def tools_for_steps(steps: Sequence[Step], tools: Sequence[ToolOnDay | str]) -> Mapping[str, ToolOnDay | str]:
    """Put the tools of an old record at the steps that ask for their kind; what is left stands by its serial.

    An unknown tool takes the place of a required step that no known one fills: it was named, though nobody knows its
    kind.
    """
    placed: dict[str, ToolOnDay | str] = {}
    open_steps = [step for step in steps if step.kind == "tool"]
    for tool in sorted(tools, key=lambda each: isinstance(each, str)):
        kind = None if isinstance(tool, str) else tool.kind
        free = (step for step in open_steps if step.key not in placed)
        fit = next((step for step in free if step.tool == kind or (kind is None and not step.optional)), None)
        placed[fit.key if fit is not None else (tool if isinstance(tool, str) else tool.serial)] = tool
    return placed


def _calibration(tool: ToolOnDay, report: MakeUpReport, at: str, *, needed: bool) -> Iterator[Reason | PassedOver]:
    on, calibration = report.made_up_on, tool.calibration
    if calibration is None:
        if report.in_retrospect and needed:
            text = f"{tool.serial}: no calibration is on file from before {on}"
            yield PassedOver("tool-without-calibration", text)
        elif needed:
            yield Reason("refused", "tool-without-calibration", f"{tool.serial} had not been calibrated by {on}", at)
    elif not calibration.holds_on(on):
        text = f"{tool.serial} was out of calibration on {on}: the last one ran out on {calibration.valid_until_on}"
        yield Reason("refused", "tool-out-of-calibration", text, at)
    elif needed and not (calibration.certificate or "").strip():
        text = f"{tool.serial} has no certificate for its calibration of {calibration.calibrated_on}"
        yield Reason("refused", "tool-without-certificate", text, at)
    if tool.found_out_on is not None:
        text = f"{tool.serial} was found out of tolerance at its calibration of {tool.found_out_on}"
        yield Reason("questioned", "tool-found-out-of-tolerance", text, at)


def _range(tool: ToolOnDay, findings: Findings, at: str) -> Iterator[Reason]:
    setting, torque = findings.setting_n_m, findings.torque_n_m
    if not isinstance(setting, float) or torque is None:
        return
    below = tool.low_n_m is not None and setting < tool.low_n_m * (1 - _ROUNDING)
    above = tool.high_n_m is not None and setting > tool.high_n_m * (1 + _ROUNDING)
    if below or above:
        through = "" if setting == torque else f" ({in_unit(torque, 'N·m')} at the nut, through the adaptor)"
        low = "" if tool.low_n_m is None else f"from {in_unit(tool.low_n_m)} "
        high = "up" if tool.high_n_m is None else f"to {in_unit(tool.high_n_m)}"
        text = f"{in_unit(setting, 'N·m')}{through} is outside the range of {tool.serial}, {low}{high} N·m"
        yield Reason("refused", "tool-out-of-range", text, at)


def _a(kind: str) -> str:
    return f"a {kind.replace('_', ' ')}" if kind != "other" else "a tool of another kind"

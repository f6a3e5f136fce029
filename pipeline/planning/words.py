"""A plan as text: what has to be run, what it shows, what was assumed, and the blocks for a card."""

from __future__ import annotations

from pipeline.planning.plan import Line, Plan, Run
from pipeline.wording import in_percent


def words(plan: Plan) -> str:
    """The plan as text to print."""
    lines = [f"{plan.compound}{f', method {plan.method}' if plan.method else ''}: {plan.question}"]
    lines += [f"program: {plan.program}; wanted chance {in_percent(plan.wanted)}", ""]
    lines += run_lines(plan)
    if plan.lines:
        lines += ["", "what it shows (pessimistic: upper end of the specimens' scatter)"]
        lines += [f"  {line.what}: {shown(line)}" for line in plan.lines]
    if plan.undetermined:
        lines += ["", *plan.undetermined]
    if plan.assumed:
        lines += ["", "assumed"]
        lines += [f"  {text}" for text in plan.assumed]
    if plan.blocks and any(run.specimens is not None for run in plan.run.values()):
        lines += ["", "blocks of one specimen, ready for test.yaml", plan.blocks.rstrip()]
    return "\n".join(lines)


def run_lines(plan: Plan) -> list[str]:
    """What has to be run: once where both cases ask for the same."""
    cases = list(plan.run.items())
    if len({run for _, run in cases}) == 1:
        return [f"to run: {run_words(cases[0][1])}"]
    return [f"to run, {case}: {run_words(run)}" for case, run in cases]


def run_words(run: Run) -> str:
    """Specimens, stops and rig hours."""
    if run.specimens is None:
        return f"undetermined, because {run.why}"
    each = f"{run.specimens} specimen{'s' if run.specimens > 1 else ''}, {run.stops} stops"
    return f"{each}, " + (f"{run.hours:.1f} rig hours" if run.hours is not None else f"rig hours unknown ({run.why})")


def shown(line: Line) -> str:
    """The figures of a line with their unit."""
    if line.as_found is None:
        return f"undetermined, because {line.why or 'nothing tells it'}"
    said = figure(line.as_found, line)
    if line.pessimistic is not None:
        said += f" (pessimistic {figure(line.pessimistic, line)})"
    return said + (f"; {line.why}" if line.why else "")


def figure(value: float, line: Line) -> str:
    """A figure of a line: chances and shares as per cent."""
    if line.unit == "1":
        percent = 100 * value
        if percent > 99.9 and line.key.endswith("_equivalent"):
            return "over 99.9 %"
        return f"{percent:.0f} %" if percent >= 10 else f"{percent:.1f} %"
    if line.unit in ("specimens", "mu"):
        return f"{value:.0f}" if line.unit == "specimens" else f"{value:.4f}"
    return f"{value:.3g} {line.unit}"

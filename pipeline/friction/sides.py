"""One verdict over both duties: what the low-energy side and the high-energy side of the data each show.

Low-energy duty runs discs cold, where carbon may be below its transition and glaze; high-energy duty runs
them hot, where it may fade. Each side is a list of questions with their figures; a side holds when every
question that the data can answer is answered well and none is open. Glazing and its recovery are drift's
verdict: here stand only the friction figures, and that stops were left out for it.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.friction.map import FrictionMap

GLAZED = "glazing-like"
RECOVERED = 0.95  # common practice: back to 95 % of the level before
ZERO_C = 273.15


def low_energy(
    map_: FrictionMap, found: dict[str, Any], wanted: tuple[float, float], start: float | None
) -> dict[str, Any]:
    """Cold end: the window's low end against the wanted one, low energy there, blocks changed by duty."""
    questions = [window_end(found, start, "low")]
    if start is not None and "energy" not in map_.missing:
        energies = map_.stops["energy_density_j_mm2"].to_numpy()
        lowest = float(np.quantile(energies, 0.05)) * 1e6
        at = map_.predict(start, energy_density=lowest)
        text = f"mu at {start - ZERO_C:.0f} C and the lowest energy density run, {lowest / 1e6:.1f} J/mm2"
        questions.append(in_band(text, at.mu[0], at.se[0], bool(at.supported[0]), wanted))
    changed = [block for block in found.get("left_out") or [] if block["shift"] is not None and block["shift"] < 0]
    if changed:
        worst = min(changed, key=lambda b: b["shift"])
        questions.append(
            {"question": "friction unchanged by duty", "answer": "no", "value": worst["shift"], "text": worst["why"]}
        )
    # a compound's stops after the onset of a drift are gone before any block is looked at
    for test in found.get("changed") or []:
        answer = "no" if test["verdict"] == GLAZED else "not shown"
        questions.append(
            {"question": "friction unchanged by duty", "answer": answer, "value": None, "text": test["why"]}
        )
    return summed("low-energy side", questions)


def high_energy(found: dict[str, Any], wanted: tuple[float, float], end: float | None) -> dict[str, Any]:
    """Hot end: the window's high end against the wanted one, lowest mu of the fade, recovery."""
    questions = [window_end(found, end, "high")]
    # over several tests the lowest friction, which need not be in the test of the lowest index
    every = [test["fade"] for test in found.get("tests") or [] if test.get("fade")]
    fade = min(every, key=lambda one: one["mu_min"]) if every else found.get("fade")
    indices = [(test.get("recovery") or {}).get("index") for test in found.get("tests") or []]
    known = [index for index in indices if index is not None]
    if fade is None:
        questions.append(
            {"question": "mu in the fade", "answer": "not shown", "value": None, "text": "no fade block was run"}
        )
    else:
        inside = wanted[0] <= fade["mu_min"] <= wanted[1]
        text = f"lowest mu of the fade {fade['mu_min']:.3f} at {fade['temperature_c']:.0f} C, wanted {wanted[0]:.3g} to {wanted[1]:.3g}"
        questions.append(
            {"question": "mu in the fade", "answer": "yes" if inside else "no", "value": fade["mu_min"], "text": text}
        )
    index = min(known) if known else (found.get("recovery") or {}).get("index")
    if index is None:
        text = "no check after a fade to tell recovery by"
        questions.append({"question": "recovery", "answer": "not shown", "value": None, "text": text})
    else:
        text = f"back to {100 * index:.0f} % of the level before"
        questions.append(
            {"question": "recovery", "answer": "yes" if index >= RECOVERED else "no", "value": index, "text": text}
        )
    return summed("high-energy side", questions)


def window_end(found: dict[str, Any], limit: float | None, side: str) -> dict[str, Any]:
    """Whether the window reaches the wanted end (K); without a wanted one the window's own end is told."""
    window, name = found["window"], f"window reaches the wanted {side} end"
    if window is None:
        return {"question": name, "answer": "not shown", "value": None, "text": f"no window: {found['window_reason']}"}
    end = window[f"{side}_c"]
    if limit is None:
        return {"question": name, "answer": "not shown", "value": end, "text": f"no target; {window[f'{side}_why']}"}
    margin = (limit - ZERO_C - end) if side == "low" else (end - limit + ZERO_C)
    text = f"window's {side} end {end:.0f} C, wanted {limit - ZERO_C:.0f} C: {window[f'{side}_why']}"
    short = "not shown" if window[f"{side}_limited_by"] == "data" else failing(found, side)
    return {
        "question": name,
        "answer": "yes" if margin >= -1e-6 else short,
        "value": end,
        "margin_c": margin,
        "text": text,
    }


def failing(found: dict[str, Any], side: str) -> str:
    """no where the wanted window's verdict shows a failure on this side of its middle, else not shown."""
    holds = found["holds"]
    if not holds or holds["answer"] != "no":
        return "not shown"
    middle = (holds["from_c"] + holds["to_c"]) / 2
    here = [r for r in holds["fails"] if (r["from_c"] < middle if side == "low" else r["to_c"] > middle)]
    return "no" if here else "not shown"


def in_band(text: str, mu: float, se: float, supported: bool, wanted: tuple[float, float]) -> dict[str, Any]:
    question = "mu at low energy"
    if not supported:
        return {"question": question, "answer": "not shown", "value": None, "text": f"{text}: outside the data"}
    low, high = mu - 2 * se, mu + 2 * se
    answer = (
        "yes"
        if low >= wanted[0] and high <= wanted[1]
        else "no"
        if high < wanted[0] or low > wanted[1]
        else "not shown"
    )
    return {"question": question, "answer": answer, "value": float(mu), "text": f"{text}: {mu:.3f}"}


def summed(name: str, questions: list[dict[str, Any]]) -> dict[str, Any]:
    answers = [q["answer"] for q in questions]
    answer = "no" if "no" in answers else "not shown" if "not shown" in answers else "yes"
    deciding = [q["text"] for q in questions if q["answer"] == answer]
    return {"side": name, "answer": answer, "questions": questions, "text": f"{name}: {answer}; " + "; ".join(deciding)}


def verdict(low: dict[str, Any], high: dict[str, Any]) -> dict[str, Any]:
    """Both sides in one: yes only where both are."""
    answers = (low["answer"], high["answer"])
    answer = "no" if "no" in answers else "not shown" if "not shown" in answers else "yes"
    return {"answer": answer, "low_energy": low, "high_energy": high, "text": f"{low['text']}. {high['text']}."}

"""Wear in words, for all pages and the sheet: what the readings say of the rate and of the law, and no more.

A law is named as one only where wear.json says that the readings identify it; one that merely stands in as a description is
told as "no law identified", with the stage's own reason, and a null as "not given", with its reason.
"""

from collections.abc import Mapping
from typing import Any

from pipeline.report import numbers


def name_of(component: str) -> str:
    """`pad_inner_2` as words."""
    return component.replace("_", " ")


def chosen_model(component: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The chosen law of one component, or None."""
    return next((m for m in component.get("models") or [] if m.get("model") == component.get("chosen")), None)


def identified(component: Mapping[str, Any]) -> bool:
    """Whether the readings identify the law that is chosen for the component."""
    return bool((chosen_model(component) or {}).get("identified"))


def law_name(component: Mapping[str, Any]) -> str:
    """The chosen law in a legend; says where it is not identified."""
    if not component.get("chosen"):
        return "no law"
    name = f"{str(component['chosen']).replace('_', ' ')} law"
    return name if identified(component) else f"{name}, not identified"


def law_words(component: Mapping[str, Any]) -> str:
    """What the readings say of the law: its name, or that none is identified and why."""
    if not component.get("chosen"):
        return f"no law chosen, because {_why(component, 'chosen')}"
    if identified(component):
        return f"{str(component['chosen']).replace('_', ' ')} law"
    model = chosen_model(component) or {}
    why = model.get("why") or _why(component, "chosen")
    return f"no law identified, because {str(why).rstrip('.')}"


def rate_words(component: Mapping[str, Any]) -> str:
    """Thickness loss per stop with its interval and unit, or that it is not given and why."""
    rates = component.get("rates") or {}
    rate = rates.get("um_per_stop")
    if isinstance(rate, Mapping) and numbers.is_number(rate.get("value")):
        return f"{numbers.interval_text(rate)} µm per stop"
    why = numbers.why_missing(rate, "value") or numbers.why_missing(rates, "um_per_stop") or _why(component, "rates")
    return f"rate {numbers.MISSING}, because {why.rstrip('.')}"


def headline(wear: Mapping[str, Any]) -> tuple[str, str]:
    """Tone and sentence over all components: calm only where every rate is given and every law identified."""
    found = sorted((wear.get("components") or {}).items())
    if not found:
        return "open", none_words(wear)
    said = "; ".join(f"{name_of(name)} {rate_words(one)} ({law_words(one)})" for name, one in found)
    sure = all(identified(one) and "because" not in rate_words(one) for _, one in found)
    return ("good" if sure else "open"), f"Wear: {said}."


def none_words(wear: Mapping[str, Any]) -> str:
    """Why a test has no wear."""
    why = wear.get("why") or wear.get("reason") or wear.get("unusable") or "no wear readings belong to this test"
    return f"No wear: {why}"


def _why(component: Mapping[str, Any], key: str) -> str:
    return numbers.why_missing(component, key) or "wear.json gives no reason"

"""Wear in words, for all pages and the sheet: what the readings say of the rate and of the law, and no more.

A law is named as one only where wear.json says that the readings identify it; one that merely stands in as a
description is told as "no law identified", with the stage's own reason, and a null as "not given", with its reason.
"""

from pipeline.report import numbers
from pipeline.results.wear import ComponentWear, CompoundWear, LawName, TestWear


def name_of(component: str) -> str:
    """`pad_inner_2` as words."""
    return component.replace("_", " ")


def basis(component: str) -> str:
    """What a thickness loss of the component is a loss of: a disc's is that of both faces, a pad's of its one face."""
    return "both faces together" if component.startswith("disc") else "its one face"


def identified(component: ComponentWear) -> bool:
    """Whether the readings identify the law that is chosen for the component."""
    return component.identified_law is not None


def spoken(law: LawName) -> str:
    """`two_regime` as words."""
    return law.replace("_", " ")


def law_name(component: ComponentWear) -> str:
    """The chosen law in a legend; says where it is not identified."""
    if component.chosen is None:
        return "no law"
    name = f"{spoken(component.chosen)} law"
    return name if identified(component) else f"{name}, not identified"


def law_words(component: ComponentWear) -> str:
    """What the readings say of the law: its name, or that none is identified and why."""
    if component.chosen is None:
        return f"no law chosen, because {_why(component, 'chosen')}"
    if identified(component):
        return f"{spoken(component.chosen)} law"
    model = component.chosen_law
    why = (model and model.why) or _why(component, "chosen")
    return f"no law identified, because {why.rstrip('.')}"


def rate_words(component: ComponentWear) -> str:
    """Thickness loss per stop with its interval and unit, or that it is not given and why."""
    rates = component.rates
    rate = rates and rates.um_per_stop
    if rate and rate.value is not None:
        return f"{numbers.interval_text(rate)} µm per stop"
    why = (rate and rate.why) or (rates and rates.why_null("um_per_stop")) or _why(component, "rates")
    return f"rate {numbers.MISSING}, because {why.rstrip('.')}"


def headline(wear: TestWear | CompoundWear) -> tuple[str, str]:
    """Tone and sentence over all components: calm only where every rate is given and every law identified."""
    found = sorted((wear.components or {}).items())
    if not found:
        return "open", none_words(wear)
    given = {name: "because" not in rate_words(one) for name, one in found}
    said = "; ".join(
        f"{name_of(name)} {rate_words(one)}{f', {basis(name)}' if given[name] else ''} ({law_words(one)})"
        for name, one in found
    )
    sure = all(identified(one) and given[name] for name, one in found)
    return ("good" if sure else "open"), f"Wear: {said}."


def none_words(wear: TestWear | CompoundWear) -> str:
    """Why a test has no wear."""
    why = wear.why or wear.unusable or "no wear readings belong to this test"
    return f"No wear: {why}"


def _why(component: ComponentWear, key: str) -> str:
    return component.why_null(key) or "wear.json gives no reason"

"""The method: all that decides a number and is not a fact of the test.

One frozen model per stage, each in a file of its own together with the stage's REVISION, an integer raised by hand when
the stage's numbers change. An empty method file is the default method.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from types import ModuleType
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from pipeline.inputs.model import load
from pipeline.method import batches, conditioning, drift, duty, friction, reduction, segmentation, wear
from pipeline.method.base import Settings, canonical
from pipeline.method.batches import Batches
from pipeline.method.conditioning import Conditioning
from pipeline.method.drift import Drift
from pipeline.method.duty import Duty
from pipeline.method.friction import Friction
from pipeline.method.reduction import Reduction
from pipeline.method.segmentation import Segmentation
from pipeline.method.wear import Wear
from pipeline.stages import STAGES

SECTIONS: dict[str, tuple[type[Settings], ModuleType]] = {
    "conditioning": (Conditioning, conditioning),
    "segmentation": (Segmentation, segmentation),
    "reduction": (Reduction, reduction),
    "friction": (Friction, friction),
    "wear": (Wear, wear),
    "drift": (Drift, drift),
    "batches": (Batches, batches),
    "duty": (Duty, duty),
}


def _section(value: Any) -> Any:
    return {} if value is None else value


class Method(Settings):
    """A whole method file; every section and key optional."""

    conditioning: Annotated[Conditioning, BeforeValidator(_section)] = Field(default_factory=Conditioning)
    segmentation: Annotated[Segmentation, BeforeValidator(_section)] = Field(default_factory=Segmentation)
    reduction: Annotated[Reduction, BeforeValidator(_section)] = Field(default_factory=Reduction)
    friction: Annotated[Friction, BeforeValidator(_section)] = Field(default_factory=Friction)
    wear: Annotated[Wear, BeforeValidator(_section)] = Field(default_factory=Wear)
    drift: Annotated[Drift, BeforeValidator(_section)] = Field(default_factory=Drift)
    batches: Annotated[Batches, BeforeValidator(_section)] = Field(default_factory=Batches)
    duty: Annotated[Duty, BeforeValidator(_section)] = Field(default_factory=Duty)


def load_method(path: Path) -> Method:
    """Read a method file. Raises InputError in one line; an empty file is the default method."""
    return load(path, Method, empty_ok=True)


def stage_settings(method: Method, *sections: str, code: Iterable[str] = ()) -> str:
    """Canonical JSON of the named sections with their revisions and those of `code`: what a rule carries as `params`.

    Values are SI numbers, so that `20 Hz` and `0.02 kHz` are the same setting.
    """
    content = {name: getattr(method, name).model_dump(mode="json") for name in sections}
    revisions = {name: SECTIONS[name][1].REVISION for name in (*sections, *code)}
    return canonical({"settings": content, "revisions": revisions})


def settings_of(method: Method, stage: str) -> str:
    """What the table of stages gives to a stage: its sections, and the revisions of all code that it calls."""
    return stage_settings(method, *STAGES[stage].settings, code=STAGES[stage].code)


#: in the settings of a stage that sees two methods, what stands before the names of their sections
PLACES = ("first", "second")


def settings_of_two(methods: tuple[Method, Method], stage: str) -> str:
    """What a stage gets that sees two methods: the sections of both, told apart by their place, and the revisions."""
    import json

    texts = [json.loads(settings_of(method, stage)) for method in methods]
    sections = {
        f"{place} {name}": values
        for place, text in zip(PLACES, texts, strict=True)
        for name, values in text["settings"].items()
    }
    return canonical({"settings": sections, "revisions": texts[0]["revisions"]})


def from_settings_of_two(text: str) -> tuple[Method, Method]:
    """The two methods as a stage sees them, from `settings_of_two`."""
    import json

    sections = json.loads(text)["settings"]
    first, second = (
        from_stage_settings(
            json.dumps({"settings": {k.partition(" ")[2]: v for k, v in sections.items() if k.startswith(f"{place} ")}})
        )
        for place in PLACES
    )
    return first, second


def from_stage_settings(text: str) -> Method:
    """The method as one stage sees it: the sections in `text` and no other.

    The text comes from `stage_settings`, so its values are SI numbers that need no unit. To read a section that is not
    given raises AttributeError: at its default it would pass for what the user chose.
    """
    import json

    content = json.loads(text)["settings"]
    built: dict[str, Any] = {}
    for name, values in content.items():
        model = SECTIONS[name][0]
        unknown = set(values) - set(model.model_fields)
        if unknown:
            raise ValueError(f"settings of {name}: unknown {sorted(unknown)}")
        built[name] = model.model_construct(**{k: _tuples(v) for k, v in values.items()})
    seen = Method.model_construct(**built)
    for name in SECTIONS.keys() - built.keys():
        del seen.__dict__[name]
    return seen


def _tuples(value: Any) -> Any:
    return tuple(_tuples(v) for v in value) if isinstance(value, list) else value


def differing_keys(a: Method, b: Method, sections: Iterable[str] = tuple(SECTIONS)) -> list[tuple[str, str]]:
    """(section, key) of every setting that is not the same, in the order of the method file."""
    found = []
    for section in sections:
        old, new = (getattr(method, section).model_dump(mode="json") for method in (a, b))
        found += [(section, key) for key in type(getattr(a, section)).model_fields if old[key] != new[key]]
    return found


def filled(method: Method) -> dict[str, Any]:
    """Every section and key with its value in SI, and the unit where the description names one."""
    return {name: getattr(method, name).model_dump(mode="json") for name in SECTIONS}

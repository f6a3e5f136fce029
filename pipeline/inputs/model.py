"""What every input file's model shares: frozen, unknown keys refused with the nearest known one, every problem of a file told
at once with its line.

`load(path, Model)` is the only way from a YAML file to a model.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError, ValidationInfo, field_validator

from pipeline.errors import Complaint, InputError, Place, Unfit
from pipeline.inputs import blanks, yaml_text
from pipeline.inputs.quantities import Dimension, to_si
from pipeline.inputs.refusals import MISSING, Refusal, dimension_of, keys_of, known_keys, refusals

OTHER_KIND = (
    3  # keys from which on a file without a single known one is of another kind, and not one with its keys misspelled
)
ROUNDS = 4  # of looking past what is refused


class Model(BaseModel):
    """Frozen, strict about keys; finite numbers only.

    stand_in: a file's least sound content, to look past a key that is refused or missing; bounds: of fields with a unit, the
    lowest and highest value that there can be; derived: fields that no file gives.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True, defer_build=True)
    stand_in: ClassVar[dict[str, Any]] = {}
    bounds: ClassVar[Mapping[str, tuple[str, str]]] = {}
    derived: ClassVar[tuple[str, ...]] = ()

    @field_validator("*")
    @classmethod
    def _in_bounds(cls, value: Any, info: ValidationInfo) -> Any:
        kind = dimension_of(cls.model_fields[str(info.field_name)])
        limits = cls.limits_of(str(info.field_name), kind)
        if kind is not None and limits is not None and value is not None:
            low, high = (to_si(limit, kind.name) for limit in limits)
            for one in value if isinstance(value, tuple) else (value,):
                if not low <= one <= high:
                    raise Unfit(
                        f"{kind.shown(one)} is outside what there can be",
                        f"{limits[0]} to {limits[1]}",
                        "correct the number or its unit",
                    )
        return value

    @classmethod
    def limits_of(cls, name: str, kind: Dimension | None) -> tuple[str, str] | None:
        """Lowest and highest value that there can be of a field."""
        return cls.bounds.get(name)


M = TypeVar("M", bound=BaseModel)


def read_yaml(path: Path, *, inside: Path | None = None) -> Any:
    """The file's content with every scalar as text or None. Raises InputError, also for a link out of `inside`."""
    return yaml_text.content_of(yaml_text.text_of(path, inside=inside), path.name)


def load(path: Path, model: type[M], *, empty_ok: bool = False, inside: Path | None = None) -> M:
    """Read a YAML file into a model; InputError holds every problem of the file, each with its line."""
    text = yaml_text.text_of(path, inside=inside)
    content = mapping_of(text, path.name, model, empty_ok=empty_ok)
    if len(content) >= OTHER_KIND and not set(content) & set(known_keys(model)):
        found = f"holds none of the keys of such a file, but {', '.join(map(str, list(content)[:OTHER_KIND]))}"
        raise InputError(Complaint(path.name, found, keys_of(model), "name the file that is meant", 1))
    return parse(content, model, path.name, text)


def mapping_of(text: str, name: str, model: type[BaseModel], *, empty_ok: bool = False) -> dict[str, Any]:
    """The keys of a file's text. Raises InputError where it is no mapping, or holds blanks to fill in."""
    content = yaml_text.content_of(text, name)
    if blanks.holds_blank(content):
        raise InputError(*blanks.complaints(name, blanks.blanks(text)))
    if content is None and empty_ok:
        return {}
    if not isinstance(content, dict):
        found = "is empty" if content is None else "is not a mapping of keys"
        raise InputError(
            Complaint(name, found, keys_of(model), "write `key: value` lines, see the input format in docs/", 1)
        )
    return content


def parse(content: dict[str, Any], model: type[M], name: str, text: str | None = None) -> M:
    """Model of already read content; `name` is the file named in messages, `text` what it was read from."""
    found, told = looked_past(content, model)
    if found is None or told:
        raise InputError(*(complaint_of(one, name, text) for one in told))
    return found


def looked_past(content: dict[str, Any], model: type[M]) -> tuple[M | None, list[Refusal]]:
    """The model of the content, or as much of it as is sound, with stand-ins for the rest; and all that is refused.

    What is refused is taken out or replaced by a stand-in and the rest looked at again, for keys are held against each other
    only where each of them is sound. What would then be said of a stand-in is not told. The model is None where nothing helps.
    """
    told: list[Refusal] = []
    replaced: list[Place] = []
    stand_in = getattr(model, "stand_in", {})
    for _ in range(ROUNDS):
        try:
            return model.model_validate(content), told
        except ValidationError as error:
            new = [one for one in refusals(error, model, content) if not any(one.rests_on(p) for p in replaced)]
            short = [one.place[:-1] for one in new if one.found == MISSING and _shortened(one.place, replaced)]
            new = [one for one in new if one.place[:-1] not in short]
        except RecursionError:
            return None, [Refusal((), "nested too deeply", "the levels of the input format in docs/", "see docs/")]
        if not new and not short:
            break
        for place in short:  # a pair without the entry that was refused is none: the other entry is there
            content = _without(content, place, stand_in)
            replaced.append(place)
        told += new
        for one in new:
            content = _without(content, one.place, stand_in)
            replaced.append(one.place)
    return None, told


def _shortened(place: Place, replaced: list[Place]) -> bool:
    """Whether a place is one of a list that an entry was taken out of."""
    return any(isinstance(one[-1], int) and one[:-1] == place[:-1] for one in replaced if one)


def complaint_of(refusal: Refusal, name: str, text: str | None) -> Complaint:
    """What is refused, with file and line."""
    line = yaml_text.line_of(text, refusal.place) if text is not None else None
    return Complaint(name, refusal.found, refusal.accepted, refusal.mend, line, refusal.key)


def _without(content: Any, place: Place, stand_in: Any) -> Any:
    """The content with a stand-in at a place, or with nothing there."""
    if not place:
        return stand_in
    part, rest = place[0], place[1:]
    spare = _part(stand_in, 0 if isinstance(part, int) else part)
    if isinstance(content, dict):
        below = _without(content[part], rest, spare) if rest and part in content else spare
        return {k: v for k, v in {**content, part: below}.items() if v is not None or k != part}
    if isinstance(content, list) and isinstance(part, int) and part < len(content):
        below = _without(content[part], rest, spare) if rest else spare
        return [*content[:part], *([below] if below is not None else []), *content[part + 1 :]]
    return stand_in


def _part(content: Any, part: str | int) -> Any:
    if isinstance(content, dict):
        return content.get(part)
    return content[part] if isinstance(content, list) and isinstance(part, int) and part < len(content) else None

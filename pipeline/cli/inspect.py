"""`stopsheet inspect`: what recordings are that nobody has seen; in words, as JSON, as a page."""

from __future__ import annotations

import glob
import json
import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.archive.scan import printable
from pipeline.cli.bounds import read_within
from pipeline.errors import InputError

if TYPE_CHECKING:
    from pipeline.inspection.folders import Folder
    from pipeline.inspection.look import Look

NOT_READ = 3


def inspect(*, place: Path, html: Path | None, as_json: bool) -> int:
    """Print what a file or a folder of recordings is; 3 where nothing in it can be read."""
    if not place.exists():
        raise InputError(f"{printable(str(place))}: no such file or folder")
    if not (place.is_dir() or place.is_file()):
        raise InputError(f"{printable(str(place))}: is a pipe or a device; give a file or a folder")
    refused = read_within()
    if refused is not None:
        raise InputError(refused)
    return _folder(place, html, as_json) if place.is_dir() else _file(place, html, as_json)


def _file(place: Path, html: Path | None, as_json: bool) -> int:
    from pipeline.inspection.brakings import holds_of
    from pipeline.inspection.look import look
    from pipeline.inspection.words import look_words

    try:
        found = look([place], [place.name])
    except InputError as error:
        print(
            json.dumps({"file": printable(place.name), "not_read": str(error)}, indent=1)
            if as_json
            else f"{printable(place.name)}: {error}"
        )
        return NOT_READ
    holds = holds_of(found.brakings)
    if as_json:
        print(json.dumps(plain(found), indent=1, ensure_ascii=True))
    else:
        print(
            "\n".join(
                [
                    printable(place.name),
                    *look_words(found, found.brakings, holds, f"recordings/{glob.escape(place.name)}"),
                ]
            )
        )
    _page(found, html)
    return 0


def _folder(place: Path, html: Path | None, as_json: bool) -> int:
    from pipeline.inspection.folders import looked_into
    from pipeline.inspection.words import folder_words

    found = looked_into(place)
    if as_json:
        print(json.dumps(_groups(found), indent=1, ensure_ascii=True))
    else:
        print("\n".join(folder_words(found, str(place))))
    main = next((group.look for group in found.groups if group.look is not None), None)
    if main is not None:
        _page(main, html)
    return 0 if main is not None else NOT_READ


def _page(found: Look, html: Path | None) -> None:
    if html is not None:
        from pipeline.report import inspection_page

        inspection_page.write(found, html)


def _groups(found: Folder) -> dict[str, Any]:
    return {
        "groups": [
            {
                "files": [printable(name) for name in group.names],
                "format": group.form,
                "not_read": group.why or None,
                "holds": group.holds if group.look else None,
                "unlike": [{"file": printable(name), "brakings": count} for name, count in group.unlike],
                **(plain(group.look) if group.look else {}),
                "brakings": [_numbers(asdict(one)) for one in group.brakings],
            }
            for group in found.groups
        ]
    }


def plain(found: Look) -> dict[str, Any]:
    """A look as JSON: SI but where a unit is named; null where there is no number."""
    layout = found.table.layout
    return _numbers(
        {
            "files_looked_at": [printable(file) for file in found.files],
            "format": found.table.form,
            "rows": found.table.rows,
            "layout": {k: v for k, v in asdict(layout).items() if k != "said"} if layout else None,
            "said": layout.said if layout else {},
            "part": found.table.part,
            "time": {k: v for k, v in asdict(found.time).items() if k != "counters"} if found.time else None,
            "columns": [asdict(one) for one in found.ranges],
            "channels": {
                g.channel: {k: v for k, v in asdict(g).items() if k != "channel"} | {"sure": g.sure}
                for g in found.guesses
            },
            "brakings": [asdict(one) for one in found.brakings],
            "inertia_kg_m2": found.inertia,
            "duration_s": found.duration_s,
            "notes": found.notes,
        }
    )


def _numbers(value: Any) -> Any:
    """Plain values: numbers that are none are null."""
    if isinstance(value, dict):
        return {str(key): _numbers(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_numbers(one) for one in value]
    if isinstance(value, float) or hasattr(value, "item"):
        number = float(value)
        return number if math.isfinite(number) else None
    return value

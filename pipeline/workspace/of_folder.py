"""A workspace for an archive that has none: the default method, results beside the archive.

Written once as plain files, to be edited like any other: a config that stands there is used as it is.
"""

from __future__ import annotations

from pathlib import Path

from pipeline.archive.scan import holds_card, printable
from pipeline.errors import InputError
from pipeline.inspection.card import quoted
from pipeline.results import write_text

SCHEMAS = ".schemas"
BESIDE = "-run"  # behind the archive's name
METHOD = "# the default method: every setting has its default (docs/settings.md); a change of one runs what it touches again\n"


def config_of(folder: Path) -> Path:
    """The config of the archive that is `folder`, or that holds the test in it; written where there is none.

    Raises InputError where the folder is neither, or where the archive holds folders that are no tests: each would be one.
    """
    place = folder.resolve()
    archive = place.parent if holds_card(place) else place
    if (archive / "config.yaml").is_file():
        raise InputError(f"{printable(str(folder))}: is a folder; give the config file in it")
    inside = [one for one in sorted(archive.iterdir()) if one.is_dir() and not one.name.startswith(".")]
    others = [one.name for one in inside if not holds_card(one)]
    if len(others) == len(inside):
        raise InputError(
            f"{printable(str(folder))}: is a folder without tests; give a config file, a test's folder or the folder that holds the tests"
        )
    if others:
        named = ", ".join(map(printable, others[:3])) + (", ..." if len(others) > 3 else "")
        raise InputError(
            f"{printable(str(archive))}: holds folders beside the tests that are none ({named}); put the tests into a folder of their own, "
            "or write a config.yaml that names their archive"
        )
    workspace = archive.parent / f"{archive.name}{BESIDE}"
    config = workspace / "config.yaml"
    if not config.is_file():
        write_text(workspace / "methods" / "default.yaml", METHOD)
        write_text(
            config, f"archive: {quoted(f'../{archive.name}')}\nresults: results\nmethods: [methods/default.yaml]\n"
        )
    return config

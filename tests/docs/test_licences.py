"""The licences that the README names are those that the installed readers state."""

from importlib import metadata
from pathlib import Path

import pytest

REPO = Path(__file__).parents[2]


@pytest.mark.parametrize(
    ("package", "licence", "said"),
    [("h5py", "BSD-3-Clause", "BSD licence of three clauses"), ("fastexcel", "MIT", "under the MIT licence")],
)
def test_the_readers_under_freer_licences_are_named_too(package, licence, said):
    found = metadata.metadata(package)
    stated = " ".join(
        filter(None, [found["License-Expression"], found["License"], *(found.get_all("Classifier") or [])])
    )
    assert licence in stated
    licences = (REPO / "README.md").read_text().split("## Licences")[1].split("##")[0]
    assert f"{found['Name']} (" in licences and said in licences


@pytest.mark.parametrize(("package", "said"), [("asammdf", "version 3 or later"), ("nptdms", "version 3")])
def test_the_optional_readers_licences_are_named(package, said):
    found = metadata.metadata(package)
    stated = " ".join(
        filter(None, [found["License-Expression"], found["License"], *(found.get_all("Classifier") or [])])
    )
    assert "LGPL" in stated and "3" in stated  # if this changes, so must the README and pyproject.toml
    text = (REPO / "README.md").read_text()
    licences = text.split("## Licences")[1].split("##")[0]
    assert f"{found['Name']} (" in licences and said in licences and "MIT" in licences
    assert "LGPL" in (REPO / "pyproject.toml").read_text()
    assert (("later" in stated) or ("v3+" in stated)) == (package == "asammdf")

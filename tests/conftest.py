"""What all tests share: the rig samples run once through the whole workflow, under the method in use; all their methods are heavy."""

from __future__ import annotations

import fcntl
import gc
import os
import subprocess
import sys
from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import HealthCheck, settings

import pipeline  # noqa: F401  before any test loads numpy: one thread of linear algebra, as in each stage of a run

REPO = Path(__file__).parents[1]
SAMPLES = REPO / "rig_samples"

#: the samples' method in use
IN_USE = "revised"
#: the file that runs the samples, and the folders whose files take longest
RUNS_THE_SAMPLES = "test_contract.py"
READ = {"sample_results", "both_methods", "method_results"}
#: whether a test of the session asks for the samples under all methods
ALL_METHODS = pytest.StashKey[bool]()
LONG = ("workflow", "browser", "hostile", "studies", "stops")


# The suite starts a hundred processes of the package and rewrites the assertions of its own modules. Where the environment
# forbids bytecode (images of containers often do), each would compile all it loads again, in every session: the suite keeps
# it where Python keeps it by itself, in __pycache__.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# The suite draws the same examples in every run, so that it fails for what was changed and for nothing else;
# HYPOTHESIS_PROFILE=random draws new ones. How long an example takes, to draw and to run, depends on what else the
# machine does: it says nothing of the code, so neither is limited.
UNTIMED: dict[str, Any] = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("same", derandomize=True, **UNTIMED)
settings.register_profile("random", derandomize=False, print_blob=True, **UNTIMED)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))


@dataclass(frozen=True)
class SampleResults:
    """Results of the samples: `root` holds channels/, <method>/, deltas/; `config` made them; `log` is what was printed."""

    root: Path
    config: Path
    log: str


def sample_config(folder: Path, methods: Sequence[str] = ()) -> Path:
    """The samples' config with absolute paths, its results in `folder`; with these of its methods alone where some are named."""
    content = yaml.safe_load((SAMPLES / "config.yaml").read_text())
    content["archive"] = str(SAMPLES / content["archive"])
    content["results"] = str(folder / "results")
    content["methods"] = [str(SAMPLES / m) for m in content["methods"] if not methods or Path(m).stem in methods]
    if methods:
        content["compare"] = [pair for pair in content["compare"] if set(pair) <= set(methods)]
    for key in ("targets", "duties", "rigs", "facts"):
        if key in content:
            content[key] = str(SAMPLES / content[key])
    config = folder / "config.yaml"
    config.write_text(yaml.safe_dump(content))
    return config


def run_stopsheet(*arguments: object, check: bool = True) -> subprocess.CompletedProcess[str]:
    """The command line as a user runs it."""
    environment = {**os.environ, "PYTHONPATH": str(REPO)}
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", *map(str, arguments)],
        capture_output=True,
        text=True,
        env=environment,
        check=False,
    )
    if check and done.returncode:
        raise AssertionError(f"stopsheet {arguments} ended with {done.returncode}\n{done.stdout}\n{done.stderr}")
    return done


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """What collecting makes is kept to the end: tests, modules, what both refer to. The garbage collector would go through it again
    and again, while it grows and in every test after: it waits until all is there and then leaves that out."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


@pytest.hookimpl(trylast=True)  # of the items that are left to run
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The file that runs the samples begins, the others that read their results end.

    xdist hands the files to its workers in this order: one worker runs the samples, the other tests meanwhile all that
    needs no run, and none waits at the lock of `sample_results`. What takes long comes early, so that both end together.
    """
    readers = {item.path: None for item in items if READ & set(getattr(item, "fixturenames", ()))}
    runs = next((path for path in readers if path.name == RUNS_THE_SAMPLES), next(iter(readers), None))

    def turn(item: pytest.Item) -> int:
        if item.path in readers:
            return 0 if item.path == runs else 3 + (item.path.parent.name not in LONG)
        return 1 if item.path.parent.name in LONG else 2

    items.sort(key=turn)
    config.stash[ALL_METHODS] = any(
        "both_methods" in getattr(item, "fixturenames", ()) or _parameter(item, "method_results") not in (None, IN_USE)
        for item in items
    )


def _of_method_in_use(config: Path) -> Path:
    """A config beside this one with the same results, that names the method in use alone."""
    content = yaml.safe_load(config.read_text())
    content["methods"] = [method for method in content["methods"] if Path(method).stem == IN_USE]
    content["compare"] = []
    own = config.with_name(f"{IN_USE}-{os.environ.get('PYTEST_XDIST_WORKER', 'alone')}.yaml")
    own.write_text(yaml.safe_dump(content))
    return own


def _parameter(item: pytest.Item, fixture: str) -> object:
    call = getattr(item, "callspec", None)
    return call.params.get(fixture) if call else None


@pytest.fixture(scope="session")
def sample_results(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> SampleResults:
    """The samples under the method in use, run once per test session: among all methods where some test asks for these."""
    if request.config.stash[ALL_METHODS]:
        run = _run_once(tmp_path_factory, "samples-both", ())
        return replace(run, config=_of_method_in_use(run.config))
    return _run_once(tmp_path_factory, "samples", (IN_USE,))


@pytest.fixture(scope="session")
def both_methods(tmp_path_factory: pytest.TempPathFactory) -> SampleResults:
    """The samples under all their methods with what sets these against each other: for tests that are heavy."""
    return _run_once(tmp_path_factory, "samples-both", ())


@pytest.fixture(params=[pytest.param("first", marks=pytest.mark.heavy), IN_USE])
def method_results(request: pytest.FixtureRequest) -> Path:
    """The samples' results under one of their methods, that in use by default."""
    run: SampleResults = request.getfixturevalue("sample_results" if request.param == IN_USE else "both_methods")
    return run.root / str(request.param)


@pytest.fixture(scope="module")
def pictures_once(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Pages are set with pictures that were drawn before in this session, by whichever worker, from the same data (`tests.pictures`)."""
    from tests import pictures

    with pytest.MonkeyPatch.context() as monkeypatch:
        pictures.keep(_of_the_session(tmp_path_factory, "pictures"), monkeypatch)
        yield


def _of_the_session(tmp_path_factory: pytest.TempPathFactory, name: str) -> Path:
    """A folder that the workers of this session share."""
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base) / name
    folder.mkdir(exist_ok=True)
    return folder


def _run_once(tmp_path_factory: pytest.TempPathFactory, name: str, methods: Sequence[str]) -> SampleResults:
    """Shared by the workers; each other worker keeps its own core."""
    folder = _of_the_session(tmp_path_factory, name)
    cores = max((os.cpu_count() or 1) - int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1")) + 1, 1)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        log = folder / "run.log"
        config = folder / "config.yaml"
        if not log.exists():
            config = sample_config(folder, methods)
            done = run_stopsheet("run", config, "--cores", cores)
            log.write_text(done.stdout + done.stderr)
    return SampleResults(folder / "results", config, log.read_text())

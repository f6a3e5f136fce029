"""stopsheet: from raw stop recordings to a material characterisation sheet.

What a notebook or a script uses is here by name and loaded when it is first used, so that importing the package costs
nothing: the stages of a run, started thousands of times, import it too. docs/notebook.md shows it at work, docs/api.md
lists it.

DEVELOPERS.md has the packages in the order in which data pass through them; none imports from a later one.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipeline.errors import InputError
    from pipeline.notebook.figures import (
        plot_balance,
        plot_drift,
        plot_energy,
        plot_friction,
        plot_in_stops,
        plot_order,
        plot_stop,
        plot_wear,
    )
    from pipeline.notebook.prediction import predict_stop
    from pipeline.notebook.reduction import (
        Reduced,
        drift_verdict,
        friction_map,
        read_method,
        reduce,
        stop_samples,
        wear_laws,
    )
    from pipeline.notebook.results import CompoundResults, Results, TestResults, read_results
    from pipeline.notebook.test import Test, read_test

# One thread of linear algebra per process, read when the library loads. The matrices are small and the cores belong to the other
# stages: with the library's default on two busy cores one stage took 10 to 26 s instead of 3.7 s. And sums of several threads round
# otherwise, so that the last digits of a fit in a notebook would not be those of the run.
for _variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")

#: name -> the module that has it
_PLACES = {
    "InputError": "pipeline.errors",
    "Test": "pipeline.notebook.test",
    "read_test": "pipeline.notebook.test",
    "Reduced": "pipeline.notebook.reduction",
    "read_method": "pipeline.notebook.reduction",
    "reduce": "pipeline.notebook.reduction",
    "stop_samples": "pipeline.notebook.reduction",
    "friction_map": "pipeline.notebook.reduction",
    "wear_laws": "pipeline.notebook.reduction",
    "drift_verdict": "pipeline.notebook.reduction",
    "Results": "pipeline.notebook.results",
    "TestResults": "pipeline.notebook.results",
    "CompoundResults": "pipeline.notebook.results",
    "read_results": "pipeline.notebook.results",
    "predict_stop": "pipeline.notebook.prediction",
    "plot_stop": "pipeline.notebook.figures",
    "plot_friction": "pipeline.notebook.figures",
    "plot_energy": "pipeline.notebook.figures",
    "plot_order": "pipeline.notebook.figures",
    "plot_balance": "pipeline.notebook.figures",
    "plot_in_stops": "pipeline.notebook.figures",
    "plot_wear": "pipeline.notebook.figures",
    "plot_drift": "pipeline.notebook.figures",
}

__all__ = [
    "CompoundResults",
    "InputError",
    "Reduced",
    "Results",
    "Test",
    "TestResults",
    "drift_verdict",
    "friction_map",
    "plot_balance",
    "plot_drift",
    "plot_energy",
    "plot_friction",
    "plot_in_stops",
    "plot_order",
    "plot_stop",
    "plot_wear",
    "predict_stop",
    "read_method",
    "read_results",
    "read_test",
    "reduce",
    "stop_samples",
    "wear_laws",
]


def __getattr__(name: str) -> Any:
    if name not in _PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    found = getattr(import_module(_PLACES[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})

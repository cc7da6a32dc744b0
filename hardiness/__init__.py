"""hardiness: freeze readings and damage scores in, tolerance floors with honest uncertainty out.

The names below are loaded when first used, so that the command line answers at once.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hardiness.errors import FitError, HardinessError, InputError, UnitsError
    from hardiness.figures.gallery import draw_figure
    from hardiness.figures.saving import save_figure
    from hardiness.tolerance.fit import Fit, fit_tolerance
    from hardiness.tolerance.priors import Priors
    from hardiness.trial import Trial, new_trial, open_trial
    from hardiness.weather.exposure import freezes_of

__version__ = "0.1.0"

_HOMES = {
    "FitError": "hardiness.errors",
    "HardinessError": "hardiness.errors",
    "InputError": "hardiness.errors",
    "UnitsError": "hardiness.errors",
    "draw_figure": "hardiness.figures.gallery",
    "save_figure": "hardiness.figures.saving",
    "Fit": "hardiness.tolerance.fit",
    "fit_tolerance": "hardiness.tolerance.fit",
    "Priors": "hardiness.tolerance.priors",
    "Trial": "hardiness.trial",
    "new_trial": "hardiness.trial",
    "open_trial": "hardiness.trial",
    "freezes_of": "hardiness.weather.exposure",
}
__all__ = [
    "Fit",
    "FitError",
    "HardinessError",
    "InputError",
    "Priors",
    "Trial",
    "UnitsError",
    "draw_figure",
    "fit_tolerance",
    "freezes_of",
    "new_trial",
    "open_trial",
    "save_figure",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'hardiness' has no attribute '{name}'")
    return getattr(import_module(_HOMES[name]), name)

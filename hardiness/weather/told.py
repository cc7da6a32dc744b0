"""What sensors tell of the air beside its temperature, fetched for one sensor at a time when it is asked for.

A network of loggers that measure humidity has more of it than a machine has memory for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import xarray as xr


class Told(Mapping[str, xr.Dataset]):
    """Conditions of the air by sensor, fetched anew each time that they are asked for.

    Parameters
    ----------
    sources : mapping of str to callable
        For each sensor, a function that takes nothing and gives its conditions, dims ``(time,)``, in UTC.

    Examples
    --------
    >>> told = Told({"L1": lambda: xr.Dataset({"relative_humidity": ("time", [88.0], {"units": "%"})})})
    >>> list(told), told["L1"]["relative_humidity"].values.tolist()
    (['L1'], [88.0])
    """

    def __init__(self, sources: Mapping[str, Callable[[], xr.Dataset]]) -> None:
        self._sources = dict(sources)

    def __getitem__(self, sensor: str) -> xr.Dataset:
        return self._sources[sensor]()

    def __iter__(self) -> Iterator[str]:
        return iter(self._sources)

    def __len__(self) -> int:
        return len(self._sources)

    def __contains__(self, sensor: object) -> bool:  # the one of Mapping would fetch them to find out
        return sensor in self._sources

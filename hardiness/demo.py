"""The invented trial of ``data_demo/``: where its files are, and in which order to add them.

In: nothing. Out: the folder and :data:`DEMO_STEPS`, which the command runs through the same code as a grower's own
files. ``data_demo/make.py`` made the files; ``truth.csv`` among them holds the floors that the trial never sees.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from hardiness.errors import HardinessError
from hardiness.settings import SETTINGS_FILE

TRUTH_FILE = "truth.csv"


@dataclass(frozen=True, slots=True)
class DemoStep:
    """One file of the demo, and how it is added.

    Parameters
    ----------
    table : str
        ``selections``, ``plants``, ``sensors``, ``scores``, ``freeze_notes`` or ``readings``: the word after
        ``hardiness add``.
    file : str
        The file, from the demo's folder.
    options : mapping
        The verb's options by name, such as ``sensor`` or ``timezone``.
    """

    table: str
    file: str
    options: MappingProxyType[str, str] = field(default_factory=lambda: MappingProxyType({}))


def _readings(sensor: str, *files: str, **options: str) -> list[DemoStep]:
    """List one sensor's files; the options go with the first, later files take the sensor's last choice."""
    return [
        DemoStep("readings", f"readings/{file}", MappingProxyType({"sensor": sensor} | (options if first else {})))
        for first, file in zip((True, *[False] * len(files)), files, strict=False)
    ]


DEMO_STEPS: tuple[DemoStep, ...] = (
    DemoStep("selections", "selections.csv"),
    DemoStep("sensors", "sensors.csv"),
    DemoStep("plants", "plants.csv"),
    DemoStep("freeze_notes", "freeze_notes.csv"),
    *_readings(
        "L-UP",
        "upper_2022-23.csv",
        "upper_2023-24_a.csv",
        "upper_2023-24_b.csv",
        "upper_2024-25.csv",
        "upper_2025-26.csv",
    ),
    *_readings("L-MID", "middle_2022-23.csv", "middle_2023-24.csv", "middle_2024-25.csv", "middle_2025-26.csv"),
    *_readings(
        "L-LOW",
        "lower_2022-23.txt",
        "lower_2023-24.txt",
        "lower_2024-25.txt",
        "lower_2025-26.txt",
        timezone="UTC+00:00",  # its clock was never moved to summer time, and its files do not say so
    ),
    *_readings("ST-9", "station_2022-23.csv", "station_2023-24.csv", "station_2024-25.csv", "station_2025-26.csv"),
    DemoStep("scores", "scores_2022-23.csv"),
    DemoStep("scores", "scores_2023-24.csv"),
    DemoStep("scores", "scores_2024-25.csv"),
    DemoStep("scores", "scores_2025-26.csv"),
)


def demo_folder() -> Path:
    """Find the demo's files: inside the installed package, or beside it in a source checkout.

    Returns
    -------
    Path
        A folder that holds every file of :data:`DEMO_STEPS`.

    Raises
    ------
    HardinessError
        If neither place has them: the installation is incomplete.

    Examples
    --------
    >>> (demo_folder() / DEMO_STEPS[0].file).name
    'selections.csv'
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "data_demo", package.parent / "data_demo"):
        if (folder / SETTINGS_FILE).is_file():
            return folder
    raise HardinessError(f"the files of the demo are not beside {package}: this installation is incomplete.")

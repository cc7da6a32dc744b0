"""A whole trial from its files to its floors and chart: ``python whole_trial.py [CHART.png]``.

The files are those of the invented trial that ``hardiness demo`` makes; your own are added the same way.
"""

import sys
import tempfile
from pathlib import Path

import hardiness
from hardiness.commands.paper import draw_chart
from hardiness.demo import DEMO_STEPS, SETTINGS_FILE, demo_folder
from hardiness.settings_reading import read_settings

chart = Path(sys.argv[1] if len(sys.argv) > 1 else "whole_trial.png")
files = demo_folder()
settings = read_settings(files / SETTINGS_FILE)  # or Settings("My hill", "Europe/Lisbon", latitude=41.2)

with tempfile.TemporaryDirectory() as folder, hardiness.new_trial(Path(folder, "trial"), settings) as trial:
    said = []
    for step in DEMO_STEPS:
        if step.table == "readings":
            came = trial.add_readings(files / step.file, **step.options)
        else:
            came = trial.add_table(step.table, files / step.file)
        said += [f"{came.file}: {sentence}" for sentence in came.said]
    print(f"{len(DEMO_STEPS)} files added, {len(said)} remarks on them. The first: {said[0]}")

    print(f"{len(trial.freezes())} freezes, {len(trial.observations())} observations, {len(trial.left_out())} left out")
    floors = trial.floors()
    hardiest = floors[floors["evidence"] == "bracketed"].nsmallest(5, "floor_c")
    print("The hardiest five of those that a freeze has found the limit of:")
    for row in hardiest.itertuples(index=False):
        print(f"  {row.selection} on {row.rootstock}: {row.floor_c:.1f} degC ({row.floor_low_c:.1f} to "
              f"{row.floor_high_c:.1f}), may be claimed: {row.claimable_c:.1f} degC")  # fmt: skip
    draw_chart(trial, chart)
print(f"The chart is {chart}.")

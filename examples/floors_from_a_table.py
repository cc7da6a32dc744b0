"""Tolerance floors from a small table of observations, without any trial: floors, a comparison, a curve."""

import io

import pandas as pd

import hardiness

# A row per plant and scored freeze; grades 0 (unharmed) to 5 (dead). S-1 is a seedling, S-2 its rival.
OBSERVATIONS = """\
plant,selection,rootstock,freeze,exposure_c,grade
a1,S-1,P2,2031-12-14 L1,-6.8,0
a2,S-1,P2,2031-12-14 L1,-6.8,1
a3,S-1,P2,2031-12-14 L1,-6.8,0
a1,S-1,P2,2033-01-21 L1,-10.4,3
a2,S-1,P2,2033-01-21 L1,-10.4,5
a3,S-1,P2,2033-01-21 L1,-10.4,2
b1,S-2,P2,2031-12-14 L1,-6.8,3
b2,S-2,P2,2031-12-14 L1,-6.8,5
b3,S-2,P2,2031-12-14 L1,-6.8,4
b1,S-2,P2,2033-01-21 L1,-10.4,5
c1,S-2,own,2031-12-14 L1,-6.8,2
c1,S-2,own,2033-01-21 L1,-10.4,5
"""
observations = pd.read_csv(io.StringIO(OBSERVATIONS)).assign(exposure_sd_c=0.5)

fit = hardiness.fit_tolerance(observations, grades=6)
floors = fit.floors(survive=0.9)
for row in floors.itertuples(index=False):
    print(f"{row.selection} on {row.rootstock}: {row.evidence}, {row.killed} of {row.plants} dead; 9 in 10 live at "
          f"{row.floor_c:.1f} degC ({row.floor_low_c:.1f} to {row.floor_high_c:.1f})")  # fmt: skip

pair = fit.compare().set_index("rootstock").loc["P2"]
print(f"S-1 is the hardier on P2 with probability {pair['probability_a_hardier']:.2f}, by "
      f"{-pair['difference_c']:.1f} K ({-pair['high_c']:.1f} to {-pair['low_c']:.1f})")  # fmt: skip

curve = fit.curves([-6, -8, -10]).sel(selection="S-1", rootstock="P2")
for temperature in curve["temperature"].to_numpy():
    low, middle, high = 100 * curve.sel(temperature=temperature).to_numpy().ravel()
    print(f"S-1 on P2 at {temperature:.0f} degC: {middle:.0f} % live ({low:.0f} to {high:.0f})")

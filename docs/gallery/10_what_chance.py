"""What is the chance that an hour is enough?

Two hundred and fifty-six draws of everything unmeasured, fourteen prints in six changes of ten
minutes. The share of the bars left of the target is the chance; a test strip narrows it.
"""

import matplotlib.pyplot as plt
import numpy as np

from washsim import files
from washsim.band import solve_band

band = solve_band(files.example("changes"))
ends = np.clip(1e3 * band.worst, 1e-4, None)
plt.hist(ends, bins=np.geomspace(1e-4, ends.max(), 30), color="0.6", edgecolor="white")
plt.axvline(1e3 * band.scenario.target.limit, color="black", linewidth=1)
plt.title(f"under the target in {100 * band.chance:.0f} of 100 draws", loc="left")
plt.xscale("log")
plt.xlabel("worst sheet ends at, g/m²")
plt.ylabel("draws")
plt.savefig("what_chance.svg")

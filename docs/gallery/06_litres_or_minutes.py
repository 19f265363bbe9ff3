"""Litres or minutes?

Fourteen prints in changes of 4 L: each line joins plans that leave the same residual, in g/m². To
the right costs time, upwards costs water; on the steep parts water is what is missing, on the flat
ones time is.
"""

import matplotlib.pyplot as plt
import numpy as np

from washsim import files
from washsim.solve import solve

base, minutes, counts = files.example("changes"), np.linspace(15, 90, 16), np.arange(1, 13)


def left(baths, minutes):
    split = {"steps.1.baths": int(baths), "steps.1.duration": 60 * minutes / baths}
    return 1e3 * solve(base.but(split)).worst_residual


grid = [[left(n, m) for m in minutes] for n in counts]
levels = [0.005, 0.007, 0.014, 0.05, 0.2]
plt.clabel(plt.contour(minutes, 4 * counts, grid, levels, cmap="cividis", norm="log"))
plt.xlabel("minutes of washing, all baths together")
plt.ylabel("water, L")
plt.savefig("litres_or_minutes.svg")

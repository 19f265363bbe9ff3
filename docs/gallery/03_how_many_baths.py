"""One hour, so many litres: in how many baths?

Fourteen prints. Each line is a total of water, split evenly; more than four or six baths gain
little, and a big total in one bath loses to a small one in three.
"""

import matplotlib.pyplot as plt

from washsim import files
from washsim.solve import solve

base, counts = files.example("changes"), (1, 2, 3, 4, 6, 8, 12)


def left(baths, litres):
    split = {"steps.1.baths": baths, "steps.1.duration": 3600 / baths}
    split["vessels.tray.volume"] = litres / baths / 1000
    return 1e3 * solve(base.but(split)).worst_residual


for litres, style in ((12, "o-"), (24, "s--"), (60, "^-."), (240, "D:")):
    plt.semilogy(counts, [left(n, litres) for n in counts], style, label=f"{litres} L")
plt.axhline(0.014, color="black", linewidth=1, label="target")
plt.xlabel("baths in the hour")
plt.ylabel("worst sheet ends at, g/m²")
plt.legend()
plt.savefig("how_many_baths.svg")

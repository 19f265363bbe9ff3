"""How much flow, for how many prints?

An hour of running water in a 20 L washer. Every line falls to a plateau; the more prints, the more
flow it takes to get there, and past it flow buys nothing.
"""

import matplotlib.pyplot as plt
import numpy as np

from washsim import files
from washsim.solve import solve

base, flows = files.example("running"), np.geomspace(0.25, 16, 13)
for count, style in ((1, "o-"), (5, "s--"), (14, "^-."), (40, "D:")):
    washes = [base.but({"sheet.count": count, "vessels.washer.flow": f / 6e4}) for f in flows]
    left = [1e3 * solve(wash).worst_residual for wash in washes]
    plt.loglog(flows, left, style, label=f"prints: {count}")
plt.axhline(0.014, color="black", linewidth=1, label="target")
plt.xlabel("flow, L/min")
plt.ylabel("worst sheet ends at, g/m²")
plt.legend()
plt.savefig("how_much_flow.svg")

"""What does a late print do to the others?

Seven prints have washed for forty minutes when an unrinsed one joins them. Exchange goes both ways:
they take fixer back. A rinse in a litre of its own spares them that.
"""

import matplotlib.pyplot as plt
import numpy as np

from washsim import files
from washsim.solve import solve

for rinse, style in ((0.0, "-"), (1e-3, "--")):
    result = solve(files.example("late_sheet").but({"late.1.rinse_volume": rinse}))
    how = "rinsed in 1 L first" if rinse else "unrinsed"
    for lot, who in enumerate(("the seven", "the late one")):
        shown = np.where(result.times > result.run.left_fixer[lot], result.residual[lot], np.nan)
        plt.semilogy(result.times / 60, 1e3 * shown, style, label=f"{who} (late one {how})")
plt.axhline(0.014, color="black", linewidth=1)
plt.xlabel("minutes since fixing began")
plt.ylabel("residual, g/m²")
plt.legend()
plt.savefig("the_late_print.svg")

"""Slow or held: what would tell them apart?

One strip, two papers, two explanations. If fixer creeps, the thin paper is done in less than half
the time; if it is held, thickness hardly matters. A test of both papers would show.
"""

import matplotlib.pyplot as plt

from washsim import rivals
from washsim.solve import solve

for why, colour in (("slow", "C0"), ("held", "C1")):
    for paper, style in (("fibre_double", "-"), ("fibre_single", "--")):
        result = solve(rivals.strip(why, paper))
        minutes, left = result.times / 60 - 30, 1e3 * result.residual[0]
        plt.semilogy(minutes, left, style, color=colour, label=f"{why}, {paper}")
plt.axhspan(0.005, 0.012, color="0.85", label="a drop begins to show (estimate)")
plt.xlim(0, 90)
plt.ylim(1e-4, 50)
plt.xlabel("minutes of washing")
plt.ylabel("residual, g/m²")
plt.legend()
plt.savefig("slow_or_held.svg")

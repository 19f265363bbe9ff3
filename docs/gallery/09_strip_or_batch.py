"""Can a strip speak for the batch?

The same 5 L of still water, once with one strip of 5 × 10 cm and once with fourteen prints. Each
runs into its own floor, set by litres per square metre of paper; only the strip's is under the
target. Ideal mode: paper and water come into balance at once.
"""

import matplotlib.pyplot as plt

from washsim import files, pictures
from washsim.solve import solve

for name, style in (("strip", "-"), ("batch", "--")):
    result = solve(files.example(name))
    curve = pictures.curves(result)
    litres = 1e3 * result.water_to_paper(1)
    plt.semilogy(curve.minutes, curve.worst_g_m2, style, label=f"{name}, {litres:.0f} L/m²")
plt.axhline(curve.target_g_m2, color="black", linewidth=1, label="target")
plt.ylim(1e-3, 50)
plt.xlabel("minutes since fixing began")
plt.ylabel("residual, g/m²")
plt.legend()
plt.savefig("strip_or_batch.svg")

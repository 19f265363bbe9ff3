"""Where in the paper is the fixer?

One print fixed for a minute, then washed. The front is left; the emulsion and the baryta are thin,
the base is the rest. While it fixes the middle fills last; while it washes the middle
empties last, for it has the longest way out.
"""

import matplotlib.pyplot as plt
import numpy as np

from washsim import files, pictures
from washsim.solve import solve

result = solve(files.example("demo").but({"sheet.count": 1}))
depth, units = pictures.depths(result, 200)
minutes = np.array([1.0, 3.0, 10.0, 20.0, 30.0])
mobile, _ = result.profile(0, 60 * minutes, units)
plt.semilogy(depth, mobile.T, label=[f"{minute:g} min" for minute in minutes])
plt.xlabel("depth from the front, µm")
plt.ylabel("thiosulfate in the liquid, g/L")
plt.ylim(1e-3, 3000)
plt.legend(title="since fixing began", ncols=5, loc="upper center")
plt.savefig("where_in_the_paper.svg")

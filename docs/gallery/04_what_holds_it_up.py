"""What holds the washing up?

Running water moved by the tap alone, fourteen prints: first the film on the faces and the inside of
the paper share the wait, at the end it is fixer that is held and lets go slowly.
"""

import matplotlib.pyplot as plt
import numpy as np

from washsim import advice, files
from washsim.solve import solve

result = solve(files.example("running"))
minutes = np.arange(6, 65, 0.5)
shares = [result.shares(0, 60 * minute) for minute in minutes]
stack = [[100 * share[name] for share in shares] for name in advice.LIMITS]
greys = ["#20304f", "#5b7fae", "#b9c9dd", "#e8e2d0"]
plt.stackplot(minutes, stack, colors=greys, labels=advice.LIMITS.values(), edgecolor="white")
plt.xlabel("minutes since fixing began")
plt.ylabel("share in holding it up, %")
plt.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2)
plt.savefig("what_holds_it_up.svg")

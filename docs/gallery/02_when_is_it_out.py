"""When is it out, and how sure is that?

Fourteen prints in six changes of water, once as the numbers stand and with everything unmeasured
let loose in its band: the grey area holds nine draws of ten. The steps are the floors of the baths.
"""

import matplotlib.pyplot as plt

from washsim import files, pictures
from washsim.band import solve_band

band = solve_band(files.example("changes"))
curve = pictures.curves(band.nominal, band)
plt.fill_between(curve.minutes, *curve.worst_band_g_m2, color="0.85", label="5 to 95 % of draws")
plt.semilogy(curve.minutes, curve.worst_g_m2, label="worst sheet, as the numbers stand")
plt.step(curve.minutes, curve.floor_g_m2, ":", label="floor of the water it lies in")
plt.axhline(curve.target_g_m2, color="black", linewidth=1, label="target")
plt.ylim(1e-4, 50)
plt.xlabel("minutes since fixing began")
plt.ylabel("residual, g/m²")
plt.legend()
plt.savefig("when_is_it_out.svg")

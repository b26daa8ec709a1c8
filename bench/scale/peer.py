# The same curve as bare.go fits, by pandas and SciPy: slope and its standard error.
import sys
import numpy as np
import pandas as pd
from scipy.optimize import least_squares

d = pd.read_csv(sys.argv[1], usecols=["session", "pickup", "string", "core_mm", "pole_height_mm", "string_height_mm", "mode", "rms_mv", "quiet_mv", "status"])
d = d[(d["mode"] == "P") & (d["status"] == "ok")]
v2 = d["rms_mv"] ** 2 - d["quiet_mv"].fillna(0) ** 2
d = d[v2 > 0].assign(y=0.5 * np.log(v2[v2 > 0]))
c = d.groupby(["pickup", "session", "string", "core_mm", "pole_height_mm", "string_height_mm"], sort=False)["y"].mean().reset_index()
x = 2 * np.log(c["core_mm"].to_numpy())
pole = c["pole_height_mm"].to_numpy()
gap = c["string_height_mm"].to_numpy() - pole
y = c["y"].to_numpy()
r = least_squares(lambda b: b[0] + b[1] * x + b[2] * pole - b[3] * np.log(gap + np.exp(b[4])) - y, [3, 0.5, 0, 2, 1])
s2 = 2 * r.cost / (len(y) - 5)
cov = np.linalg.inv(r.jac.T @ r.jac) * s2
n, bend = r.x[3], np.exp(r.x[4])
slope = n / (3.5 + bend)
g = np.array([0, 0, 0, 1 / (3.5 + bend), -n * bend / (3.5 + bend) ** 2])
print(len(y), slope, np.sqrt(g @ cov @ g))

"""Writes setup_line.csv: weighted lines with their errors, by scipy.

Run: python3 -m venv v && v/bin/pip install scipy==1.17.1
     v/bin/python make_setup_line.py > setup_line.csv

scipy.optimize.curve_fit with absolute_sigma=True gives the covariance of intercept and slope for the sigmas as they are;
where the scatter asks for more (reduced chi-square above 1) it is scaled up, never down. Figures are made up.
"""

import numpy as np
from scipy.optimize import curve_fit

SETS = {
    "straight": ([0, 5, 10], [4.0, 3.0, 2.0], [0.2, 0.2, 0.2]),
    "scattered": ([0, 3, 7, 12, 15], [4.1, 3.2, 3.1, 1.6, 1.9], [0.2, 0.2, 0.2, 0.2, 0.2]),
    "uneven": ([0, 2, 9, 10], [4.0, 3.9, 2.9, 2.6], [0.5, 0.1, 0.2, 0.4]),
    "bunched": ([0, 0.1, 0.2, 8], [3.0, 3.05, 2.9, 2.2], [0.22, 0.22, 0.22, 0.5]),
}

print("# source: scipy 1.17.1, optimize.curve_fit with absolute_sigma, scaled up where the reduced chi-square is above 1;")
print("set,points,slope,se_slope,x,y,se_y")
for name, (x, y, sigma) in SETS.items():
    x, y, sigma = map(np.asarray, (x, y, sigma))
    line = lambda x, a, b: a + b * x
    (a, b), cov = curve_fit(line, x, y, p0=(y[0], 0.0), sigma=sigma, absolute_sigma=True, xtol=1e-14, ftol=1e-14)
    chi = float(np.sum(((y - line(x, a, b)) / sigma) ** 2)) / (len(x) - 2)
    cov = cov * max(chi, 1.0)
    at = 20.0
    se = float(np.sqrt(cov[0, 0] + 2 * at * cov[0, 1] + at * at * cov[1, 1]))
    points = " ".join(f"{p}:{q}:{r}" for p, q, r in zip(x, y, sigma))
    print(f"{name},{points},{b:.9f},{np.sqrt(cov[1, 1]):.9f},{at},{a + b * at:.9f},{se:.9f}")

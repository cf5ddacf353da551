"""Writes coats.csv: solvent left in stacks of coats, by the method of lines on a fine mesh.

Run: python3 -m venv v && v/bin/pip install scipy==1.17.1
     v/bin/python make_coats.py > coats.csv

dc/dt = d/dx (D dc/dx), no flow into the wood, c = 0 at the free surface; a coat is laid evenly over what the coats beneath
still hold, and their profile is kept. 200 cells a coat, scipy.integrate.solve_ivp (BDF, rtol 1e-8), harmonic conductances.
"""

import numpy as np
from scipy.integrate import solve_ivp
from scipy.sparse import diags

CELLS = 200
# name; each coat: dry thickness um, solvent um, D um2/h, hours it rests before the next coat (or the reading).
CASES = [
    ("one", [(12.5, 2.5, 46.0, 1.5)]),
    ("one", [(12.5, 2.5, 46.0, 4.0)]),
    ("one", [(12.5, 2.5, 46.0, 24.0)]),
    ("three_fast", [(12.5, 2.5, 46.0, 1.5)] * 3),
    ("three_slow", [(12.5, 2.5, 46.0, 24.0), (12.5, 2.5, 46.0, 24.0), (12.5, 2.5, 46.0, 1.5)]),
    ("slow_sealer_beneath", [(8.0, 2.0, 5.0, 2.0), (20.0, 5.0, 80.0, 1.0), (20.0, 5.0, 80.0, 6.0)]),
    ("slow_top", [(20.0, 4.0, 80.0, 1.0), (30.0, 3.0, 4.0, 48.0)]),
    ("eight", [(12.5, 2.5, 46.0, h) for h in (2, 2, 18, 2, 2, 18, 2, 24)]),
]


def rest(widths, diffusion, c, hours):
    half = widths / 2 / diffusion
    up = np.append(1 / (half[:-1] + half[1:]), 1 / half[-1])
    down = np.append(0.0, up[:-1])
    a = diags([down[1:] / widths[1:], -(up + down) / widths, up[:-1] / widths[:-1]], [-1, 0, 1]).tocsc()
    return solve_ivp(lambda t, y: a @ y, (0, hours), c, method="BDF", jac=a, rtol=1e-8, atol=1e-12).y[:, -1]


print("# source: scipy 1.17.1 solve_ivp (BDF, rtol 1e-8), 200 cells a coat; made by make_coats.py;"
      " coats from the wood up, each dry_um/solvent_um/diffusion_um2_h/rest_h; held_um in the same order, after the last rest")
print("name,coats,held_um")
for name, coats in CASES:
    widths, diffusion, c = np.array([]), np.array([]), np.array([])
    for dry, solvent, d, hours in coats:
        widths = np.append(widths, np.full(CELLS, dry / CELLS))
        diffusion = np.append(diffusion, np.full(CELLS, d))
        c = np.append(c, np.full(CELLS, solvent / dry))
        c = rest(widths, diffusion, c, hours)
    held = (c * widths).reshape(len(coats), CELLS).sum(axis=1)
    laid = " ".join(f"{a:g}/{b:g}/{d:g}/{h:g}" for a, b, d, h in coats)
    print(f"{name},{laid},{' '.join(f'{x:.6f}' for x in held)}")

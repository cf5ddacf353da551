"""Writes varying_climate.csv: equivalent age in a room that never stands still, by quadrature.

Run: python3 -m venv v && v/bin/pip install scipy==1.17.1 PsychroLib==2.5.0
     v/bin/python make_varying_climate.py > varying_climate.csv

The room is a closed form, so a test can sample it at any step and needs no file of readings.
The age is integrated by scipy.integrate.quad to 1e-10, an hour at a time.
Saturation pressure comes from PsychroLib, so that nothing here shares code with the service.
"""

from math import exp, pi, sin

import psychrolib
from scipy.integrate import quad

GAS_CONSTANT = 8.314462618  # J/(mol K)
KELVIN = 273.15
HOURS = 72

psychrolib.SetUnitSystem(psychrolib.SI)


def temp_c(t):
    """A daily swing, and one night (hour 52) when the heating failed."""
    return 18 + 4 * sin(2 * pi * t / 24) - 6 * exp(-(((t - 52) / 3) ** 2))


def rh_pct(t):
    """Damp when it is cool, and one wet afternoon (hour 30)."""
    return 50 - 12 * sin(2 * pi * (t - 3) / 24) + 8 * exp(-(((t - 30) / 4) ** 2))


def vpd_pa(temp, rh):
    return psychrolib.GetSatVapPres(temp) * (1 - rh / 100)


def arrhenius_50(t):
    return exp(-50e3 / GAS_CONSTANT * (1 / (temp_c(t) + KELVIN) - 1 / (20 + KELVIN)))


def q10_2(t):
    return 2 ** ((temp_c(t) - 20) / 10)


def vpd_ratio(t):
    return vpd_pa(temp_c(t), rh_pct(t)) / vpd_pa(20, 50)


print(
    "# source: scipy 1.17.1 integrate.quad (rtol 1e-10) with PsychroLib 2.5.0;"
    " room for t in hours 0..72: temp_c = 18 + 4 sin(2 pi t/24) - 6 exp(-((t-52)/3)^2),"
    " rh_pct = 50 - 12 sin(2 pi (t-3)/24) + 8 exp(-((t-30)/4)^2);"
    " arrhenius_50 = 50 kJ/mol, ref 20 C; q10_2 = 2 per 10 K, ref 20 C;"
    " vpd_ratio = vapour pressure deficit over that of 20 C and 50 %"
)
print("law,t_hours,age_h")
for law in (arrhenius_50, q10_2, vpd_ratio):
    age_h = 0.0
    for hour in range(HOURS):
        age_h += quad(law, hour, hour + 1, epsabs=0, epsrel=1e-10)[0]
        if (hour + 1) % 6 == 0:
            print(f"{law.__name__},{hour + 1},{age_h:.9f}")

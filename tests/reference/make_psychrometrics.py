"""Writes psychrometrics.csv: moist air by two independent libraries, side by side.

Run: python3 -m venv v && v/bin/pip install PsychroLib==2.5.0 CoolProp==8.0.0
     v/bin/python make_psychrometrics.py > psychrometrics.csv

PsychroLib codes the ideal moist air of ASHRAE Handbook, Fundamentals (2017), chapter 1.
CoolProp computes real moist air (ASHRAE RP-1485), so it differs by up to about 0.6 %.
Absolute humidity is not in PsychroLib: the ideal gas law is written out here.
"""

import psychrolib
from CoolProp.HumidAirProp import HAPropsSI

PRESSURE_PA = 101325
VAPOUR_GAS_CONSTANT = 461.526  # J/(kg K), IAPWS-IF97
TEMPS_C = (-5, 0.5, 5, 10, 15, 20, 21, 23, 25, 30, 35, 45)
RHS_PCT = (10, 20, 35, 45, 50, 60, 75, 90, 95)

psychrolib.SetUnitSystem(psychrolib.SI)

print(
    "# source: PsychroLib 2.5.0 (ASHRAE Handbook Fundamentals 2017 ch.1) and CoolProp 8.0.0"
    " humid air, computed at 101325 Pa; absolute humidity by the ideal gas law with"
    " Rv = 461.526 J/(kg K)"
)
print(
    "temp_c,rh_pct,sat_vapour_pressure_pa,dew_point_c,wet_bulb_c,humidity_ratio_kg_kg,vpd_pa,"
    "absolute_humidity_g_m3,coolprop_dew_point_c,coolprop_wet_bulb_c,coolprop_humidity_ratio_kg_kg"
)
for temp_c in TEMPS_C:
    for rh_pct in RHS_PCT:
        rh = rh_pct / 100
        kelvin = temp_c + 273.15
        saturation_pa = psychrolib.GetSatVapPres(temp_c)
        vapour_pa = rh * saturation_pa
        moist_air = ("T", kelvin, "P", PRESSURE_PA, "R", rh)
        row = (
            temp_c,
            rh_pct,
            saturation_pa,
            psychrolib.GetTDewPointFromRelHum(temp_c, rh),
            psychrolib.GetTWetBulbFromRelHum(temp_c, rh, PRESSURE_PA),
            psychrolib.GetHumRatioFromRelHum(temp_c, rh, PRESSURE_PA),
            saturation_pa - vapour_pa,
            1000 * vapour_pa / (VAPOUR_GAS_CONSTANT * kelvin),
            HAPropsSI("D", *moist_air) - 273.15,
            HAPropsSI("B", *moist_air) - 273.15,
            HAPropsSI("W", *moist_air),
        )
        print(",".join(f"{figure:.6g}" for figure in row))

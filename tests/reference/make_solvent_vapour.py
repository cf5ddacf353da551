"""Writes solvent_vapour.csv: vapour pressure of the solvents of the finishing room, by two libraries.

Run: python3 -m venv v && v/bin/pip install CoolProp==8.0.0 chemicals==1.5.2 pandas
     v/bin/python make_solvent_vapour.py > solvent_vapour.csv
"""

import chemicals.vapor_pressure as vp
from chemicals.dippr import EQ101
from CoolProp.CoolProp import PropsSI

COOLPROP = {"ethanol": "Ethanol", "acetone": "Acetone", "toluene": "Toluene", "xylene": "o-Xylene", "decane": "Decane"}

print("# source: CoolProp 8.0.0 saturation pressure; butyl_acetate: equation of Perry's Chemical Engineers' Handbook 8th ed."
      " table 2-8 as in the library chemicals 1.5.2. Neither shares constants with the service.")
print("solvent,temp_c,pressure_pa")
for temp_c in (0, 10, 20, 30, 40):
    for name, fluid in COOLPROP.items():
        print(f"{name},{temp_c},{PropsSI('P', 'T', temp_c + 273.15, 'Q', 0, fluid):.3f}")
    c = vp.Psat_data_Perrys2_8.loc["123-86-4"]
    print(f"butyl_acetate,{temp_c},{EQ101(temp_c + 273.15, c.C1, c.C2, c.C3, c.C4, c.C5):.3f}")

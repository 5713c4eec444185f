"""Makes the "lmfit" part of lmfit.json: constants and standard errors that lmfit finds from its
"readings", by the motor's equations as they are written here.

lmfit brings asteval, uncertainties and dill along, so that it is no test dependency. To make it
again:

    python3 -m venv lmfit && lmfit/bin/pip install lmfit==1.3.4
    lmfit/bin/python tests/published/frozen/make_lmfit.py
"""

import json
from importlib.metadata import version
from math import exp, log, tanh
from pathlib import Path

import numpy as np
from lmfit import Minimizer, Parameters

COPPER, FERRITE = 0.00393, -0.002  # per kelvin
FILE = Path(__file__).with_name("lmfit.json")


def main() -> None:
    said = json.loads(FILE.read_text())
    rows, priors = said["readings"], said["priors"]
    names = ("k", "ohm", "drop", "knee", "idle", "drag")
    begin = {"k": log(0.03), "ohm": log(5.0)}
    parameters = Parameters()
    for name in names:
        parameters.add(name, value=begin.get(name, priors["constants"].get(name, [0, 0])[0]))
    shared = list(priors["shared"])
    for i in range(len(shared)):
        parameters.add(f"s{i}", value=0.0)

    def residuals(p):
        k20, ohm20, drop, knee, idle, drag = (exp(p[n].value) for n in names)
        off = {s: p[f"s{i}"].value * priors["shared"][s] for i, s in enumerate(shared)}
        k = k20 * (1 + FERRITE * off["warmth"])
        ohm = ohm20 * (1 + COPPER * off["warmth"])

        def lost(amps):
            return amps * ohm + drop * tanh(amps / knee)

        left = []
        for row in rows:
            volts = row["volts"] * (1 + off[row["volt_range"]])
            if "over_v" in row:  # the current from volts over a resistor
                by = row["ohm"] * (1 + off[row["resistor"]])
                amps = row["over_v"] * (1 + off[row["over_range"]]) / by
            if row["kind"] == "locked":
                wrong = lost(amps) - volts
            elif row["kind"] == "open":
                wrong = k * row["rad_s"] - volts
            elif row["kind"] == "loaded":
                wrong = k * row["rad_s"] - lost(amps) - volts
            else:
                amps = row["amps"] * (1 + off[row["amp_range"]])
                speed = (volts - lost(amps)) / k
                wrong = amps - (k20 * idle + drag * speed) / k
            left.append(wrong / row["sigma"])
        left += [(p[n].value - m) / s for n, (m, s) in priors["constants"].items()]
        left += [p[f"s{i}"].value for i in range(len(shared))]
        return np.array(left)

    found = Minimizer(residuals, parameters, scale_covar=False).minimize(
        method="leastsq", xtol=1e-12, ftol=1e-12)
    said["lmfit"] = {"version": version("lmfit"), "chi2": float(found.chisqr), "constants": {
        n: [found.params[n].value, found.params[n].stderr] for n in names}}
    FILE.write_text(json.dumps(said, indent=1) + "\n")


if __name__ == "__main__":
    main()

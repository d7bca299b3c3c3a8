#!/usr/bin/env python3
"""Checks crates/spectra against colour-science 0.4.7 (pip install colour-science==0.4.7).

The chart and the lights come from the library's own data sets, not from our copies of them.
Usage: spectra.py [JSON]   JSON = output of `cargo run -p inkarnat-spectra --example responses`; made when not given.
Exit code 1 when a bound is missed.
"""
import contextlib
import io
import json
import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np

warnings.filterwarnings("ignore")
with contextlib.redirect_stderr(io.StringIO()):
    import colour

ROOT = Path(__file__).resolve().parents[2]
LIMIT_CHART = 0.1  # CIEDE2000, patches in BT.709 shown by a BT.1886 display
LIMIT_CLASS = 0.3  # CIEDE2000, class means against the archive's own Lab columns


def ours():
    if len(sys.argv) > 1:
        return json.loads(Path(sys.argv[1]).read_text())
    command = ["cargo", "run", "--quiet", "-p", "inkarnat-spectra", "--example", "responses"]
    return json.loads(subprocess.run(command, cwd=ROOT, check=True, capture_output=True).stdout)


def lab_of_signal(signal):
    """Display light by BT.1886 with zero black, relative to D65."""
    space = colour.RGB_COLOURSPACES["ITU-R BT.709"]
    light = np.clip(signal, 0, None) ** 2.4
    return colour.XYZ_to_Lab(light @ space.matrix_RGB_to_XYZ.T, space.whitepoint)


def check_chart(rows):
    shape = colour.SpectralShape(380, 780, 5)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    space = colour.RGB_COLOURSPACES["ITU-R BT.709"]
    to_rgb = np.linalg.inv(space.matrix_RGB_to_XYZ)
    sets = {"average": "BabelColor Average", "single": "ColorChecker N Ohta"}
    worst = (0.0, "")
    values = []
    for row in rows:
        reflectance = colour.SDS_COLOURCHECKERS[sets[row["set"]]][row["patch"]].copy().align(shape)
        light = colour.SDS_ILLUMINANTS[row["light"]].copy().align(shape)
        xyz = colour.sd_to_XYZ(reflectance, observer, light, method="Integration") / 100
        signal = colour.models.oetf_BT709(xyz @ to_rgb.T)
        # The BT.709 OETF of a negative value is a straight line in our code and in the library alike.
        difference = float(
            colour.delta_E(lab_of_signal(signal), lab_of_signal(np.array(row["signal"])), method="CIE 2000")
        )
        values.append(difference)
        worst = max(worst, (difference, f"{row['set']} {row['patch']} {row['light']}"))
    print(f"chart: {len(values)} patches, CIEDE2000 median {np.median(values):.4f}, worst {worst[0]:.4f} ({worst[1]}), limit {LIMIT_CHART}")
    return worst[0] <= LIMIT_CHART


def check_classes(rows):
    published = {}
    for line in (ROOT / "crates/spectra/data/skin_lab_by_class.csv").read_text().splitlines():
        fields = line.split(",")
        if fields[0].startswith("face ITA "):
            published[fields[0][9:].replace(" ", "").lower()] = np.array([float(v) for v in fields[2:5]])
    worst = 0.0
    for row in rows:
        lab = published[row["class"].lower()]
        difference = float(colour.delta_E(lab, np.array(row["lab"]), method="CIE 2000"))
        worst = max(worst, difference)
        print(f"class {row['class']}: Lab {np.round(row['lab'], 2)} against {lab}, CIEDE2000 {difference:.3f}")
    print(f"classes: {len(rows)}, worst {worst:.3f}, limit {LIMIT_CLASS}")
    return worst <= LIMIT_CLASS and len(rows) == 6


def main():
    rows = ours()
    kind = lambda name: [r for r in rows if r["kind"] == name]
    results = [check_chart(kind("chart")), check_classes(kind("class"))]
    print("spectra: " + ("ok" if all(results) else "FAILED"))
    return 0 if all(results) else 1


if __name__ == "__main__":
    sys.exit(main())

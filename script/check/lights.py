#!/usr/bin/env python3
"""The table of lights that the estimate of skin rests on, derived anew from published data, and held against the one that is used.

Lights: CIE illuminants and measured lamps as colour-science ships them, the CIE daylight locus, Planck radiators. Skin: the Gaussian
model of facial absorbance in crates/spectra/data/skin_pca.csv (International Skin Spectra Archive, Lu, Xiao et al., Scientific Data
2025, doi 10.1038/s41597-025-04857-5), 4000 draws. Camera: the CIE 1931 2 degree observer brought to linear BT.709. 400-700 nm in steps
of 5. Which light belongs to which technology is taken from the table: a judgement, not a figure.
Usage: lights.py [--write]      --write puts the derived rows into crates/fix/data/skin_light.csv
"""

import csv
import sys
import warnings
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicSpline

warnings.filterwarnings("ignore")
import colour  # noqa: E402

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "crates" / "fix" / "data" / "skin_light.csv"
NM = np.arange(400, 701, 5.0)
# IEC 61966-2-1 and Rec. ITU-R BT.709-6: XYZ of D65 to linear R, G, B.
RGB_FROM_XYZ = np.array([[3.2404542, -1.5371385, -0.4985314], [-0.969266, 1.8760108, 0.041556], [0.0556434, -0.2040259, 1.0572252]])
# Probability of all of the daylight locus; the other technologies share the rest evenly.
DAYLIGHT = 0.3
DRAWS, SEED = 4000, 1
# The last printed digit of the table, and of the model of skin that it was made with.
CLOSE = 5e-6


def sampled(spectrum):
    return np.interp(NM, spectrum.wavelengths, spectrum.values)


def power(name):
    if name.startswith("x:"):
        return sampled(colour.SDS_LIGHT_SOURCES[name[2:]])
    if name.startswith("DL"):
        return sampled(colour.sd_CIE_illuminant_D_series(colour.temperature.CCT_to_xy_CIE_D(float(name[2:]))))
    if name.startswith("P") and name[1:].isdigit():
        metres = NM * 1e-9
        return 1 / (metres**5 * (np.exp(1.4388e-2 / (metres * float(name[1:]))) - 1))
    return sampled(colour.SDS_ILLUMINANTS[name])


def skins():
    lines = [line for line in (ROOT / "crates/spectra/data/skin_pca.csv").read_text().splitlines() if not line.startswith("#")]
    rows = np.array([[float(v) for v in row] for row in csv.reader(lines[1:])])
    scores = np.random.default_rng(SEED).normal(0, 1, (DRAWS, 4)) * [0.83673, 0.15053, 0.09031, 0.05401]
    absorbance = rows[:, 1] + scores @ rows[:, 2:6].T
    return 10 ** -CubicSpline(rows[:, 0], absorbance, axis=1)(NM)


def ratios(rgb):
    log = np.log(np.maximum(rgb, 2e-3))
    return np.stack([log[..., 0] - log[..., 1], log[..., 2] - log[..., 1]], -1)


def derived(names, families):
    bars = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(colour.SpectralShape(400, 700, 5)).values
    camera = bars @ RGB_FROM_XYZ.T
    skin = skins()

    def seen(name):
        light = power(name)
        white = light @ camera
        return white / (light @ bars[:, 1]), ratios((skin * light) @ camera / white)

    reference, true = seen("D65")
    centre = true.mean(0)
    off = true - centre
    spread = off.T @ off / DRAWS
    counts = {family: families.count(family) for family in families}
    rows = []
    for name, family in zip(names, families, strict=True):
        white, balanced = seen(name)
        gains = white / reference
        n = [np.log(gains[0] / gains[1]), np.log(max(gains[2], 0.01) / gains[1])]
        mean = balanced.mean(0)
        about = balanced - mean
        own = about.T @ about / DRAWS
        cross = off.T @ about / DRAWS
        share = DAYLIGHT if family == "daylocus" else (1 - DAYLIGHT) / (len(counts) - 1)
        prior = np.log(share / counts[family])
        rows.append([prior, *n, *mean, own[0, 0], own[0, 1], own[1, 1], *cross.ravel()])
    return np.array(rows), centre, spread


def main():
    text = TABLE.read_text().splitlines()
    head = [line for line in text if line.startswith("#")]
    columns, *lines = [line for line in text if not line.startswith("#")]
    table = list(csv.reader(lines))
    names, families = [row[0] for row in table], [row[1] for row in table]
    kept = np.array([[float(v) for v in row[2:]] for row in table])
    rows, centre, spread = derived(names, families)
    wrong = np.abs(rows - kept)
    for column, name in enumerate(columns.split(",")[2:]):
        at = int(wrong[:, column].argmax())
        print(f"{name:5} of {len(rows)} lights: at most {wrong[at, column]:.1e} off, {names[at]}")
    source = (ROOT / "crates/fix/src/light/table.rs").read_text().replace("_", "")
    model = [*centre, spread[0, 0], spread[0, 1], spread[1, 1]]
    faults = [f"{value:.6f} of the model of skin does not stand in light/table.rs" for value in model if f"{abs(value):.6f}" not in source]
    if wrong.max() > CLOSE:
        faults.append(f"{wrong.max():.1e} off; expected at most {CLOSE}")
    if "--write" in sys.argv[1:]:
        made = [f'"{name}",{family},' + ",".join(f"{v:.6f}" for v in row) for name, family, row in zip(names, families, rows, strict=True)]
        TABLE.write_text("\n".join([*head, columns, *made]) + "\n")
    for fault in faults:
        print(f"FAULT {fault}")
    print(f"{len(faults)} faults")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()

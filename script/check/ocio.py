#!/usr/bin/env python3
"""Checks our tables and CDLs live against OpenColorIO 2.6.0, and the tables against colour-science too.

Usage: ocio.py [DIRECTORY]   DIRECTORY = filled by `export_check`; made when not given:
`cargo run -p inkarnat-interchange --example export_check -- DIRECTORY`
Exit code 1 when a bound is missed.
"""
import contextlib
import io
import json
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

import numpy as np
import PyOpenColorIO as ocio

warnings.filterwarnings("ignore")
with contextlib.redirect_stderr(io.StringIO()):
    import colour

ROOT = Path(__file__).resolve().parents[2]
LIMIT = 1e-5  # signal (1 = reference white), relative where a result lies beyond 1
CONFIG = ocio.Config.CreateRaw()
FAILED = []


def check(what, worst, limit):
    ok = worst <= limit
    print(f"{'ok  ' if ok else 'FAIL'} {what}: {worst:.2e} (limit {limit:.0e})")
    if not ok:
        FAILED.append(what)


def difference(ours, theirs):
    if ours.shape != theirs.shape or not (np.isfinite(ours).all() and np.isfinite(theirs).all()):
        return float("inf")
    return float((np.abs(ours - theirs) / np.maximum(1, np.abs(theirs))).max())


def through(transform, colours, direction=ocio.TRANSFORM_DIR_FORWARD):
    """What OpenColorIO makes of the colours, in f32, with every approximation off."""
    lossless = CONFIG.getProcessor(transform, direction).getOptimizedCPUProcessor(
        ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_LOSSLESS
    )
    result = colours.copy()
    lossless.applyRGB(result)
    return result.astype(np.float64)


def read(folder, name):
    return np.fromfile(folder / name, "<f4" if name.endswith("f32") else "<f8").reshape(-1, 3).astype(np.float64)


def check_cdls(folder, entries, colours):
    worst = dict.fromkeys(["open", "clamped", "inverse", "rows"], 0.0)
    read_back = {"cc": 0.0, "ccc": 0.0, "cdl": 0.0}
    for entry in entries:
        cdl = entry["cdl"]
        own = ocio.CDLTransform(slope=cdl["slope"], offset=cdl["offset"], power=cdl["power"], sat=cdl["saturation"])
        own.setStyle(ocio.CDL_NO_CLAMP)
        theirs = through(own, colours)
        for kind in ("open", "rows"):
            worst[kind] = max(worst[kind], difference(read(folder, entry[kind]), theirs))
        if entry["inverse"]:
            undone = through(own, colours, ocio.TRANSFORM_DIR_INVERSE)
            worst["inverse"] = max(worst["inverse"], difference(read(folder, entry["inverse"]), undone))
        own.setStyle(ocio.CDL_ASC)
        worst["clamped"] = max(worst["clamped"], difference(read(folder, entry["clamped"]), through(own, colours)))
        for form, file in entry["files"].items():
            path = str(folder / file)
            found = ocio.CDLTransform.CreateFromFile(path, entry["id"])
            same = np.abs(np.subtract(found.getSOP(), cdl["slope"] + cdl["offset"] + cdl["power"])).max()
            same = max(same, abs(found.getSat() - cdl["saturation"]))
            if found.getID() != entry["id"] or found.getFirstSOPDescription() != f"{entry['name']}, <no clamp> & exact":
                FAILED.append(f"{file}: id or description read as {found.getID()!r}, {found.getFirstSOPDescription()!r}")
            applied = through(ocio.FileTransform(path, cccId=entry["id"]), colours)
            read_back[form] = max(read_back[form], float(same), difference(read(folder, entry["open"]), applied))
    cases = f"{len(entries)} CDLs x {len(colours)} colours"
    check(f"CDL without clamping, {cases}", worst["open"], LIMIT)
    check(f"CDL without clamping, our rows, {cases}", worst["rows"], LIMIT)
    check(f"CDL with clamping, {cases}", worst["clamped"], LIMIT)
    # Undoing divides f32 rounding by slopes and saturations down to 0.2 and takes it to powers up to 1/0.6.
    check(f"CDL undone, {cases}", worst["inverse"], LIMIT)
    for form, value in read_back.items():
        check(f".{form} files: numbers and result as read by OpenColorIO, {len(entries)} files", value, LIMIT)


def check_luts(folder, entries, colours):
    worst, foreign, beyond = 0.0, 0.0, 0.0
    picked = np.random.default_rng(3).choice(len(colours), 2000, replace=False)
    for entry in entries:
        path = str(folder / entry["file"])
        ours = read(folder, entry["rows"])
        theirs = through(ocio.FileTransform(path, interpolation=ocio.INTERP_TETRAHEDRAL), colours)
        worst = max(worst, difference(ours, theirs))
        low, high = entry["domain"]["min"], entry["domain"]["max"]
        # OpenColorIO's reading of the table against the exact chain: no further off than the file says.
        inside = ((colours >= low) & (colours <= high)).all(axis=1)
        exact = read(folder, entry["exact"])
        off = np.abs(theirs - exact)[inside].max() - 1.02 * entry["error"]["max"]
        beyond = max(beyond, float(off))
        few = picked[inside[picked]]
        table = colour.read_LUT(path)
        result = table.apply(colours[few].astype(np.float64), interpolator=colour.algebra.table_interpolation_tetrahedral)
        foreign = max(foreign, difference(ours[few], np.asarray(result)))
    check(f"tables as read by OpenColorIO, {len(entries)} tables x {len(colours)} colours", worst, LIMIT)
    check(f"tables as read by colour-science, {len(entries)} tables", foreign, LIMIT)
    check("tables against the exact chain, beyond 1.02 times the error they state", max(beyond, 0.0), 1e-6)


def main(folder):
    manifest = json.loads((folder / "manifest.json").read_text())
    colours = np.fromfile(folder / manifest["colours"], "<f4").reshape(-1, 3)
    print(f"OpenColorIO {ocio.GetVersion()}, colour-science {colour.__version__}; colours from {colours.min():.3f} to {colours.max():.3f}")
    check_cdls(folder, manifest["cdls"], colours)
    check_luts(folder, manifest["luts"], colours)
    if not manifest["cdls"] or not manifest["luts"] or colours.min() > -0.07 or colours.max() < 1.09:
        FAILED.append("too little was checked")
    for what in FAILED:
        print(f"failed: {what}")
    return 1 if FAILED else 0


if __name__ == "__main__":
    if len(sys.argv) > 1:
        sys.exit(main(Path(sys.argv[1])))
    with tempfile.TemporaryDirectory() as made:
        command = ["cargo", "run", "--quiet", "-p", "inkarnat-interchange", "--example", "export_check", "--", made]
        subprocess.run(command, cwd=ROOT, check=True)
        sys.exit(main(Path(made)))

#!/usr/bin/env python3
"""Checks our tables, CDLs and CLF files live against OpenColorIO 2.6.0, and the tables against colour-science too.

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
from xml.etree import ElementTree

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


def bent(values):
    """A curve of OpenColorIO's own making."""
    return (np.clip(values, 0, None) ** 0.6 * 1.1 - 0.02).astype(np.float32)


def foreign_transforms():
    """What OpenColorIO writes as CLF, for our reader: (name, transform)."""
    made = []
    for style in (ocio.CDL_ASC, ocio.CDL_NO_CLAMP):
        for direction in (ocio.TRANSFORM_DIR_FORWARD, ocio.TRANSFORM_DIR_INVERSE):
            cdl = ocio.CDLTransform(slope=[1.2, 0.9, 1.05], offset=[-0.03, 0.01, 0.02], power=[1.2, 0.8, 1.1], sat=0.7)
            cdl.setStyle(style)
            cdl.setDirection(direction)
            made.append((f"cdl {len(made)}", cdl))
    matrix = [1.45, -0.24, -0.21, 0, -0.08, 1.18, -0.1, 0, 0.008, -0.006, 0.998, 0, 0, 0, 0, 1]
    made.append(("matrix", ocio.MatrixTransform(matrix, [0.01, 0, -0.02, 0])))
    made.append(("range", ocio.RangeTransform(0.0625, 0.92, 0.0, 1.0)))
    for negative in (ocio.NEGATIVE_CLAMP, ocio.NEGATIVE_MIRROR, ocio.NEGATIVE_PASS_THRU):
        power = ocio.ExponentTransform([2.4, 2.2, 2.6, 1])
        power.setNegativeStyle(negative)
        made.append((f"exponent {negative}", power))
    for negative in (ocio.NEGATIVE_LINEAR, ocio.NEGATIVE_MIRROR):
        line = ocio.ExponentWithLinearTransform([2.4, 2.2, 2.4, 1], [0.055, 0.099, 0.055, 0])
        line.setNegativeStyle(negative)
        made.append((f"curve {negative}", line))
    made.append(("log", ocio.LogTransform(10)))
    made.append(("affine log", ocio.LogAffineTransform([0.25] * 3, [0.6] * 3, [0.98] * 3, [0.01] * 3)))
    camera = ocio.LogCameraTransform([0.0078] * 3, 10, [0.2567] * 3, [0.5846] * 3, [0.9892] * 3, [0.0108] * 3)
    made.append(("camera log", camera))
    steps = np.linspace(0, 1, 1025, dtype=np.float32)
    curve = ocio.Lut1DTransform(length=1025, inputHalfDomain=False)
    curve.setData(np.stack([bent(steps), bent(steps) * 0.9, steps], axis=1).ravel())
    made.append(("curve of 1025", curve))
    halves = ocio.Lut1DTransform(length=65536, inputHalfDomain=True)
    values = np.nan_to_num(np.arange(65536, dtype=np.uint16).view(np.float16).astype(np.float32), nan=0, posinf=6e4, neginf=-6e4)
    halves.setData(np.repeat(values * 0.5 + 0.01, 3))
    made.append(("curve of halves", halves))
    grid = np.stack(np.meshgrid(*[np.linspace(0, 1, 9, dtype=np.float32)] * 3, indexing="ij"), axis=-1)
    for interpolation in (ocio.INTERP_LINEAR, ocio.INTERP_TETRAHEDRAL):
        cube = ocio.Lut3DTransform(gridSize=9)
        cube.setData((bent(grid) + 0.1 * grid[..., ::-1]).astype(np.float32).ravel())
        cube.setInterpolation(interpolation)
        made.append((f"grid {interpolation}", cube))
    return made


def curves_in(path):
    """The entries of a CLF file's LUT1D."""
    array = next(node for node in ElementTree.parse(path).iter() if node.tag.endswith("Array"))
    return np.array(array.text.split(), float).reshape([int(n) for n in array.get("dim").split()])


def check_clfs(folder, entries, colours):
    """Our files as OpenColorIO reads them, and its files as we read them."""
    worst = {"plain": (0.0, ""), "rows": (0.0, "")}
    rough = 0.0
    for entry in entries:
        if entry["name"].endswith("rough"):
            # Steps between entries that show OpenColorIO's f32 more than its reading: held against numpy in f64.
            table = curves_in(folder / entry["file"])
            exact = np.stack([np.interp(colours[:, c].astype(float), np.linspace(0, 1, len(table)), table[:, c]) for c in range(3)], axis=1)
            rough = max(rough, difference(read(folder, entry["plain"]), exact))
            continue
        theirs = through(ocio.FileTransform(str(folder / entry["file"])), colours)
        for kind in worst:
            worst[kind] = max(worst[kind], (difference(read(folder, entry[kind]), theirs), entry["name"]))
    check("CLF curves of random entries, our plain, against numpy", rough or float("inf"), LIMIT)
    for kind, (off, where) in worst.items():
        check(f"CLF as read by OpenColorIO, our {kind}, {len(entries)} files x {len(colours)} colours (worst: {where})", off, LIMIT)
    foreign = folder / "foreign"
    foreign.mkdir(exist_ok=True)
    transforms = foreign_transforms()
    for index, (_, transform) in enumerate(transforms):
        group = ocio.GroupTransform([transform])
        (foreign / f"{index}.clf").write_text(group.write("Academy/ASC Common LUT Format", CONFIG))
    command = ["cargo", "run", "--quiet", "-p", "inkarnat-interchange", "--example", "export_check", "--", str(folder), "--read"]
    subprocess.run(command, cwd=ROOT, check=True)
    off = max((difference(read(foreign, f"{index}.f64"), through(transform, colours)), name) for index, (name, transform) in enumerate(transforms))
    check(f"CLF as OpenColorIO writes it, read by us, {len(transforms)} files (worst: {off[1]})", off[0], LIMIT)


def main(folder):
    manifest = json.loads((folder / "manifest.json").read_text())
    colours = np.fromfile(folder / manifest["colours"], "<f4").reshape(-1, 3)
    print(f"OpenColorIO {ocio.GetVersion()}, colour-science {colour.__version__}; colours from {colours.min():.3f} to {colours.max():.3f}")
    check_cdls(folder, manifest["cdls"], colours)
    check_luts(folder, manifest["luts"], colours)
    check_clfs(folder, manifest["clfs"], colours)
    if len(manifest["clfs"]) < 40 or not manifest["cdls"] or not manifest["luts"] or colours.min() > -0.07 or colours.max() < 1.09:
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

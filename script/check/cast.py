#!/usr/bin/env python3
"""The invented cast must be told apart: everybody is found, and no two are near enough to be linked without asking.

Each of the cast is rendered in several views, each view is given to the example `people` as a shot of its own, the
embeddings are averaged over the views by numpy, and the distances between people are compared with the one below which
the program links two faces (0.45, `docs/FACES.md`). Pairs up to 0.6 would be asked about: they are counted. One
person's views must lie nearer to their own mean than to any other's. Usage: cast.py [DIRECTORY with pictures that are already rendered]
"""

import json
import os
import subprocess
import sys
import tempfile
from itertools import combinations
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
SAME, DOUBT = 0.45, 0.6
VIEWS = ",turn,talk,close"


def program(name):
    target = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
    found = next((p for p in (target / k / "examples" / name for k in ("debug", "release")) if p.is_file()), None)
    if found is None:
        sys.exit(f"cast: the example `{name}` is not built; run: cargo build --workspace --examples")
    return found


def main():
    with tempfile.TemporaryDirectory() as folder:
        pictures = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(folder)
        if len(sys.argv) == 1:
            arguments = [ROOT / ".cache/heads", pictures, "all", "window", "960", "2", VIEWS]
            subprocess.run([program("portrait"), *arguments], check=True, capture_output=True)
        shots = sorted(pictures.glob("*.png"))
        run = [program("people"), ROOT / ".cache/faces", folder, *shots]
        subprocess.run(run, check=True, capture_output=True)
        views = {}
        for shot in shots:
            tracks = json.loads((Path(folder) / f"{shot.stem}.json").read_text())
            if len(tracks) != 1:
                sys.exit(f"cast: {len(tracks)} faces found in {shot.name}, expected 1")
            values = tracks[0]["embedding"]
            views.setdefault(shot.stem.split("_")[1], []).append(np.array(values, float))
    if len(views) < 6:
        sys.exit(f"cast: {len(views)} people were rendered, expected at least six")
    mean = {name: np.mean(v, axis=0) for name, v in views.items()}
    own = {name: max(np.linalg.norm(e - mean[name]) for e in v) for name, v in views.items()}
    pairs = sorted((float(np.linalg.norm(mean[a] - mean[b])), a, b) for a, b in combinations(mean, 2))
    for distance, a, b in pairs[:8]:
        print(f"  {a}–{b} {distance:.2f}")
    failed = [f"{a} and {b} are {d:.2f} apart" for d, a, b in pairs if d <= SAME]
    for name, v in views.items():
        for e in v:
            nearest = min(mean, key=lambda other: np.linalg.norm(e - mean[other]))
            if nearest != name:
                failed.append(f"a view of {name} lies nearer to {nearest}")
    least, a, b = pairs[0]
    print(f"cast: {len(mean)} people, {sum(map(len, views.values()))} views; nearest two {a} and {b} {least:.2f} apart "
          f"(linked below {SAME}), {sum(d <= DOUBT for d, _, _ in pairs)} of {len(pairs)} pairs asked about (up to {DOUBT}); farthest view from its own mean {max(own.values()):.2f}")
    if failed:
        sys.exit("cast: " + "; ".join(failed))


if __name__ == "__main__":
    main()

#!/usr/bin/env python3
"""OpenCV's face detector on the same weights must find the same boxes as the project, on the packaged real stills.

The project's side comes from the example `faces` (boxes as JSON lines); OpenCV decodes, resizes nothing and runs the
network by itself. Pictures above 640 pixels are shrunk by the project only, so that boxes may differ by what shrinking
does to them: intersection over union of at least 0.85 is asked, and the same number of faces.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import cv2

ROOT = Path(__file__).resolve().parents[2]
NAMES = ["astronaut.png", "multi_face.jpg", "portrait_light.jpg", "portrait_medium_deep.jpg", "portrait_medium_deep_2.jpg"]


def overlap(a, b):
    across = max(0.0, min(a[0] + a[2], b[0] + b[2]) - max(a[0], b[0]))
    down = max(0.0, min(a[1] + a[3], b[1] + b[3]) - max(a[1], b[1]))
    return across * down / (a[2] * a[3] + b[2] * b[3] - across * down)


def theirs(path):
    image = cv2.imread(str(path))
    factor = max(1.0, max(image.shape[:2]) / 640)
    if factor > 1:
        image = cv2.resize(image, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA)
    detector = cv2.FaceDetectorYN.create(str(ROOT / ".cache/faces/boxes.onnx"), "", (image.shape[1], image.shape[0]), 0.7, 0.3)
    found = detector.detect(image)[1]
    return [] if found is None else [[float(v) * factor for v in face[:4]] for face in found]


def main():
    target = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
    candidates = [target / profile / "examples/faces" for profile in ("debug", "release")]
    program = next((path for path in candidates if path.is_file()), None)
    if program is None:
        sys.exit("faces: the example `faces` is not built; run: cargo build -p inkarnat-people --examples")
    paths = [ROOT / ".cache/real" / name for name in NAMES]
    with tempfile.TemporaryDirectory() as folder:
        run = subprocess.run(
            [program, ROOT / ".cache/faces", folder, *paths], check=True, capture_output=True, text=True
        )
    own = [json.loads(line[6:]) for line in run.stdout.splitlines() if line.startswith("boxes ")]
    if len(own) != len(paths):
        sys.exit(f"faces: {len(own)} pictures answered, expected {len(paths)}")
    worst, count = 1.0, 0
    for path, boxes in zip(paths, own):
        other = theirs(path)
        if len(boxes) != len(other) or not other:
            sys.exit(f"faces: {path.name}: {len(boxes)} faces here, {len(other)} by OpenCV")
        for box in boxes:
            worst = min(worst, max(overlap(box, o) for o in other))
            count += 1
    print(f"faces: {count} faces in {len(paths)} pictures, least overlap with OpenCV's boxes {worst:.3f}")
    if worst < 0.85:
        sys.exit("faces: boxes differ from OpenCV's on the same weights")


if __name__ == "__main__":
    main()

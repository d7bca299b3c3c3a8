#!/usr/bin/env python3
"""The page's interface does what docs/openapi.json says: schemathesis asks the real program, in a film of one shot.

Every answer has a status, a kind and a form that the description names, and no request breaks the program (a status of
500). Requests that fit the description and such that do not are both sent, the same ones every run; most numbers and names fit no
film, so that parameters are narrowed to the one at hand. Whatever can be asked has to be answered at least once; changes may
find the program at work on the last one. Left out are the stream of events, which never ends, long work, since a hand-over
writes wherever it is told to, and erasing.
"""

import json
import os
import re
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = Path(os.environ.get("INKARNAT", ROOT / "target/debug/inkarnat"))
CLIP = ROOT / ".cache/real/single_face.mp4"
PATCH = "ellipse=0.405,0.55,0.022,0.045:person=Ren"
LEFT_OUT = ["get_events", "post_work", "post_erase"]
FRAMES = 72
# Nothing is asked in this film, and nothing is taken back before something was decided.
MAY_BE_REFUSED = {"post_answer", "post_undo", "post_redo"}
CHECKS = "not_a_server_error,status_code_conformance,content_type_conformance,response_schema_conformance"


def run(folder, *command):
    result = subprocess.run([PROGRAM, *command], cwd=folder, capture_output=True, text=True, stdin=subprocess.DEVNULL)
    if result.returncode not in (0, 2):
        sys.exit(f"api: inkarnat {command[0]} ended with {result.returncode}\n{result.stderr}")


def narrowed(description):
    """The description with parameters that the film at hand has; what is answered stays as it is described."""
    frame = {"type": "integer", "minimum": 0, "maximum": FRAMES - 1}
    few = {"type": "integer", "minimum": 0, "maximum": 2}
    of_query = {
        "frame": frame, "person": {"enum": ["Ren"]}, "part": {"enum": ["0.1,0.2,0.5,0.5", "0,0,1,1"]},
        "width": {"type": "integer", "minimum": 16, "maximum": 320}, "count": {"type": "integer", "minimum": 1, "maximum": 3},
    }
    for path, operations in description["paths"].items():
        for operation in operations.values():
            for parameter in operation["parameters"]:
                if parameter["in"] == "path":
                    parameter["schema"] = {"enum": [1]}
                elif path.endswith("/table") and parameter["name"] in ("from", "to"):
                    parameter["schema"] = few
                elif parameter["name"] == "from":
                    parameter["schema"] = frame
                else:
                    parameter["schema"] = of_query.get(parameter["name"], parameter["schema"])
    schemas = description["components"]["schemas"]

    def number(low, high):
        return {"type": "number", "minimum": low, "maximum": high}

    def three(low, high):
        return {"type": "array", "items": number(low, high), "minItems": 3, "maxItems": 3}

    # A form that is also answered with stays as it is there: asked are copies of it.
    schemas["AskedCdl"] = {**schemas["CdlReport"], "properties": {"slope": three(0.7, 1.4), "offset": three(-0.05, 0.05), "power": three(0.7, 1.4), "saturation": number(0.7, 1.3)}}
    schemas["Numbers"] = json.loads(json.dumps(schemas["Numbers"]).replace("schemas/CdlReport", "schemas/AskedCdl"))
    schemas["AskedShape"] = {
        "type": "object", "required": ["ellipse"], "additionalProperties": False,
        "properties": {"ellipse": {
            "type": "object", "required": ["centre", "radii"],
            "properties": {side: {"type": "array", "items": number(low, high), "minItems": 2, "maxItems": 2} for side, low, high in (("centre", 0.38, 0.45), ("radii", 0.02, 0.04))},
        }},
    }
    schemas["PatchOrder"]["properties"].update(person={"enum": ["Ren"]}, frame=frame, shape={"$ref": "#/components/schemas/AskedShape"})
    schemas["UndrawOrder"]["properties"].update(person={"enum": ["Ren"]}, frame={"enum": [0]})
    schemas["AimOrder"]["properties"].update(person={"enum": ["Ren"]}, aim={"enum": ["own", "level:50-60", "measured-light"]})
    tried = schemas["AimOrder"]["properties"] | {"shots": {"type": "array", "items": {"enum": [1]}, "minItems": 1, "maxItems": 1}}
    schemas["TryAimOrder"]["properties"].update(tried)
    for form in schemas["PeopleOrder"]["oneOf"]:
        for name in form["properties"]:
            form["properties"][name] = {"enum": {"complexion": ["Ren=tan", "Ren=none"]}.get(name, ["Ren=Ren"])}
    return description


def unanswered(har):
    """Operations that never gave what was asked for."""
    best = {}
    for entry in har["log"]["entries"]:
        path = re.sub(r"^shots/[^/?]+", "shots/{shot}", entry["request"]["url"].split("/api/")[-1].split("?")[0])
        name = f"{entry['request']['method'].lower()}_{re.sub('[/{}-]', '_', path)}"
        best.setdefault(name, set()).add(entry["response"]["status"])
    asked = {name for name in best if 405 not in best[name] or len(best[name]) > 1}
    enough = lambda name: 200 in best[name] or (name.startswith("post_") and 409 in best[name]) or name in MAY_BE_REFUSED
    return len(har["log"]["entries"]), len(asked), sorted(name for name in asked if not enough(name))


def main():
    if not PROGRAM.is_file():
        sys.exit(f"api: {PROGRAM} is not built; run: cargo build --workspace --bins")
    with tempfile.TemporaryDirectory(prefix="inkarnat-api.") as folder:
        run(folder, "start", "film.inkarnat", CLIP, "--patch", f"{CLIP}@0:{PATCH}")
        run(folder, "read", "film.inkarnat")
        run(folder, "fix", "film.inkarnat")
        description = Path(folder) / "openapi.json"
        description.write_text(json.dumps(narrowed(json.loads((ROOT / "docs/openapi.json").read_text()))))
        served = subprocess.Popen([PROGRAM, "open", "film.inkarnat", "--no-browser"], cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        try:
            address = served.stdout.readline().strip()
            command = [Path(sys.executable).with_name("schemathesis"), "run", description, "--url", address.rstrip("/"), "--header", "x-inkarnat: 1"]
            command += ["--checks", CHECKS, "--phases", "examples,coverage,fuzzing", "--max-examples", "12", "--seed", "1", "--generation-deterministic"]
            command += ["--no-shrink", "--request-timeout", "30", "--warnings", "off", "--no-color", "--workers", "1", "--report-har-path", "asked.har"]
            command += [f"--exclude-operation-id={name}" for name in LEFT_OUT]
            result = subprocess.run(command, cwd=folder, capture_output=True, text=True, stdin=subprocess.DEVNULL)
        finally:
            served.send_signal(signal.SIGINT)
            served.wait(30)
        text = result.stdout.replace(address.split("/")[3], "TOKEN")
        if result.returncode != 0:
            sys.exit(f"{text}{result.stderr}\napi: what is answered and what docs/openapi.json says differ, see above")
        requests, operations, never = unanswered(json.loads((Path(folder) / "asked.har").read_text()))
        if never or operations < 20:
            sys.exit(f"api: {requests} requests of {operations} kinds; never answered with what was asked for: {', '.join(never) or 'none'}")
        print(f"api: {requests} requests of {operations} kinds; every answer is as described")


if __name__ == "__main__":
    main()

#!/usr/bin/env python3
"""Holds the crates to ARCHITECTURE.md: who may depend on whom, what the pure crates may reach, where unsafe may stand.

The table between `<!-- crates -->` and `<!-- /crates -->` in ARCHITECTURE.md is the rule; this reads it and the real
graph from `cargo metadata`. Usage: graph.py
"""

import json
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PREFIX = "inkarnat-"
# What no pure crate's own source may name, outside its tests. (clippy.toml bans the calls; this bans the modules.)
FORBIDDEN = re.compile(r"\bstd::(fs|env|net|process|thread|time)\b|\b(tracing|log|rayon|println|eprintln|rand)\b(::|!)")
REQUIRED_PURE = ("#![forbid(unsafe_code)]", "#![deny(clippy::disallowed_methods)]")


def table():
    """{crate: (kind, {crates it may depend on})} from ARCHITECTURE.md."""
    text = (ROOT / "ARCHITECTURE.md").read_text()
    found = re.search(r"<!-- crates -->(.*?)<!-- /crates -->", text, re.S)
    if not found:
        sys.exit("graph: ARCHITECTURE.md has no table between <!-- crates --> and <!-- /crates -->")
    rows = {}
    for line in found[1].splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if len(cells) < 4 or not cells[0].startswith("`"):
            continue
        rows[cells[0].strip("`")] = (cells[1], set(re.findall(r"`(\w+)`", cells[3])))
    return rows


def source_without_tests(path):
    """The file's text up to its inline test module, comments dropped."""
    text = path.read_text().split("#[cfg(test)]\nmod ")[0]
    return "\n".join(line.split("//")[0] for line in text.splitlines())


def main():
    command = ["cargo", "metadata", "--format-version", "1", "--offline", "--locked"]
    result = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    if result.returncode != 0:
        sys.exit(f"graph: {' '.join(command)} failed:\n{result.stderr}")
    metadata = json.loads(result.stdout)
    packages = {package["id"]: package for package in metadata["packages"]}
    nodes = {node["id"]: node for node in metadata["resolve"]["nodes"]}
    members = {packages[i]["name"].removeprefix(PREFIX): i for i in metadata["workspace_members"]}
    rows = table()
    wrong = []

    def normal(identity):
        """The packages it needs at run time."""
        for dependency in nodes[identity]["deps"]:
            if any(kind["kind"] is None for kind in dependency["dep_kinds"]):
                yield dependency["pkg"]

    for name in sorted(set(members) ^ set(rows)):
        wrong.append(f"{name}: in {'the table' if name in rows else 'the workspace'} only")
    edges = 0
    for name, (kind, allowed) in sorted(rows.items()):
        if name not in members:
            continue
        identity = members[name]
        for dependency in normal(identity):
            if dependency in members.values():
                edges += 1
                other = packages[dependency]["name"].removeprefix(PREFIX)
                if other not in allowed:
                    wrong.append(f"{name} depends on {other}, which the table does not allow")
        source = Path(packages[identity]["manifest_path"]).parent / "src"
        files = sorted(source.rglob("*.rs"))
        root_file = source / ("lib.rs" if (source / "lib.rs").exists() else "main.rs")
        if "unsafe" not in kind:
            if "#![forbid(unsafe_code)]" not in root_file.read_text():
                wrong.append(f"{name}: {root_file.relative_to(ROOT)} lacks #![forbid(unsafe_code)]")
        if "pure" not in kind:
            continue
        for line in REQUIRED_PURE:
            if line not in root_file.read_text():
                wrong.append(f"{name}: {root_file.relative_to(ROOT)} lacks {line}")
        for path in files:
            if path.stem == "tests" or "tests" in path.relative_to(source).parts:
                continue
            for hit in FORBIDDEN.finditer(source_without_tests(path)):
                wrong.append(f"{name}: {path.relative_to(ROOT)} names {hit[0]}")
        # Whatever a pure crate reaches links no native library and starts no threads.
        reached, queue = set(), [identity]
        while queue:
            for dependency in normal(queue.pop()):
                if dependency not in reached:
                    reached.add(dependency)
                    queue.append(dependency)
        for dependency in reached:
            if packages[dependency]["links"]:
                wrong.append(f"{name} reaches {packages[dependency]['name']}, which links {packages[dependency]['links']}")

    for line in wrong:
        print(f"graph: {line}")
    pure = sum("pure" in kind for kind, _ in rows.values())
    print(f"graph: {len(members)} crates ({pure} pure), {edges} edges, {len(wrong)} against ARCHITECTURE.md")
    return 1 if wrong or not members else 0


if __name__ == "__main__":
    sys.exit(main())

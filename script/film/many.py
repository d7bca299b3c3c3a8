"""Makes a film file of many shots out of one of a single shot that was read, with the samples that the example `many_shots` of
crates/fix prints: what `inkarnat fix` then solves, and nothing else, is that of a film of such a length. Readings frame by frame are
those of the one shot.

Usage: many_shots SHOTS some|all | many.py FILM TARGET. FILM holds one shot of one person, read."""

import json
import os
import sqlite3
import sys
import zlib
from pathlib import Path

PEOPLE = ["Ada", "Bela", "Cato", "Dora", "Emil", "Fenna"]
# What reading keeps of a picture beside its sample.
OF_PICTURE = ("dark_noise", "rule", "every", "light")


def rows(film, table):
    film.row_factory = sqlite3.Row
    return [dict(row) for row in film.execute(f"SELECT * FROM {table}")]


def put(film, table, row):
    names = ", ".join(row)
    film.execute(f"INSERT INTO {table} ({names}) VALUES ({', '.join('?' * len(row))})", list(row.values()))


def packed(value):
    return zlib.compress(json.dumps(value, separators=(",", ":")).encode(), 1)


def main():
    origin, target = map(Path, sys.argv[1:3])
    if target.exists():
        sys.exit(f"many: {target} is there; name a file that is not")
    plan = json.loads(sys.stdin.readline())["shots"]
    with sqlite3.connect(origin) as one, sqlite3.connect(target) as film:
        one.backup(film)
    film = sqlite3.connect(target)
    film.execute("PRAGMA foreign_keys = OFF")
    [source], [setup], [shot], [person], [read] = (rows(film, table) for table in ("source", "setup", "shot", "person", "step"))
    [frames], [reading] = rows(film, "frame_reading"), rows(film, "shot_reading")
    [record] = [json.loads(zlib.decompress(row["sample"])) for row in rows(film, "sample") if row["person_id"] == 0]
    for table in ("frame_reading", "shot_reading", "sample", "step", "track", "patch", "shot", "setup", "scene", "person", "source"):
        film.execute(f"DELETE FROM {table}")
    for i, name in enumerate(PEOPLE, 1):
        put(film, "person", {**person, "id": i, "name": name, "named": 1})
    media = target.with_name(f"{target.stem}-media")
    media.mkdir(exist_ok=True)
    known = set()
    for i, made in enumerate(plan, 1):
        if ("scene", made["scene"]) not in known:
            put(film, "scene", {"id": made["scene"], "name": f"scene {made['scene']}"})
        if ("setup", made["setup"]) not in known:
            put(film, "setup", {**setup, "id": made["setup"], "name": f"setup {made['setup']}", "scene_id": made["scene"]})
            link = (media / f"clip_{made['setup']:03}{Path(source['absolute']).suffix}").absolute()
            os.symlink(source["absolute"], link)
            put(film, "source", {**source, "id": made["setup"], "path": str(link), "absolute": str(link)})
        known |= {("scene", made["scene"]), ("setup", made["setup"])}
        put(film, "shot", {**shot, "id": i, "position": i, "name": f"shot {i:03}", "source_id": made["setup"], "setup_id": made["setup"]})
        put(film, "step", {**read, "shot_id": i})
        for who in made["people"]:
            put(film, "frame_reading", {**frames, "shot_id": i, "person_id": who})
            put(film, "shot_reading", {**reading, "shot_id": i, "person_id": who})
    for line in sys.stdin:
        number, who, sample = line.split(" ", 2)
        if who == "0":
            sample = json.loads(sample) | {name: record[name] for name in OF_PICTURE}
            blob = packed(sample)
        else:
            blob = zlib.compress(sample.strip().encode(), 1)
        put(film, "sample", {"shot_id": int(number), "person_id": int(who), "sample": blob})
    film.commit()
    setups = len({made["setup"] for made in plan})
    print(f"many: {target.name}: {len(plan)} shots in {setups} setups, {sum(len(made['people']) for made in plan) / len(plan):.1f} people a shot")


if __name__ == "__main__":
    main()

"""Check a complete copy of a logbook: python3 check_export.py FOLDER [--anchor NUMBER:HASH ...]

Written from FORMAT.txt alone, with nothing but Python's standard library (3.9 or later). It shares no code with the
program that made the copy. Prints one sentence; ends with 0 when all is sound, with 1 and the first bad thing when not.
"""

import argparse
import csv
import hashlib
import json
import os
import re
import stat
import sys

DOMAIN = b"lens-bench-logbook/audit/1"
FORMAT = "lens-bench-logbook/export/1"
SAME = {
    "seq": "seq",
    "at": "at",
    "action": "action",
    "person_id": "person",
    "actor_name": "name",
    "request_id": "request",
    "reason": "reason",
    "objects": "objects",
}
"""Words of a line of the trail, and what its body calls the same."""


class Bad(Exception):
    """The first bad thing, in one sentence."""


def main():
    """Read the words, check, say what was found."""
    parser = argparse.ArgumentParser(description="Check a complete copy of a logbook.")
    parser.add_argument("folder")
    parser.add_argument("--anchor", action="append", default=[], help="NUMBER:HASH as printed on a traveller")
    asked = parser.parse_args()
    try:
        print(check(asked.folder, [read_anchor(text) for text in asked.anchor]))
    except Bad as bad:
        print(bad)
        return 1
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        print(f"This copy cannot be read: {type(error).__name__} {error}"[:300])
        return 1
    return 0


def read_anchor(text):
    """NUMBER:HASH from a traveller."""
    number, _, digest = text.partition(":")
    if not (number.isdigit() and re.fullmatch("[0-9a-f]{64}", digest)):
        raise Bad(f"The anchor {text!r} is not NUMBER:HASH.")
    return int(number), digest


def check(folder, anchors):
    """Every check in turn; the sentence of a sound copy, or Bad."""
    content = read_bytes(os.path.join(folder, "manifest.json"))
    manifest = json.loads(content)
    if manifest["format"] != FORMAT:
        raise Bad(f"The format {manifest['format']!r} is not the one that FORMAT.txt describes.")
    hashes = check_trail(os.path.join(folder, "trail.jsonl"), manifest)
    expected = f"{hashlib.sha256(content).hexdigest()}  manifest.json\n".encode()
    if read_bytes(os.path.join(folder, "manifest.sha256")) != expected:
        raise Bad("manifest.json does not match its check sum.")
    check_files(folder, manifest["files"])
    check_kept(folder)
    for number, digest in anchors + printed_anchors(folder):
        if not 0 < number <= len(hashes) or hashes[number - 1] != digest:
            raise Bad(f"Entry {number}: not the one whose hash {digest[:16]} was printed.")
    return f"Sound: {len(hashes)} entries and {len(manifest['files'])} files. Head: {manifest['anchor']['head']}"


def read_bytes(path):
    """A plain file's bytes, never through a link."""
    if not os.path.lexists(path):
        raise Bad(f"{os.path.basename(path)} is missing.")
    if not stat.S_ISREG(os.lstat(path).st_mode):
        raise Bad(f"{os.path.basename(path)} is not a plain file.")
    with open(path, "rb") as file:
        return file.read()


def check_trail(path, manifest):
    """The hashes of all entries; Bad names the first entry that does not fit."""
    previous, hashes = "0" * 64, []
    for line in read_bytes(path).split(b"\n")[:-1]:
        number = len(hashes) + 1
        try:
            entry = json.loads(line)
            fault = entry_fault(entry, number, previous)
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            fault = "cannot be read"
        if fault:
            raise Bad(f"Entry {number}: {fault}.")
        previous = entry["entry_hash"]
        hashes.append(previous)
    check_ends(hashes, manifest)
    return hashes


def entry_fault(entry, number, previous):
    """Why one entry does not fit, or None."""
    if entry["seq"] != number:
        return f"missing, the next one there is {entry['seq']}"
    if entry["previous_hash"] != previous:
        return "does not follow from the entry before it"
    digest = hashlib.sha256(b"\n".join([DOMAIN, previous.encode(), entry["body"].encode()])).hexdigest()
    if entry["entry_hash"] != digest:
        return "its content does not match its hash"
    body = json.loads(entry["body"])
    wrong = [word for word, inside in SAME.items() if entry[word] != body[inside]]
    return f"{wrong[0]} differs from what was hashed" if wrong else None


def check_ends(hashes, manifest):
    """First and last entry against the manifest."""
    anchor, count = manifest["anchor"], len(hashes)
    reached = max(manifest["reached"], anchor["entries"])
    if count < reached:
        raise Bad(f"Entry {count + 1}: missing, the trail once reached entry {reached}.")
    if count != anchor["entries"] or not hashes or hashes[-1] != anchor["head"]:
        raise Bad(f"Entry {count}: not the last one that the manifest names.")
    if hashes[0] != anchor["origin"]:
        raise Bad("Entry 1: not the first one that the manifest names.")


def check_files(folder, files):
    """Exactly the files that the manifest names, each with its size and hash."""
    named = {}
    for item in files:
        if item["path"] in named or item["path"].startswith("/") or ".." in item["path"].split("/"):
            raise Bad(f"The manifest names {item['path']!r}, which it must not.")
        named[item["path"]] = item
    for path in sorted(named):
        content_fault(os.path.join(folder, *path.split("/")), named[path])
    for where, folders, names in os.walk(folder):
        for name in folders + names:
            path = os.path.relpath(os.path.join(where, name), folder).replace(os.sep, "/")
            if os.path.islink(os.path.join(where, name)) or (
                name in names and path not in named and path not in ("manifest.json", "manifest.sha256")
            ):
                raise Bad(f"{path} lies here and the manifest does not name it.")


def content_fault(path, item):
    """Bad when a file is not what the manifest says."""
    if not os.path.lexists(path):
        raise Bad(f"{item['path']} is missing.")
    if not stat.S_ISREG(os.lstat(path).st_mode):
        raise Bad(f"{item['path']} is not a plain file.")
    digest = hashlib.sha256()
    with open(path, "rb") as file:
        for chunk in iter(lambda: file.read(1 << 20), b""):
            digest.update(chunk)
    if os.path.getsize(path) != item["size"] or digest.hexdigest() != item["sha256"]:
        raise Bad(f"{item['path']} has changed.")


def table(folder, name):
    """A table's rows as dictionaries, cells as they stand."""
    with open(os.path.join(folder, "tables", f"{name}.csv"), encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def check_kept(folder):
    """Every kept file that was not dropped lies here under its own hash."""
    for row in table(folder, "kept_file"):
        path = os.path.join(folder, "files", row["sha256"][:2], row["sha256"])
        if row["dropped_at"]:
            continue
        if not os.path.isfile(path):
            raise Bad(f"The file {row['sha256']} ({row['media_type']}) is missing.")
        content_fault(path, {"path": f"files/{row['sha256']}", "size": int(row["size"]), "sha256": row["sha256"]})


def printed_anchors(folder):
    """Number and hash of every traveller that was printed."""
    return [(int(row["head_seq"]), row["head_hash"]) for row in table(folder, "traveller_issue")]


if __name__ == "__main__":
    sys.exit(main())

"""Checks an unpacked evidence file without the service that made it: python3 verify.py [--keys FILE] [FOLDER].

It needs Python 3.10 or newer and nothing else. Without the keys of the event log it finds whatever was changed and does
not fit the rest; that nobody made all of it anew shows only with the keys.
"""

from __future__ import annotations

import argparse
import base64
import hashlib
import hmac
import json
import sys
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

MANIFEST, MANIFEST_DIGEST, SEAL = "manifest.json", "manifest.sha256", "seal"
LOG, ROWS = "event-log.json", "signed-rows.json"
DIGITS = 32
SIGNS, RFC_SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ", "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"

# An entry of the log, a row, or the manifest, as JSON gives it.
Entry = dict[str, Any]


def write_canonical(value: Any) -> str:
    """Return the one JSON text that a value has, as the event log hashes it."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def find_name(secret: str) -> str:
    """Return the name of a key, which stands beside what was written with it."""
    return hashlib.sha256(f"name of the log key {secret}".encode()).hexdigest()[:8]


def compute_keyed_hash(secret: str, text: str) -> str:
    return hmac.new(secret.encode(), text.encode(), hashlib.sha256).hexdigest()


def find_changed_files(folder: Path) -> list[str]:
    """Return a sentence for each file that is not as the manifest says, is missing, or is in no manifest."""
    content = (folder / MANIFEST).read_bytes()
    faults = []
    if (folder / MANIFEST_DIGEST).read_bytes() != f"{hashlib.sha256(content).hexdigest()}  {MANIFEST}\n".encode():
        faults.append(f"{MANIFEST} does not fit {MANIFEST_DIGEST}: one of the two was changed.")
    try:
        files = json.loads(content)["files"]
    except (ValueError, KeyError, TypeError):
        return [*faults, f"{MANIFEST} can't be read."]
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    for name, digest in sorted(files.items()):
        if name not in there:
            faults.append(f"{name} is missing.")
        elif hashlib.sha256((folder / name).read_bytes()).hexdigest() != digest:
            faults.append(f"{name} was changed.")
    faults += [f"{name} is in no manifest." for name in sorted(there - set(files) - {MANIFEST, MANIFEST_DIGEST})]
    return faults


def list_digests(path: str, value: Any) -> Iterator[tuple[str, str]]:
    """Yield the path and the digest of each text that an entry holds only as a digest."""
    if isinstance(value, dict):
        if set(value) == {"words_digest"}:
            yield path, value["words_digest"]
            return
        for name, inner in value.items():
            yield from list_digests(f"{path}.{name}", inner)


def find_faults_of_chain(entries: list[Entry], checkpoint: Entry) -> list[str]:
    """Return what does not fit among the entries; where two stand side by side, one holds the hash of the other."""
    faults = []
    before: Entry | None = None
    for entry in entries:
        position = entry["position"]
        if position > checkpoint["position"]:
            faults.append(f"{LOG}: entry {position} is later than the checkpoint, {checkpoint['position']}.")
        if position == checkpoint["position"] and entry["hash"] != checkpoint["hash"]:
            faults.append(f"{LOG}: entry {position} is not the one of the checkpoint in {MANIFEST}.")
        if before and position <= before["position"]:
            faults.append(f"{LOG}: entry {position} stands behind entry {before['position']}.")
        if before and position == before["position"] + 1 and entry["previous_hash"] != before["hash"]:
            faults.append(f"{LOG}: entry {position} does not follow on entry {before['position']}.")
        words = {word["path"]: word for word in entry["words"]}
        digests: dict[str, str] = {}
        for side in ("before", "after"):
            digests.update(list_digests(side, entry[side]))
        for path, word in words.items():
            computed = hmac.new(bytes.fromhex(word["salt"]), word["text"].encode(), hashlib.sha256).hexdigest()
            if computed != digests.get(path):
                faults.append(f"{LOG}: the words of entry {position} ({path}) are not those that were recorded.")
        before = entry
    return faults


def count_erased_words(entries: list[Entry]) -> int:
    """Return how many texts are gone, of which the entries keep the digest only."""
    return sum(
        len({path for side in ("before", "after") for path, _ in list_digests(side, entry[side])}) - len(entry["words"])
        for entry in entries
    )


def map_signed(entries: list[Entry]) -> dict[tuple[str, int], tuple[str, str, int]]:
    """Return for each signed-off row, by part and key, what its last entry says: the digest and the name of the key."""
    signed: dict[tuple[str, int], tuple[str, str, int]] = {}
    for entry in entries:
        for part, text in (entry["signed"] or {}).items():
            for item in text.split():
                row, _, digest = item.partition(":")
                signed[part, int(row)] = digest, entry["key_name"], entry["position"]
    return signed


def find_faults_of_rows(entries: list[Entry], rows: list[Entry]) -> list[str]:
    """Return where the signed-off rows and the entries that signed them off do not name the same rows."""
    signed, faults = map_signed(entries), list[str]()
    there = {(row["part"], row["row"]) for row in rows}
    for part, key in sorted(set(signed) - there):
        faults.append(f"{ROWS}: {part} {key} is missing; entry {signed[part, key][2]} of {LOG} signed it off.")
    for part, key in sorted(there - set(signed)):
        faults.append(f"{ROWS}: no entry of {LOG} signed off {part} {key}.")
    for row in rows:
        if row["text"] and json.loads(row["text"])[:2] != [row["part"], str(row["row"])]:
            faults.append(f"{ROWS}: the text of {row['part']} {row['row']} is about another row.")
    return faults


def find_faults_with_keys(manifest: Entry, entries: list[Entry], rows: list[Entry], keys: dict[str, str]) -> list[str]:
    """Return what was not written by who has the keys."""
    faults = []
    for entry in entries:
        key = keys.get(entry["key_name"])
        fields = [entry["previous_hash"], entry["position"], entry["happened_at"], entry["actor"], entry["kind"]]
        fields += [entry[name] for name in ("subject", "subject_id", "before", "after", "signed")]
        if key is None:
            faults.append(f"{LOG}: the key of entry {entry['position']}, {entry['key_name']}, was not given.")
        elif compute_keyed_hash(key, write_canonical(fields)) != entry["hash"]:
            faults.append(f"{LOG}: entry {entry['position']} is not as it was written.")
    signed = map_signed(entries)
    for row in rows:
        digest, key_name, position = signed.get((row["part"], row["row"]), ("", "", 0))
        if row["state"] != "stands" or key_name not in keys:
            continue
        computed = compute_keyed_hash(keys[key_name], row["text"])[:DIGITS] if row["text"] else ""
        if computed != digest:
            faults.append(f"{ROWS}: {row['part']} {row['row']} is not what entry {position} signed off.")
    checkpoint, seal = manifest["checkpoint"], manifest[SEAL]
    codes = {compute_code(key, checkpoint["position"], checkpoint["hash"]) for key in keys.values()}
    if checkpoint["code"] not in codes:
        faults.append(f"{MANIFEST}: the code of the checkpoint was not computed with these keys.")
    sealed = write_canonical(["evidence", {name: value for name, value in manifest.items() if name != SEAL}])
    key = keys.get(seal["key_name"])
    if key is None or compute_keyed_hash(key, sealed) != seal["keyed_hash"]:
        faults.append(
            f"{MANIFEST}: the seal was not made with these keys, so the files are not those that the service wrote."
        )
    return faults


def compute_code(secret: str, position: int, entry_hash: str) -> str:
    digest = bytes.fromhex(compute_keyed_hash(secret, write_canonical(["checkpoint", position, entry_hash])))
    letters = base64.b32encode(digest).decode().translate(str.maketrans(RFC_SIGNS, SIGNS))
    return f"{position}-{letters[:6]}-{letters[6:12]}"


def read_keys(path: Path) -> dict[str, str]:
    """Return the keys in a file by their names: one a line, or in lines such as LOG_KEY=..."""
    keys: dict[str, str] = {}
    for line in path.read_text("utf-8").splitlines():
        for secret in line.rpartition("=")[2].split(",") if line.startswith("LOG_KEY") else [line]:
            if secret.strip():
                keys[find_name(secret.strip())] = secret.strip()
    return keys


def main() -> int:
    parser = argparse.ArgumentParser(
        description="Checks an unpacked evidence file. Exit status 1 where it is not whole."
    )
    parser.add_argument("folder", nargs="?", type=Path, default=Path(__file__).resolve().parent)
    parser.add_argument("--keys", type=Path, help="a file with the keys of the event log, one a line")
    options = parser.parse_args()
    folder = options.folder
    try:
        faults = find_changed_files(folder)
        if not faults:
            manifest = json.loads((folder / MANIFEST).read_bytes())
            entries = json.loads((folder / LOG).read_bytes())
            rows = json.loads((folder / ROWS).read_bytes())
            faults += find_faults_of_chain(entries, manifest["checkpoint"])
            faults += find_faults_of_rows(entries, rows)
            if options.keys:
                faults += find_faults_with_keys(manifest, entries, rows, read_keys(options.keys))
    except OSError as error:
        faults = [f"{error.filename}: {error.strerror}."]
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        faults = [f"A file has another form than an evidence file has: {error!r}."]
    if faults:
        sys.stdout.write("\n".join([*faults, f"NOT WHOLE: {len(faults)} faults."]) + "\n")
        return 1
    sys.stdout.write("\n".join(describe(manifest, entries, rows, bool(options.keys))) + "\n")
    return 0


def describe(manifest: Entry, entries: list[Entry], rows: list[Entry], with_keys: bool) -> Iterator[str]:
    """Yield what was found to be whole, and what can't be told."""
    chained = sum(1 for one, two in pairwise(entries) if two["position"] == one["position"] + 1)
    yield f"{len(manifest['files'])} files are as the manifest says."
    yield f"{len(entries)} entries of the event log, {chained} of them chained to the one before; between the rest lie"
    yield "entries about others, which are not in this file."
    erased, gone = count_erased_words(entries), sum(row["state"] != "stands" for row in rows)
    if erased or gone:
        yield f"Erased since, as personal data may be: {erased} texts of entries, {gone} rows or texts of rows."
    if with_keys:
        yield "With the keys: every entry, row and file is as the service wrote it."
    else:
        yield "Without the keys it can't be told whether somebody made all of it anew; the shop can tell, with --keys."
    yield f"WHOLE, up to checkpoint {manifest['checkpoint']['code']}."


if __name__ == "__main__":
    sys.exit(main())

"""Writes the evidence of a claim as one ZIP with a manifest, a seal by the key of the event log, and the script that
checks it all elsewhere. The same state gives the same bytes.
"""

import hashlib
import io
import json
from pathlib import Path
from textwrap import fill
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

from django.utils.translation import gettext as _

from claims.evidence.queries import Evidence
from treatments.event_log.keys import read_keys

SCRIPT = Path(__file__).with_name("verify_evidence.py")
# The earliest that a ZIP can say; when it was made is none of what it proves.
NO_MOMENT = (1980, 1, 1, 0, 0, 0)


def write_archive(evidence: Evidence) -> bytes:
    """Return the ZIP, all its files in one folder that is named for the claim."""
    files = {
        "README.txt": _write_readme(evidence).encode(),
        "verify.py": SCRIPT.read_bytes(),
        "event-log.json": _write_json(evidence.excerpt.entries),
        "signed-rows.json": _write_json(evidence.excerpt.rows),
    }
    files |= {f"{name}.json": _write_json(document) for name, document in evidence.documents.items()}
    files |= {f"letters/decision-{key}.txt": letter.encode() for key, letter in evidence.letters.items()}
    listed = []
    for photo in evidence.photos:
        name = f"photos/{photo.record.partition(' ')[0]}-photo-{photo.photo}.jpg"
        if photo.content is not None:
            files[name] = photo.content
        listed.append(
            {
                "file": name if photo.content is not None else None,
                "record": photo.record,
                "zone": photo.zone,
                "sha256_as_sent": photo.sha256_as_sent,
            }
        )
    files["photos.json"] = _write_json(listed)
    manifest = _write_manifest(evidence, files)
    files["manifest.json"] = manifest
    files["manifest.sha256"] = f"{hashlib.sha256(manifest).hexdigest()}  manifest.json\n".encode()
    return _pack(f"claim-{evidence.number}", files)


def _write_manifest(evidence: Evidence, files: dict[str, bytes]) -> bytes:
    checkpoint = evidence.excerpt.checkpoint
    manifest = {
        "claim": evidence.number,
        "checkpoint": {"position": checkpoint.position, "code": checkpoint.code, "hash": checkpoint.hash},
        "files": {name: hashlib.sha256(content).hexdigest() for name, content in sorted(files.items())},
    }
    key = read_keys()[0]
    seal = {"key_name": key.name, "keyed_hash": key.digest("evidence", manifest)}
    return _write_json({**manifest, "seal": seal})


def _write_json(value: object) -> bytes:
    return (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode()


def _pack(folder: str, files: dict[str, bytes]) -> bytes:
    packed = io.BytesIO()
    with ZipFile(packed, "w") as archive:
        for name, content in sorted(files.items()):
            entry = ZipInfo(f"{folder}/{name}", NO_MOMENT)
            entry.external_attr = 0o644 << 16
            # A picture is small already.
            entry.compress_type = ZIP_STORED if name.endswith(".jpg") else ZIP_DEFLATED
            archive.writestr(entry, content)
    return packed.getvalue()


def _write_readme(evidence: Evidence) -> str:
    told = {"claim": evidence.number, "code": evidence.excerpt.checkpoint.code}
    files = [
        ("claim.json", _("the claim as it was reported, and what was asked, decided and paid")),
        ("letters/", _("the letters about its decisions, as they were sent")),
        ("findings.json", _("what the rules find: each finding as a code with its values, and as text")),
        ("records.json", _("all signed-off work on the vehicle in every version, readings and facts")),
        ("terms.json", _("the terms that the cover was under")),
        ("photos/, photos.json", _("the pictures as they were kept, and the SHA-256 of each as it came in")),
        ("event-log.json", _("the entries of the event log about all this")),
        ("signed-rows.json", _("what those entries signed off, as it is digested")),
        ("people.json", _("the names behind the numbers of people in the log")),
        ("manifest.json", _("the SHA-256 of every file, the checkpoint and the seal")),
    ]
    paragraphs = [
        _("Evidence on claim %(claim)s, up to checkpoint %(code)s of the event log.") % told,
        "\n".join(f"{name:<22}{what}" for name, what in files),
        _(
            "To check it, unpack it and run the command below (Python 3.10 or newer, nothing else). It names each file "
            "that was changed, is missing or was added."
        ),
        "    python3 verify.py",
        _(
            "The entries, the signed-off rows and the manifest carry hashes that only who has the key of the shop's "
            "event log can compute. Without the key the script finds changes, but not that somebody made everything "
            "anew, with another manifest. With the key, the command below shows that the shop's service wrote every "
            "entry, row and file as it stands here."
        ),
        "    python3 verify.py --keys FILE",
        _(
            "Who has the key could write other records too. What speaks against that are checkpoints that went out "
            "before, on letters, certificates and by mail each night; the shop shows with the command below that its "
            "log goes through them. Only the shop can, since it has the entries about others that lie between these."
        ),
        "    manage.py verify_log --code CODE",
    ]
    # Lists and commands have lines of their own.
    wrapped = [part if "\n" in part or part.startswith(" ") else fill(part, 80) for part in paragraphs]
    return "\n\n".join(wrapped) + "\n"

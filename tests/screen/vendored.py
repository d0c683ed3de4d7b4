"""The page's libraries: taken from the npm registry at fixed versions, with their licences, and checked against it.

    python tests/screen/vendored.py check     every file here is the registry's, byte for byte (needs the network)
    python tests/screen/vendored.py fetch     take the files anew after a version in LIBRARIES was changed

The registry states a digest (SHA-512, in the form of W3C Subresource Integrity) for each package; it is checked before
anything is taken out. Not part of the tests: those need no network. They check the digests in ``vendored.json``.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import sys
import tarfile
import urllib.request
from pathlib import Path

FOLDER = Path(__file__).parents[2] / "pitwall" / "screen" / "static" / "vendor"
LIST = FOLDER / "vendored.json"
REGISTRY = "https://registry.npmjs.org"

LIBRARIES: dict[tuple[str, str], dict[str, str]] = {
    ("mqtt", "5.16.0"): {"dist/mqtt.esm.js": "mqtt.js", "LICENSE.md": "mqtt.LICENSE.txt"},
    ("htm", "3.1.1"): {"preact/standalone.module.js": "preact-htm.js", "LICENSE": "htm.LICENSE.txt"},
    ("preact", "10.5.13"): {"LICENSE": "preact.LICENSE.txt"},
}
"""Package and version; file in it -> file here. Preact itself is inside htm's file of the two together."""


def package(name: str, version: str) -> tuple[tarfile.TarFile, str]:
    """The package from the registry, and its digest.

    Raises:
        ValueError: when what came is not what the registry states.
    """
    with urllib.request.urlopen(f"{REGISTRY}/{name}/{version}") as answer:
        told = json.load(answer)["dist"]
    with urllib.request.urlopen(told["tarball"]) as answer:
        packed = answer.read()
    found = "sha512-" + base64.b64encode(hashlib.sha512(packed).digest()).decode()
    if found != told["integrity"]:
        raise ValueError(f"{name} {version}: the registry states {told['integrity']}, what came has {found}")
    return tarfile.open(fileobj=io.BytesIO(packed)), found


def taken(name: str, version: str) -> tuple[dict[str, bytes], str]:
    """The files that we use, by their name here, and the package's digest."""
    packed, digest = package(name, version)
    found = {}
    for inside, here in LIBRARIES[name, version].items():
        member = packed.extractfile(f"package/{inside}")
        if member is None:
            raise ValueError(f"{name} {version} has no {inside}")
        found[here] = member.read()
    return found, digest


def fetch() -> None:
    """Write the files and their list."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    entries = []
    for name, version in LIBRARIES:
        files, digest = taken(name, version)
        for here, content in files.items():
            (FOLDER / here).write_bytes(content)
        entries.append({"package": name, "version": version, "integrity": digest,
                        "files": {here: hashlib.sha256(content).hexdigest() for here, content in files.items()}})
    LIST.write_text(json.dumps({"registry": REGISTRY, "libraries": entries}, indent=1) + "\n")


def check() -> list[str]:
    """What differs from the registry; empty when nothing does."""
    wrong = []
    for name, version in LIBRARIES:
        files, _ = taken(name, version)
        wrong += [f"{here} differs from {name} {version}" for here, content in files.items()
                  if (FOLDER / here).read_bytes() != content]
    return wrong


if __name__ == "__main__":
    if sys.argv[1:] == ["fetch"]:
        fetch()
    elif sys.argv[1:] == ["check"]:
        differences = check()
        print("\n".join(differences) or "every vendored file is the registry's, byte for byte")
        sys.exit(bool(differences))
    else:
        sys.exit(__doc__)

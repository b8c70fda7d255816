"""The licence of every package that Orchardwright needs, as the packages themselves state it.

Run it in the environment to be listed: `.venv/bin/python .ci/licences.py`. Exits with 1 where a package
states none, or one that asks more of a user than to keep its notice, so that a person looks first.
"""

from __future__ import annotations

import re
import sys
from importlib import metadata

_PLAIN = re.compile(
    r"\b(MIT|BSD|Apache|PSF|Python Software Foundation|ISC|MPL|Mozilla|HPND|Unlicense|CC0|OFL|Zlib|0BSD)\b",
    re.I,
)
# Looked at by a person.
_LOOKED_AT = {
    "fpdf2": "LGPL-3.0, imported as a library, not changed",
    "axe-playwright-python": "MIT, ships axe-core under MPL-2.0 (tests only)",
    "text-unidecode": "Artistic or GPL, comes with frictionless (tests only)",
}


def needed(name: str, extras: frozenset[str] = frozenset()) -> set[str]:
    """The installed distributions that `name` needs, itself left out."""
    found: set[str] = set()
    waiting = [(name, extras)]
    while waiting:
        package, wanted = waiting.pop()
        try:
            requirements = metadata.requires(package) or []
        except metadata.PackageNotFoundError:
            continue
        for line in requirements:
            spec, _, marker = line.partition(";")
            asked = re.search(r"extra\s*==\s*[\"']([^\"']+)", marker)
            if asked and asked.group(1) not in wanted:
                continue
            match = re.match(r"[A-Za-z0-9._-]+", spec.strip())
            package = re.sub(r"[-_.]+", "-", match.group()).lower() if match else ""
            if match and package not in found:
                found.add(package)
                inner = re.search(r"\[([^\]]+)\]", spec)
                waiting.append(
                    (match.group(), frozenset(inner.group(1).split(",")) if inner else frozenset())
                )
    return found


def licence_of(name: str) -> str | None:
    """What the distribution states, in few words; None if it is not installed."""
    try:
        about = metadata.metadata(name)
    except metadata.PackageNotFoundError:
        return None
    classified = [
        each.rsplit("::", 1)[-1].strip()
        for each in about.get_all("Classifier") or []
        if each.startswith("License ::") and not each.endswith("OSI Approved")
    ]
    plain = about.json
    stated = plain.get("license_expression") or ", ".join(classified) or plain.get("license") or ""
    return " ".join(str(stated).split())[:80] or "not stated"


def main() -> None:
    """Print the list, alphabetically."""
    open_questions = []
    extras = frozenset(sys.argv[1:])
    for name in sorted(needed("orchardwright", extras)):
        licence = licence_of(name)
        if licence is None:
            continue
        print(f"{name:<32}{_LOOKED_AT.get(name, licence)}")
        if name not in _LOOKED_AT and not _PLAIN.search(licence):
            open_questions.append(name)
    if open_questions:
        sys.exit(f"Look at the licence of: {', '.join(open_questions)}")


if __name__ == "__main__":
    main()

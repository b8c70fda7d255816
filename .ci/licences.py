"""The licence of every package that Orchardwright needs, as the packages themselves state it.

Run it in an environment that has what is to be listed: `.venv/bin/python .ci/licences.py` lists what a user
installs, `.venv/bin/python .ci/licences.py atlas drawings dev build` all extras too; `--write
docs/licences.md` writes the table there. Ends with 1 where a package is missing, states no licence, or one
that asks more of a user than to keep its notice and that nobody has looked at.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement

PROJECT = "orchardwright"
# What an extra is for, in the words of the table; "" is the project itself.
PARTS = {
    "": "everything",
    "atlas": "the atlas on a cluster",
    "drawings": "drawings as files",
    "dev": "tests only",
    "build": "rebuilding the data only",
}
PLAIN = re.compile(
    r"\b(MIT|BSD|Apache|PSF|Python Software Foundation|ISC|HPND|Unlicense|CC0|OFL|Zlib|0BSD)\b", re.I
)
ASKS_MORE = re.compile(r"GPL|GNU|MPL|Mozilla|EPL|Eclipse|EUPL|CDDL|Artistic|SSPL|-SA\b|-NC\b|Propriet", re.I)
# Looked at by a person: why it may be used.
LOOKED_AT = {
    "axe-playwright-python": "MIT, ships axe-core under MPL-2.0 (tests only)",
    "certifi": "MPL-2.0, imported, not changed",
    "fpdf2": "LGPL-3.0, imported as a library, not changed",
    "hypothesis": "MPL-2.0, imported, not changed (tests only)",
    "pathspec": "MPL-2.0, imported, not changed (tests only)",
    "reverse-geocoder": "LGPL, run to rebuild the places, not shipped",
    "text-unidecode": "Artistic or GPL, comes with frictionless (tests only)",
}


def plain_name(name: str) -> str:
    """As the index compares names: lower case, one hyphen."""
    return re.sub(r"[-_.]+", "-", name).lower()


def wanted(name: str, extras: frozenset[str]) -> Iterator[Requirement]:
    """What a distribution asks for on this machine, with these of its extras."""
    for line in metadata.requires(name) or []:
        requirement = Requirement(line)
        marker = requirement.marker
        if marker is None or any(marker.evaluate({"extra": extra}) for extra in ("", *extras)):
            yield requirement


def needed(name: str, extras: frozenset[str] = frozenset()) -> dict[str, bool]:
    """The distributions that `name` needs, itself left out: True if it asks for them itself."""
    found: dict[str, bool] = {}
    asked: set[tuple[str, frozenset[str]]] = set()
    waiting = [(plain_name(name), extras)]
    while waiting:
        at = waiting.pop()
        if at in asked:
            continue
        asked.add(at)
        try:
            requirements = list(wanted(*at))
        except metadata.PackageNotFoundError:
            continue
        for each in requirements:
            package = plain_name(each.name)
            if package != plain_name(name):
                found[package] = found.get(package, False) or at[0] == plain_name(name)
            waiting.append((package, frozenset(each.extras)))
    return found


def licence_of(about: metadata.PackageMetadata) -> str:
    """What the distribution states, in few words; "" if it states nothing."""
    classified = [
        each.rsplit("::", 1)[-1].strip()
        for each in about.get_all("Classifier") or []
        if each.startswith("License ::") and not each.endswith("OSI Approved")
    ]
    plain = about.json
    stated = plain.get("license_expression") or ", ".join(classified) or plain.get("license") or ""
    return " ".join(str(stated).split())[:80]


def question(name: str, licence: str) -> str:
    """What a person has to look at; "" if nothing."""
    if name in LOOKED_AT:
        return ""
    if not licence:
        return "states no licence"
    if ASKS_MORE.search(licence):
        return f"asks more than to keep its notice: {licence}"
    return "" if PLAIN.search(licence) else f"is under a licence not known here: {licence}"


def table(extras: list[str]) -> tuple[list[tuple[str, str, str, str]], list[str]]:
    """(rows of package, version, licence, what needs it), questions. A package stands with the first part
    that needs it; an asterisk marks those that pyproject.toml names."""
    rows: dict[str, tuple[str, str, str, str]] = {}
    questions = []
    named = needed(PROJECT, frozenset(extras))
    for extra in ("", *extras):
        for name in needed(PROJECT, frozenset({extra} - {""})):
            if name in rows:
                continue
            try:
                about = metadata.metadata(name)
            except metadata.PackageNotFoundError:
                questions.append(f"{name} is not installed")
                continue
            licence = licence_of(about)
            if asked := question(name, licence):
                questions.append(f"{name} {asked}")
            part = f"{PARTS[extra]}{'*' if named[name] else ''}"
            rows[name] = (name, str(about["Version"]), LOOKED_AT.get(name, licence), part)
    return sorted(rows.values()), questions


def page(rows: list[tuple[str, str, str, str]]) -> str:
    """The table as a page of docs/."""
    head = f"""# Licences of what Orchardwright needs

Written on {datetime.now(UTC):%Y-%m-%d} by `.ci/licences.py` from what the installed packages state about
themselves; other versions may state another. A star: named in `pyproject.toml`; the others come with those.
A wheel may contain libraries of its own (those of numpy and scipy bring OpenBLAS and the Fortran run time,
for instance); their terms lie inside it.

| package | version | licence | needed for |
|---|---|---|---|
"""
    return head + "".join(f"| {' | '.join(row)} |\n" for row in rows)


def main(arguments: list[str]) -> None:
    """Print the table, or write it, and name what has to be looked at."""
    target = None
    if "--write" in arguments:
        at = arguments.index("--write")
        if at + 1 == len(arguments):
            sys.exit("--write: name the file")
        target = Path(arguments[at + 1])
        arguments = arguments[:at] + arguments[at + 2 :]
    unknown = set(arguments) - set(PARTS)
    if unknown:
        sys.exit(f"No such extra: {', '.join(sorted(unknown))}; there are {', '.join(filter(None, PARTS))}")
    rows, questions = table(arguments)
    if questions:
        sys.exit("Look at these:\n  " + "\n  ".join(questions))
    if target is None:
        for name, version, licence, part in rows:
            print(f"{name:<28}{version:<20}{licence:<52}{part}")
    else:
        target.write_text(page(rows), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])

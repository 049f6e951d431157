"""Assembles CHANGELOG.md from the fragments in changelog.d.

Without arguments the section to come is printed. With a version and a date it is written into
CHANGELOG.md below the marker, and the fragments are removed:

    python scripts/changelog.py --version 0.2.0 --date 2027-03-01
"""

import argparse
import datetime
import re
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
MARKER = "<!-- the newest version comes below this line -->\n"
# In this order; `numeric` = a computed value may differ from what the version before gave.
HEADING_OF_KIND = {
    "added": "Added",
    "changed": "Changed",
    "numeric": "Computed values that differ",
    "fixed": "Fixed",
    "removed": "Removed",
}
FRAGMENT_NAME = re.compile(r"(?P<slug>[a-z0-9][a-z0-9-]*)\.(?P<kind>[a-z]+)\.md")
FOREWORD = "README.md"


class FragmentError(Exception):
    """A fragment that can't go into the changelog as it is."""


def read_fragments(folder: Path) -> dict[str, list[str]]:
    """Texts of all fragments of a folder by kind, each kind sorted by slug."""
    texts: dict[str, list[str]] = {kind: [] for kind in HEADING_OF_KIND}
    for path in sorted(folder.iterdir()):
        if path.name == FOREWORD:
            continue
        named = FRAGMENT_NAME.fullmatch(path.name)
        if named is None or named["kind"] not in texts:
            kinds = ", ".join(HEADING_OF_KIND)
            raise FragmentError(
                f"{path.name}: a fragment is named SLUG.KIND.md, KIND being one of {kinds}."
            )
        text = " ".join(path.read_text(encoding="utf-8").split())
        if not text:
            raise FragmentError(
                f"{path.name}: it is empty; write one to three sentences for users."
            )
        texts[named["kind"]].append(text)
    return texts


def section(title: str, texts: dict[str, list[str]]) -> str:
    """One version's part of the changelog."""
    parts = [f"## {title}\n"]
    for kind, heading in HEADING_OF_KIND.items():
        if texts[kind]:
            parts.append(f"### {heading}\n\n" + "".join(f"- {text}\n" for text in texts[kind]))
    return "\n".join(parts)


def release(root: Path, version: str, date: datetime.date) -> None:
    """Write the fragments into CHANGELOG.md as a version, then remove them."""
    folder, changelog = root / "changelog.d", root / "CHANGELOG.md"
    texts = read_fragments(folder)
    before = changelog.read_text(encoding="utf-8")
    if before.count(MARKER) != 1:
        raise FragmentError(f"CHANGELOG.md: it needs this line exactly once: {MARKER.strip()}")
    new = section(f"{version} ({date.isoformat()})", texts)
    changelog.write_text(before.replace(MARKER, f"{MARKER}\n{new}"), encoding="utf-8")
    for path in folder.iterdir():
        if path.name != FOREWORD:
            path.unlink()


def main(arguments: list[str]) -> int:
    """Run the command; the exit status."""
    parser = argparse.ArgumentParser(description="Assemble CHANGELOG.md from changelog.d.")
    parser.add_argument("--version", help="write the section of this version, for example 0.2.0")
    parser.add_argument("--date", type=datetime.date.fromisoformat, help="its date, YYYY-MM-DD")
    options = parser.parse_args(arguments)
    if (options.version is None) != (options.date is None):
        parser.error("--version and --date belong together")
    try:
        if options.version:
            release(ROOT, options.version, options.date)
        else:
            sys.stdout.write(section("Not yet released", read_fragments(ROOT / "changelog.d")))
    except FragmentError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

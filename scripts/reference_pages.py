"""Writes docs/circuits.md, the page of all circuit families, from the family files.

With `--check` it only says whether the page is up to date, with status 1 where it is not.
"""

import sys
from pathlib import Path
from textwrap import fill

from backprobe.families.loader import load_families
from backprobe.families.schema import Family

PAGE = Path(__file__).parents[1] / "docs" / "circuits.md"
FOREWORD = """# Circuits that the program knows

Made from the family files by `make reference`; edit those, not this page.
`backprobe family draw ID` draws a circuit, `backprobe family show ID` tells what each wire reads.

| wires | circuit | family | wires by role |
|---|---|---|---|
"""


def in_order(families: tuple[Family, ...]) -> list[Family]:
    """Families by number of wires, then by title."""
    return sorted(families, key=lambda family: (len(family.wires), family.title, family.id))


def table_row(family: Family) -> str:
    """One line of the overview."""
    roles = ", ".join(f"`{wire.role}`" for wire in family.wires)
    return f"| {len(family.wires)} | {family.title} | [{family.id}](#{family.id}) | {roles} |\n"


def part(family: Family) -> str:
    """What is said of one family."""
    about = fill(" ".join(family.about.split()), 120, break_on_hyphens=False)
    return f"\n## {family.id}\n\n*{family.title}*\n\n{about}\n\nSource: {family.source}\n"


def page() -> str:
    """The whole page."""
    families = in_order(load_families())
    return FOREWORD + "".join(map(table_row, families)) + "".join(map(part, families))


def main(arguments: list[str]) -> int:
    """Run the command; the exit status."""
    if arguments == ["--check"]:
        is_current = PAGE.exists() and PAGE.read_text(encoding="utf-8") == page()
        if not is_current:
            sys.stderr.write("docs/circuits.md is not up to date: run `make reference`.\n")
        return 0 if is_current else 1
    PAGE.write_text(page(), encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

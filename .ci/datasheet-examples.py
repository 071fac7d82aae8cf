#!/usr/bin/env python3
"""Works out the last section of each datasheet in docs/ with no code of this project.

Check bytes come from the PyPI packages `crcmod` and `crc`, engineering values from `fractions`.

  datasheet-examples.py --write   puts the tables into the documents
  datasheet-examples.py --check   exits 1 when a document differs
"""
import sys
from pathlib import Path

import worked_corncrake
import worked_moorhen
import worked_pmbus

DOCS = Path(__file__).resolve().parent.parent / "docs"


def main():
    for sheet in (worked_corncrake, worked_moorhen, worked_pmbus):
        document = DOCS / sheet.DOCUMENT
        text = document.read_text(encoding="utf-8")
        before, found, _ = text.partition(sheet.HEADING)
        if not found:
            sys.exit(f"{document}: no heading '{sheet.HEADING}'")
        wanted = before + sheet.section()
        if sys.argv[1:] == ["--write"]:
            document.write_text(wanted, encoding="utf-8")
        elif sys.argv[1:] != ["--check"]:
            sys.exit(__doc__)
        elif wanted != text:
            sys.exit(f"the last section of {sheet.DOCUMENT} differs from what this script works "
                     "out; look at the difference, then use --write")
        else:
            count = sum(1 for _ in sheet.examples())
            print(f"{sheet.DOCUMENT}: {count} worked transfers agree with those worked out apart")


main()

"""Print every published figure with ours: `python -m tests.reference [--markdown]`.

Exit status 1 where one is out of its tolerance.
"""

from __future__ import annotations

import argparse
import sys

from tests.reference.listing import markdown, parts, plain, wrong


def main(arguments: list[str] | None = None) -> int:
    """Work all figures out, print the table, and say whether all hold."""
    parser = argparse.ArgumentParser(prog="python -m tests.reference", description=__doc__)
    parser.add_argument("--markdown", action="store_true", help="as it stands in PUBLISHED.md")
    asked = parser.parse_args(arguments)
    found = parts()
    sys.stdout.reconfigure(encoding="utf-8")  # type: ignore[union-attr]
    print(markdown(found) if asked.markdown else plain(found), end="")
    return 1 if wrong(found) else 0


if __name__ == "__main__":
    sys.exit(main())

"""Print one of the README's marked command lines, so that CI runs what a reader would paste.

Usage: python .ci/readme_command.py demo|tests. A marked line is the ``sh`` block after ``<!-- command: NAME -->``.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

README = Path(__file__).resolve().parents[1] / "README.md"


def command(name: str, text: str) -> str:
    """The shell text of the block marked ``name``.

    Raises:
        LookupError: when the README has no such block.
    """
    match = re.search(rf"<!-- command: {re.escape(name)} -->\s*```sh\n(.*?)```", text, flags=re.DOTALL)
    if match is None:
        raise LookupError(f"README.md has no sh block marked <!-- command: {name} -->")
    return match.group(1).strip()


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit("usage: readme_command.py NAME")
    print(command(sys.argv[1], README.read_text(encoding="utf-8")))

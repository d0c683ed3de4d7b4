"""The codes of everything that can be found wrong in a file: stable, ours, each with its reason and its remedy.

PW0xx the file itself, PW1xx names and arguments, PW2xx laps and places, PW3xx the order of runs, PW4xx switches,
PW5xx figures (fuel, time, holds), PW6xx the day by the wall clock. A code is never used again for something else.
"""

from __future__ import annotations

from pitwall.checks.code import Code
from pitwall.checks.codes_of_files import OF_FILES
from pitwall.checks.codes_of_plans import OF_PLANS
from pitwall.errors import FilePath, Finding

CODES: dict[str, Code] = {code.code: code for code in (*OF_FILES, *OF_PLANS)}


def finding(
    code: str, *, found: str, expected: str | None = None, suggestion: str | None = None, path: FilePath = (),
    file: str | None = None, line: int | None = None, column: int | None = None,
) -> Finding:
    """A finding with the severity and the reason that the table has for its code."""
    entry = CODES[code]
    assert entry.severity != "information", f"{code} is told beside the findings, not as one"
    return Finding(code=code, severity=entry.severity, found=found, expected=expected, suggestion=suggestion,
                   path=path, file=file, line=line, column=column, why=entry.why)


def near(code: str, most: int = 3) -> list[Code]:
    """The codes that whoever typed this may have meant: those with the nearest numbers, the nearest first."""
    digits = "".join(one for one in code if one.isdigit())
    wanted = int(digits) if digits else 0
    return sorted(CODES.values(), key=lambda one: (abs(int(one.code[2:]) - wanted), one.code))[:most]


def explain(code: str) -> str:
    """What a code means, why it matters and how to mend it.

    Raises:
        KeyError: when there is no such code.
    """
    entry = CODES[code]
    return f"{entry.code} ({entry.severity}): {entry.title}\nwhy:  {entry.why}\nmend: {entry.mend}"

"""Plans through spreadsheets and CSV files and back, and what becomes of broken ones.

    python simulations/prove_sheets.py [--plans 500] [--broken 1000] [--seed 1] [--elsewhere] [--json]

Round trips: random plans, as full and as odd as the model takes them (texts of any characters, signs of formulas, line
ends, numbers to the last digit), through .xlsx, a folder of CSV files and YAML; the same plan must come back.

Broken files: one cell of a plan's file is overwritten with what people and spreadsheets put there (a formula, #REF!, a
date, a percentage, a decimal comma, words), or a column is deleted, a heading changed, cells are merged. Judged by
another path than the reader's: either the file is refused with sheet and cell, or what was read is written again, and
every cell of that must be the one of the file, the broken one included. Anything else is *silently wrong*.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.app.plan_sheets import read_any, write_any
from pitwall.errors import UserError
from pitwall.model.plan import Plan
from pitwall.sheets.columns import AS_DEFAULTS
from pitwall.sheets.tables import SHEETS, cell_text, tables_of

ODD = ("=1+1", "+49", "-x", "@sum", "\tx", "\rx", "'tis", "''", '"', 'a"b', "a,b;c", "line\nend", "_x000D_",
       "_x0041_x", "yes", "no", "3", "007", "1e5", "nothing", "all", "none", "-", "\x01\x1f", "\ufffe",
       "\u2028", "Größe", "車", "🏁", " x ", "", "wet_or_dry_default", "NULL", "#REF!", "TRUE", "1/2",
       "=cmd|'/c calc'!A0", "\uff1d1")  # fmt: skip
NUMBERS = (0.1 + 0.2, 1e-7, 1 / 3, 123456789.123456789, 5e-324, 1e15 + 0.5, 42.0, 0.0)
LAPS = ("out-in", "out, 3 timed, in", "out, 1 timed, cool, 2 timed, in", "out, in", "out, 12 timed, in")


class Maker:
    """Random plans."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng

    def maybe(self, make: Callable[[], Any], chance: float = 0.5) -> Any:
        """A value, or None."""
        return make() if self.rng.random() < chance else None

    def word(self) -> str:
        """A name that every field takes."""
        return "".join(self.rng.choice(list("abcdefgh"), size=int(self.rng.integers(1, 9))))

    def text(self) -> str:
        """Odd, or of any characters."""
        if self.rng.random() < 0.6:
            return str(self.rng.choice(ODD))
        points = self.rng.integers(1, 0x2FFF, size=int(self.rng.integers(1, 12)))
        return "".join(map(chr, points))

    def label(self) -> str:
        """A text that is not empty."""
        return self.text() or "B1"

    def number(self, most: float = 500) -> float:
        """Within bounds, to the last digit."""
        odd = [value for value in NUMBERS if value <= most]
        return float(self.rng.choice(odd)) if self.rng.random() < 0.3 else float(self.rng.uniform(0, most))

    def scalar(self) -> Any:
        """What a switch or an argument may be."""
        whole, truth = (lambda: int(self.rng.integers(-999, 999))), (lambda: bool(self.rng.random() < 0.5))
        return (self.text, whole, self.number, truth)[int(self.rng.integers(4))]()

    def values(self) -> dict[str, Any]:
        """Names and values."""
        return {self.label() if self.rng.random() < 0.3 else self.word(): self.scalar()
                for _ in range(int(self.rng.integers(0, 4)))}

    def labels(self) -> list[str]:
        """A list."""
        return [self.label() for _ in range(int(self.rng.integers(0, 3)))]

    def item(self) -> dict[str, Any]:
        """An item with whatever it may have."""
        rng = self.rng
        on = [{"kind": str(rng.choice(["out", "timed", "cool", "in"])),
               "numbers": [int(n) for n in rng.integers(1, 9, size=int(rng.integers(0, 3)))]}
              for _ in range(int(rng.integers(1, 3)))]
        found = {"do": self.word(), "on": on, "with": self.values(), "times": int(rng.integers(1, 20)),
                 "want": str(rng.choice(["must", "should", "could"])),
                 str(rng.choice(["after", "at"])): self.maybe(self.label)}
        if rng.random() < 0.3:
            found |= {"put_back": False, "why": self.label()}
        if rng.random() < 0.3:
            found["when"] = {"not_before": self.number(4000), "after_item": self.maybe(self.word)}
        return found

    def run(self, name: str) -> dict[str, Any]:
        """A run with whatever it may have."""
        rng, maybe = self.rng, self.maybe
        laps = str(rng.choice(LAPS))
        timed = {"out, 3 timed, in": 3, "out, 1 timed, cool, 2 timed, in": 3, "out, 12 timed, in": 12}.get(laps, 0)
        found = {
            "run": name, "want": str(rng.choice(["must", "should", "could"])), "laps": laps, "purpose": self.text(),
            "value": self.number(1000), "tyres": maybe(self.label), "fuel_kg": maybe(self.number),
            "driver": maybe(self.word), "window": maybe(self.label), "crew": self.labels(), "switches": self.values(),
            "before": [self.word()] if rng.random() < 0.3 else [], "same_as": maybe(self.word),
            "group": maybe(self.label), "dry_only": bool(rng.random() < 0.5), "also_on": ["58"],
            "after_flag": maybe(lambda: "only"), "cut_by_flag": str(rng.choice(["resume", "give_up"])),
            "items": [self.item() for _ in range(int(rng.integers(0, 4)))],
            "release": {"not_before": maybe(lambda: self.number(4000), 0.3), "gap_ahead_s": maybe(self.number, 0.3)},
            "shorten_to": maybe(lambda: int(rng.integers(1, timed + 1))) if timed else None,
        }  # fmt: skip
        if rng.random() < 0.5:
            found["after_garage_s"] = sorted(self.number() for _ in range(3))
        return found

    def plan(self) -> Plan:
        """A plan."""
        rng = self.rng
        names = list(dict.fromkeys(self.word() for _ in range(int(rng.integers(1, 5)))))
        rules = ["all", [], ["session", "box"]]
        return Plan.model_validate({
            "plan": 1, "car": self.word(), "driver": self.word(), "session": self.word(),
            "medium": str(rng.choice(["two_way", "one_way", "board"])),
            "starts_with": {"tyres": self.maybe(self.label), "fuel_kg": self.maybe(self.number),
                            "switches": self.values() if rng.random() < 0.5 else AS_DEFAULTS},
            "tyre_sets": {self.label(): {"compound": self.text(), "laps": int(rng.integers(0, 9)),
                                         "most_laps": self.maybe(lambda: 30)} for _ in range(int(rng.integers(0, 4)))},
            "runs": [self.run(name) for name in names], "alternates": {"wet": self.text()},
            "minimum_laps": {self.word(): int(rng.integers(0, 50))},
            "quiet": {kind: rules[int(rng.integers(3))] for kind in ("timed", "cool", "out") if rng.random() < 0.5},
        })  # fmt: skip


@dataclass
class Account:
    """What was found."""

    plans: int = 0
    came_back: dict[str, int] = field(default_factory=lambda: dict.fromkeys(("xlsx", "csv", "yaml"), 0))
    broken: int = 0
    refused_at_the_cell: int = 0
    refused_elsewhere: int = 0
    read_as_written: int = 0
    silently_wrong: list[str] = field(default_factory=list)
    crashed: list[str] = field(default_factory=list)
    elsewhere: Counter[str] = field(default_factory=Counter)


def round_trips(account: Account, plans: int, seed: int, folder: Path) -> None:
    """Random plans through all three forms."""
    for number in range(plans):
        plan = Maker(np.random.default_rng([seed, 1, number])).plan()
        account.plans += 1
        for kind, name in (("xlsx", f"{number}.xlsx"), ("csv", f"folder{number}"), ("yaml", f"{number}.yaml")):
            write_any(folder / name, plan)
            account.came_back[kind] += read_any(folder / name) == plan


JUNK: tuple[Any, ...] = (
    "=1+1", "=NOTHING(", "#REF!", datetime(2031, 5, 16, 8, 30), date(2031, 2, 1), time(8, 0), timedelta(minutes=8),
    "20,5", "1.234,5", " 20 ", "-5", -1, 0, 1e9, 0.5, True, False, "maybe", "Must", "out, 3 timde, in", "a=b",
    "a=", "=", ";;", '"', '"open', "timed 1 2 x", "\u0663", "20 kg", "1e999", "9" * 400, 10**30, "x" * 2000, "no",
    "all", "none", "+00:08:00", "8:61", "nan", "inf", "\ud7ff\ue000", "a\nb", "1_000", "\u22125",
)  # fmt: skip


def break_files(account: Account, broken: int, seed: int, folder: Path) -> None:
    """Broken files of random plans, ten breakages each."""
    for number in range(broken):
        rng = np.random.default_rng([seed, 2, number])
        if number % 10 == 0:
            plan = Maker(np.random.default_rng([seed, 3, number])).plan()
            tidy = folder / "tidy.xlsx"
            write_any(tidy, plan)
        account.broken += 1
        try:
            _one(account, tidy, folder / "broken.xlsx", rng)
        except Exception as problem:
            account.crashed.append(f"{number}: {type(problem).__name__}: {problem}")


def _one(account: Account, tidy: Path, path: Path, rng: np.random.Generator) -> None:
    book = load_workbook(tidy)
    sheet = str(rng.choice(list(SHEETS)))
    page = book[sheet]
    kind = str(rng.choice(["cell", "cell", "cell", "cell", "heading", "delete", "merge", "percent", "beside"]))
    row, column = int(rng.integers(2, page.max_row + 2)), int(rng.integers(1, page.max_column + 1))
    junk: Any = JUNK[int(rng.integers(len(JUNK)))]
    if kind == "cell":
        page.cell(row, column).value = junk
        if isinstance(junk, str) and not junk.startswith(("=1", "=N", "#")):
            page.cell(row, column).data_type = "s"
    elif kind == "heading":
        row, junk = 1, "fule kg"
        page.cell(row, column).value = junk
    elif kind == "delete":
        row = 1
        page.delete_cols(column)
    elif kind == "merge":
        page.cell(row, column).value = "merged"
        page.merge_cells(start_row=row, start_column=column, end_row=row + 1, end_column=column)
    elif kind == "percent":
        page.cell(row, column).value, page.cell(row, column).number_format = 0.56, "0.0%"
    else:
        column = page.max_column + 1
        page.cell(row, column).value = "seen by nobody"
    book.save(path)
    where = f"{sheet} {get_column_letter(column)}{row}"
    told = f"{kind} {where} {junk!r:.40}"
    try:
        plan = read_any(path)
    except UserError as problem:
        at_it = f"{where}:" in str(problem) or (kind == "delete" and f"{sheet} A1:" in str(problem))
        account.refused_at_the_cell += at_it
        account.refused_elsewhere += not at_it
        if not at_it:
            account.elsewhere[f"{kind} {sheet} {SHEETS[sheet][column - 1] if column <= len(SHEETS[sheet]) else ''} "
                              f"{junk!r:.30}: {str(problem).splitlines()[0][:160]}"] += 1
        return
    wrong = _wrong_cells(plan, path)
    account.read_as_written += not wrong
    if wrong:
        account.silently_wrong.append(f"{told}: {'; '.join(wrong[:3])}")


def _same(written: str, read: str) -> bool:
    """Guard: two texts of a cell that mean the same: blanks around words, 3 and 3.0, the order of signs."""
    if " ".join(written.split()) == " ".join(read.split()):
        return True
    try:
        return float(written) == float(read)
    except ValueError:
        return False


def _wrong_cells(plan: Plan, path: Path) -> list[str]:
    """The cells of the file that the plan, written anew, has otherwise. Rows are compared in order, by heading."""
    anew, book = tables_of(plan), load_workbook(path)
    wrong = []
    for sheet in SHEETS:
        rows = [[_shown(cell) for cell in row] for row in book[sheet].iter_rows(values_only=True)]
        heads = rows[0]
        rows = [row for row in rows[1:] if any(one.strip() for one in row)]
        fresh = [[cell_text(cell) for cell in row] for row in anew[sheet][1:]]
        if sheet == "items":
            order = {run.run: index for index, run in enumerate(plan.runs)}
            rows.sort(key=lambda row: order.get(row[0].strip(), -1))
        if sheet == "plan":
            told = {row[0]: row[1] for row in rows}  # the third column only explains
            rows = [[name, told.get(name, "")] for name, _ in fresh]
        if len(rows) != len(fresh):
            wrong.append(f"{sheet}: {len(fresh)} rows of {len(rows)}")
            continue
        for number, (row, was) in enumerate(zip(rows, fresh, strict=True), start=2):
            by_head = dict(zip(SHEETS[sheet], was, strict=True))
            for head, cell in zip(heads, row, strict=False):
                if not _same(cell, by_head.get(head, "")) and not _usual(head, row, cell, by_head.get(head, "")):
                    wrong.append(f"{sheet} {number} {head}: {cell!r} read as {by_head.get(head)!r}")
    return wrong


def _shown(value: Any) -> str:
    """As a spreadsheet shows it; ``_x0041_`` is how such files write a character (ECMA-376, 22.9.2.19)."""
    if value is None:
        return ""
    text = "yes" if value is True else "no" if value is False else str(value)
    return re.sub("_x([0-9A-Fa-f]{4})_", lambda found: chr(int(found[1], 16)), text)


USUAL = {"value": ("1",), "want": ("should",), "times": ("1",), "laps": ("0",), "dry only": ("no",),
         "put back": ("yes",), "cut by flag": ("resume",), "medium": ("two_way",)}  # fmt: skip


def _usual(head: str, row: list[str], cell: str, read: str) -> bool:
    """Guard: the cell says what an empty one says as well, a moment in another form, or a list in another."""
    if not read and (cell.strip().rstrip(".0") in ("", *USUAL.get(head, ())) or cell.strip() in USUAL.get(head, ())):
        return True
    if head in ("not before", "not after", "gap ahead s") and cell == "+00:08:00":
        return _same("480", read)
    if "said on" in row[0] or head in ("crew", "before", "other cars", "on", "switches", "with"):
        return _squeezed(cell) == _squeezed(read)
    return _squeezed(cell) in (_squeezed(read), "none") and cell.strip() != ""


def _squeezed(text: str) -> str:
    return "".join(sign for sign in text.casefold() if sign.isalnum())


def prove(plans: int, broken: int, seed: int) -> Account:
    """Both studies."""
    account = Account()
    with tempfile.TemporaryDirectory() as name:
        round_trips(account, plans, seed, Path(name))
        break_files(account, broken, seed, Path(name))
    return account


def main() -> int:
    """Print it; 1 when a plan did not come back, or a broken file was read as something else."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--plans", type=int, default=500)
    parser.add_argument("--broken", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true", help="one JSON object instead of text")
    parser.add_argument("--elsewhere", action="store_true", help="also those that were refused at another cell")
    args = parser.parse_args()
    account = prove(args.plans, args.broken, args.seed)
    if args.json:
        print(json.dumps(asdict(account), indent=2, ensure_ascii=False))
    else:
        back = ", ".join(f"{count} as {kind}" for kind, count in account.came_back.items())
        print(f"{account.plans} random plans; came back as they were: {back}")
        print(f"{account.broken} broken files: {account.refused_at_the_cell} refused at the cell, "
              f"{account.refused_elsewhere} at another, {account.read_as_written} read as they are written, "
              f"{len(account.silently_wrong)} silently wrong, {len(account.crashed)} crashed")
        if args.elsewhere:
            print("\n".join(f"  {count} x {words}" for words, count in account.elsewhere.most_common()))
        print("\n".join([*account.silently_wrong, *account.crashed]))
    whole = all(count == account.plans for count in account.came_back.values())
    return 0 if whole and not account.silently_wrong and not account.crashed else 1


if __name__ == "__main__":
    raise SystemExit(main())

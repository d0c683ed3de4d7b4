"""Reading YAML: what scalars become, where paths stand, and every way a file can refuse to be read."""

from __future__ import annotations

import contextlib
from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pitwall.app import yaml_composer
from pitwall.app.yaml_document import Mark
from pitwall.app.yaml_lines import MAX_BYTES, parse_document, read_document
from pitwall.errors import FileProblem, Finding


@pytest.fixture(params=["libyaml", "python"], autouse=True)
def parser(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Every test runs with both of PyYAML's parsers: not every installation has the fast one."""
    if request.param == "python":
        monkeypatch.setattr(yaml_composer, "_Loader", yaml.SafeLoader)
    return str(request.param)


def refused(text: str) -> Finding:
    """The one finding for which this text is refused."""
    with pytest.raises(FileProblem) as caught:
        parse_document(text, "f.yaml")
    assert len(caught.value.findings) == 1
    return caught.value.findings[0]


def test_scalars_are_read_the_yaml_1_2_core_way() -> None:
    """The plan's key ``on`` stays text, so do off, no and yes; 12:30 is no number in base sixty."""
    data = parse_document("on: off\nyes: no\nclock: 12:30\ndate: 2031-05-16\nt: true\nn: ~\n", "f").data
    assert data == {"on": "off", "yes": "no", "clock": "12:30", "date": "2031-05-16", "t": True, "n": None}


def test_numbers_are_numbers_and_quoted_ones_are_text() -> None:
    """Whole numbers, decimals and exponents become numbers; quotes keep text."""
    data = parse_document("[1, -2, +3, 1.5, .5, 2., 1e3, -1.2E-2, '7', \"8\", 0x1f, 0o17, 1_000, 09]", "f").data
    assert data == [1, -2, 3, 1.5, 0.5, 2.0, 1000.0, -0.012, "7", "8", 31, 15, "1_000", 9]


def test_keys_are_text_as_written() -> None:
    """A car number as a key and a truth value as a key both stay what the file shows."""
    assert parse_document("41: {true: 1}\n", "f").data == {"41": {"true": 1}}


def test_every_path_has_the_line_and_column_of_its_key_or_entry() -> None:
    """Marks count from one; a key's mark is where the key stands, a list entry's where the entry begins."""
    marks = parse_document("a: 1\nb:\n  - x\n  - c: [2, 3]\n", "f").marks
    assert marks[("a",)] == Mark(1, 1)
    assert marks[("b",)] == Mark(2, 1)
    assert marks[("b", 0)] == Mark(3, 5)
    assert marks[("b", 1, "c")] == Mark(4, 5)
    assert marks[("b", 1, "c", 1)] == Mark(4, 12)


def test_a_path_that_is_not_in_the_file_has_the_place_of_what_is_around_it() -> None:
    """A missing key is shown at its mapping, and anything else at least at the top."""
    document = parse_document("a: 1\nb:\n  c: 2\n", "f")
    assert document.mark(("b", "missing", 3)) == Mark(2, 1)
    assert document.mark(("nowhere",)) == Mark(1, 1)


def test_an_alias_repeats_what_its_anchor_holds() -> None:
    """Anchors and aliases are followed; the place of an alias is the alias."""
    document = parse_document("a: &x {k: [1]}\nb: *x\n", "f")
    assert document.data == {"a": {"k": [1]}, "b": {"k": [1]}}
    assert document.mark(("b", "k", 0)) == Mark(2, 1)


def test_a_key_named_twice_is_told_with_both_lines_and_reading_goes_on() -> None:
    """Each double key is a finding of its own; the rest of the file is read."""
    document = parse_document("a: 1\nb: 2\na: {c: 3}\nb: 4\nd: 5\n", "f")
    assert [(item.code, item.line, item.path) for item in document.findings] == [
        ("PW008", 3, ("a",)), ("PW008", 4, ("b",))]
    assert "line 1" in (document.findings[0].suggestion or "")
    assert document.data == {"a": {"c": 3}, "b": 4, "d": 5}
    assert document.marks[("a", "c")] == Mark(3, 5)


@pytest.mark.parametrize(("text", "code", "line"), [
    ("", "PW006", None),
    ("# only a comment\n", "PW006", None),
    ("a:\n\tb: 1\n", "PW007", 2),
    ("a: b: c\n", "PW007", 1),
    ("a: [1, 2\n", "PW007", 2),
    ("a: 'open\n", "PW007", None),
    ("a: 1\n---\nb: 2\n", "PW009", 2),
    ("a: !!python/object:os.system x\n", "PW009", 1),
    ("a: !mine {b: 1}\n", "PW009", 1),
    ("a: *nowhere\n", "PW009", 1),
    ("a: &x [*x]\n", "PW009", 1),
    ("? [a, b]\n: 1\n", "PW009", 1),
    ("a: .inf\n", "PW015", 1),
    ("a: .nan\n", "PW015", 1),
    ("a: 1e999\n", "PW015", 1),
])  # fmt: skip
def test_text_that_is_refused_has_a_code_and_a_line(text: str, code: str, line: int | None) -> None:
    """Each fault has its own code; the line is the one a person must look at."""
    found = refused(text)
    assert found.code == code
    assert found.file == "f.yaml"
    if line is not None:
        assert found.line == line


def test_a_tab_is_called_a_tab() -> None:
    """The commonest YAML fault is named, because the parser's own words do not say it."""
    assert "tab" in (refused("runs:\n\t- run: a\n").suggestion or "")


def test_nesting_is_limited_and_never_a_crash() -> None:
    """A hundred thousand brackets are refused like thirty-one."""
    assert refused("[" * 31 + "]" * 31).code == "PW009"
    assert refused("[" * 100_000).code in ("PW007", "PW009")
    assert refused("a: " + "{a: " * 50_000).code in ("PW007", "PW009")


def test_a_file_that_unfolds_without_end_is_refused() -> None:
    """Aliases of aliases: a kilobyte that would become a billion values."""
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 10)]
    found = refused("\n".join(lines))
    assert found.code == "PW009"
    assert "alias" in found.found


def test_a_hundred_double_keys_end_the_reading() -> None:
    """A file of nothing but double keys is refused, not listed for pages."""
    assert refused("a: 1\n" * 100).code == "PW008"


def test_a_missing_file_names_the_one_that_is_there(tmp_path: Path) -> None:
    """The suggestion is the file with nearly that name in the folder."""
    (tmp_path / "plan_41.yaml").write_text("plan: 1\n")
    with pytest.raises(FileProblem) as caught:
        read_document(tmp_path / "plan41.yaml")
    found = caught.value.findings[0]
    assert found.code == "PW001"
    assert "plan_41.yaml" in (found.suggestion or "")


def test_a_missing_folder_is_told_too(tmp_path: Path) -> None:
    """When the folder is missing that is the thing to say."""
    with pytest.raises(FileProblem) as caught:
        read_document(tmp_path / "nowhere" / "plan.yaml")
    assert "no folder" in (caught.value.findings[0].suggestion or "")


def test_a_folder_is_not_a_file(tmp_path: Path) -> None:
    """A folder given for a file is called a folder."""
    with pytest.raises(FileProblem) as caught:
        read_document(tmp_path)
    assert caught.value.findings[0].code == "PW002"


def test_a_name_that_no_system_takes_is_a_finding(tmp_path: Path) -> None:
    """A zero byte or an endless name must not escape as another exception."""
    for name in ("a\0b", "x" * 5000):
        with pytest.raises(FileProblem) as caught:
            read_document(tmp_path / name)
        assert caught.value.findings[0].code in ("PW001", "PW003")


def test_a_large_file_is_refused_without_being_parsed(tmp_path: Path) -> None:
    """One byte above a MiB is too much; a MiB is not."""
    path = tmp_path / "big.yaml"
    path.write_bytes(b"#" * MAX_BYTES + b"\n")
    with pytest.raises(FileProblem) as caught:
        read_document(path)
    assert caught.value.findings[0].code == "PW004"


def test_text_that_is_not_utf_8_names_the_line(tmp_path: Path) -> None:
    """An umlaut from an old editor: the byte and its line are told."""
    path = tmp_path / "latin.yaml"
    path.write_bytes("plan: 1\nname: Schr\xf6der\n".encode("latin-1"))
    with pytest.raises(FileProblem) as caught:
        read_document(path)
    assert (caught.value.findings[0].code, caught.value.findings[0].line) == ("PW005", 2)


def test_a_spreadsheet_is_told_how_to_become_a_plan(tmp_path: Path) -> None:
    """Who checks the workbook itself is given the command that makes a plan of it, not the value of a byte."""
    path = tmp_path / "plan_41.xlsx"
    path.write_bytes(b"PK\x03\x04\x14\x00\x06\x00\x08\x00\xc7")
    with pytest.raises(FileProblem) as caught:
        read_document(path)
    assert caught.value.findings[0].found == "a spreadsheet"
    assert caught.value.findings[0].suggestion == "make a plan of it: pitwall plan convert plan_41.xlsx plan_41.yaml"


@pytest.mark.parametrize(("name", "told"), [
    ("plan 41.xlsx", "make a plan of it: pitwall plan convert 'plan 41.xlsx' 'plan 41.yaml'"),
    ("plan_41.XLSX", "make a plan of it: pitwall plan convert plan_41.XLSX plan_41.yaml"),
    ("plan_41.yaml", "if it is a workbook, rename it first: mv plan_41.yaml plan_41.xlsx; "
                     "then make a plan of it: pitwall plan convert plan_41.xlsx plan_41.yaml"),
    ("my plan.yml", "if it is a workbook, rename it first: mv 'my plan.yml' 'my plan.xlsx'; "
                    "then make a plan of it: pitwall plan convert 'my plan.xlsx' 'my plan.yaml'"),
])
def test_the_command_for_a_spreadsheet_can_be_given_as_it_is_told(tmp_path: Path, name: str, told: str) -> None:
    """Names with blanks are quoted; a workbook that is not called one is never turned into itself."""
    path = tmp_path / name
    path.write_bytes(b"PK\x03\x04\x14\x00\x06\x00\x08\x00\xc7")
    with pytest.raises(FileProblem) as caught:
        read_document(path)
    assert caught.value.findings[0].suggestion == told


def test_a_journal_is_told_what_takes_it(tmp_path: Path) -> None:
    """Who checks the journal of a session is told that it is one, not the value of a byte."""
    path = tmp_path / "r1.sqlite"
    path.write_bytes(b"SQLite format 3\x00\x10\x00\xc7")
    with pytest.raises(FileProblem) as caught:
        read_document(path)
    assert caught.value.findings[0].found == "a journal of a session"
    assert caught.value.findings[0].suggestion == "pitwall debrief, export and replay take a journal"


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    """Editors on Windows write one in front."""
    path = tmp_path / "bom.yaml"
    path.write_bytes(b"\xef\xbb\xbfplan: 1\r\ncar: 41\r\n")
    assert read_document(path).data == {"plan": 1, "car": 41}


def test_a_file_without_read_right_is_a_finding(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The system's own reason is told."""
    path = tmp_path / "secret.yaml"
    path.write_text("plan: 1\n")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(FileProblem) as caught:
        read_document(path)
    assert caught.value.findings[0].code == "PW003"
    assert "Permission denied" in caught.value.findings[0].found


KEYS = st.text(alphabet="abcdefghij_", min_size=1, max_size=8)
VALUES = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(-10**6, 10**6), st.text(alphabet="abc on:'\"#-", max_size=12)),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(KEYS, inner, max_size=4)), max_leaves=20,
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.dictionaries(KEYS, VALUES, min_size=1, max_size=6), flow=st.booleans())
def test_every_path_of_the_data_has_a_mark_where_its_key_stands(data: dict[str, object], flow: bool) -> None:
    """What a YAML writer wrote is read back, every path has a mark, and a key's mark points at the key's own text."""
    text = yaml.safe_dump(data, default_flow_style=flow)
    document = parse_document(text, "f")
    assert document.data == data
    lines = text.splitlines()

    def walk(value: object, path: tuple[str | int, ...]) -> None:
        mark = document.marks[path]
        if path and isinstance(path[-1], str):
            assert lines[mark.line - 1][mark.column - 1:].startswith(path[-1])
        if isinstance(value, dict):
            for key, inner in value.items():
                walk(inner, (*path, key))
        elif isinstance(value, list):
            for index, inner in enumerate(value):
                walk(inner, (*path, index))

    walk(document.data, ())


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(max_size=200))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    """No text raises anything but FileProblem."""
    with contextlib.suppress(FileProblem):
        parse_document(text, "f")


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(raw=st.binary(max_size=300))
def test_any_bytes_are_read_or_refused_in_words(raw: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    """No bytes raise anything but FileProblem."""
    path = tmp_path_factory.mktemp("bytes") / "f.yaml"
    path.write_bytes(raw)
    with contextlib.suppress(FileProblem):
        read_document(path)

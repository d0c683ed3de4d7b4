"""``pitwall schema``: the documents, on the terminal or as files for an editor."""

from __future__ import annotations

import json
from pathlib import Path
from urllib.parse import unquote, urlsplit

import jsonschema
import pytest

from pitwall.app.resources import demo_event
from pitwall.app.yaml_lines import read_document
from pitwall.cli.main import main
from pitwall.cli.schema import COMMENT, SCHEMAS, WIRE


def test_an_editor_gets_a_schema_for_each_kind_of_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each printed line is a comment that leads to a schema; a plan with it at its top reads as before."""
    folder = tmp_path / "new folder"
    assert main(["schema", "--editor", str(folder)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == len(SCHEMAS) - 1
    named = {Path(unquote(urlsplit(line.removeprefix(COMMENT)).path)) for line in lines}
    assert named == {folder / f"{kind}.schema.json" for kind in SCHEMAS if kind != WIRE}
    plan = demo_event().parent / "plans" / "plan_41.yaml"
    copy = tmp_path / "plan.yaml"
    copy.write_text(f"{lines[0]}\n{plan.read_text(encoding='utf-8')}", encoding="utf-8")
    data = read_document(copy).data
    assert data == read_document(plan).data
    schema = json.loads((folder / "plan.schema.json").read_text(encoding="utf-8"))
    assert list(jsonschema.Draft202012Validator(schema).iter_errors(data)) == []


def test_one_kind_is_printed_and_nothing_is_asked_for_by_mistake(capsys: pytest.CaptureFixture[str]) -> None:
    """The schema of a plan on the terminal; neither kind nor folder is a wrong command."""
    assert main(["schema", "plan"]) == 0
    assert json.loads(capsys.readouterr().out)["title"] == "pitwall plan file"
    with pytest.raises(SystemExit):
        main(["schema"])

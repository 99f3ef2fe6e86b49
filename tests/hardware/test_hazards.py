"""The hazard table leans only on tests and steps that are there; ``hazards_ran`` says at the end of make test whether they ran."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.hardware.hazard_table import ROOT, Hazard, hazards
from tests.hardware.hazards_ran import complaints, main, outcomes

ROWS = hazards()


def test_rows_are_numbered_and_whole():
    assert [row.number for row in ROWS] == list(range(1, len(ROWS) + 1))
    for row in ROWS:
        assert all((row.hazard, row.cause, row.control, row.proof)), row
        assert row.tests or row.untested, f"hazard {row.number} names neither a test nor that there is none"
        assert not (row.tests and row.untested), f"hazard {row.number} says none and names a test"


@pytest.mark.parametrize(
    "words", ["eye", "stuck light", "burn", "battery", "wrong reading", "infection", "shock", "data", "privacy", "dye"]
)
def test_what_a_builder_must_think_of_is_there(words):
    assert any(words in row.hazard for row in ROWS)


@pytest.mark.parametrize(("file", "function"), sorted({test for row in ROWS for test in row.tests}))
def test_every_named_test_exists(file, function):
    tree = ast.parse((ROOT / file).read_text())
    assert function in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_everything_in_code_style_of_a_proof_is_a_test_or_a_page():
    """A misspelt test must not pass for mere words."""
    for row in ROWS:
        for quoted in re.findall(r"`([^`]+)`", row.proof):
            assert tuple(quoted.split("::")) in row.tests or (ROOT / "hardware" / quoted).is_file(), quoted


def test_every_named_step_of_the_guide_exists_and_ends_with_a_check():
    guide = (ROOT / "hardware" / "ASSEMBLY.md").read_text()
    steps = {
        int(number): body for number, body in re.findall(r"^## (\d+)\. (.*?)(?=^## )", guide, re.MULTILINE | re.DOTALL)
    }
    assert sorted(steps) == list(range(1, len(steps) + 1))
    assert {number for number, body in steps.items() if "**Check" not in body} == set()
    assert {step for row in ROWS for step in row.steps} <= set(steps)


def test_where_no_test_proves_it_a_step_or_a_reason_does():
    for row in ROWS:
        assert not row.untested or row.steps or len(row.untested) > 15, f"hazard {row.number}"


def junit(tmp_path: Path, *cases: str) -> Path:
    report = tmp_path / f"{len(list(tmp_path.iterdir()))}.xml"
    report.write_text(f"<testsuites><testsuite>{''.join(cases)}</testsuite></testsuites>")
    return report


def case(name: str, inside: str = "") -> str:
    return f'<testcase classname="tests.shared.test_x" name="{name}">{inside}</testcase>'


ROW = Hazard(7, "eye", "a", "b", "`tests/shared/test_x.py::test_it`, `tests/shared/test_x.py::test_that`")


def test_two_runs_together_count(tmp_path):
    reports = [junit(tmp_path, case("test_it[1]"), case("test_it[2]")), junit(tmp_path, case("test_that"))]
    assert complaints([ROW], outcomes(reports)) == []


@pytest.mark.parametrize(
    ("cases", "end"),
    [
        ([case("test_it")], "test_that was not run"),
        ([case("test_it"), case("test_that", "<skipped/>")], "test_that: skipped"),
        ([case("test_it"), case("test_that[1]"), case("test_that[2]", "<failure/>")], "test_that: failure"),
        ([case("test_it"), case("test_that", "<error/>")], "test_that: error"),
    ],
)
def test_a_test_that_did_not_run_or_pass_is_named_with_its_hazard(tmp_path, cases, end):
    (line,) = complaints([ROW], outcomes([junit(tmp_path, *cases)]))
    assert line == f"hazard 7 (eye): tests/shared/test_x.py::{end}"


def test_the_report_is_pytest_s_own(tmp_path):
    """One real run of one of this project's tests, by the same options as make test."""
    report = tmp_path / "report.xml"
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "-p",
        "no:cacheprovider",
        f"--junit-xml={report}",
        "tests/shared/test_relative.py",
    ]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True, timeout=100)
    ran = outcomes([report])
    assert ran["tests/shared/test_relative.py", "test_a_reference_at_or_below_its_baseline_is_undefined"] == ["passed"]


def test_without_a_report_it_says_so(tmp_path, capsys):
    assert main([str(tmp_path / "none.xml")]) == 2
    assert "none.xml; run make test" in capsys.readouterr().err
    assert main([str(junit(tmp_path))]) == 1
    assert "was not run" in capsys.readouterr().err

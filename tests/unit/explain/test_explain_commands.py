"""The commands explain, ask, whatif and change on a demo case: text, JSON, exit codes."""

from __future__ import annotations

import json

import pytest

from tests.support.explaining import CASES
from triage.cli import main

CASE = "bumblebee-plate-3"
WORDS = [
    ["explain", CASE],
    ["explain", CASE, "--finding", "f1"],
    ["explain", CASE, "--method", "heptane"],
    ["explain", CASE, "--method", "blot-dry", "--rather-than", "heptane-brush"],
    ["ask", CASE],
    ["ask", CASE, "--all", "--cannot-tell", "f1:symmetry"],
    ["whatif", CASE, "hydration=dry"],
    ["whatif", CASE, "--finding", "f1", "blotter=nothing"],
    ["change", CASE],
]


def run(words, capsys):
    code = main([*words, "--cases", str(CASES)])
    out, err = capsys.readouterr()
    return code, out, err


@pytest.mark.parametrize("words", WORDS, ids=" ".join)
def test_text_and_json_say_something(words, capsys):
    code, out, err = run(words, capsys)
    assert (code, err) == (0, "")
    assert out.strip()
    assert all(len(line) <= 100 for line in out.splitlines())
    code, out, err = run([*words, "--json"], capsys)
    assert (code, err) == (0, "")
    assert json.loads(out)


def test_what_if_shows_the_stage_of_both_plans(capsys):
    _, out, _ = run(["whatif", CASE, "hydration=dry"], capsys)
    assert "as it is: clean: " in out
    assert "as it would be: rehydrate: " in out
    assert "gate-supple" in out

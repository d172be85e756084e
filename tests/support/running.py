"""The command line run in this process, with what never changes between two runs shared.

A command of its own process spends most of its time on starting Python, on reading the rulebase
and on building the parser. The rulebase that is shipped is made once a process here,
as the program itself makes its parser once, and the air of a bench; the cases, the bench, the folders and every plan are read and made anew by each command.
"""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

from tests.support.knowledge import ROOT, RULES, consultant, shipped
from triage import cli
from triage.case.profile import Bench
from triage.engine.consult import Consultant
from triage.engine.many import Many
from triage.explain.likelihood import Likelihood
from triage.exposure.day import DayLedger
from triage.knowledge import load
from triage.knowledge.book import Knowledge
from triage.plan.airjudge import AirJudge
from triage.yamltext import Parsed, parse_yaml


@dataclass(frozen=True)
class Ran:
    """What a command left behind: its exit code and what it said."""

    returncode: int
    stdout: str
    stderr: str

    def said(self) -> str:
        """Return what a command said that did what it was told."""
        assert self.returncode == 0, self.stderr
        return self.stdout

    def held(self) -> Any:
        """Return what it said as JSON."""
        return json.loads(self.said())

    def refusal(self) -> str:
        """Return the one line with which it refused; nothing else was said."""
        assert (self.returncode, self.stdout) == (2, ""), self
        (line,) = self.stderr.splitlines()
        return line


Runner = Callable[..., Ran]


def _knowledge(folder: Path) -> Knowledge:
    if Path(folder) == RULES:
        return shipped()
    files = sorted(path for path in Path(folder).rglob("*") if path.is_file())
    return _read(folder, tuple((path, path.read_bytes()) for path in files))


@lru_cache(maxsize=1)
def _read(folder: Path, _texts: tuple[tuple[Path, bytes], ...]) -> Knowledge:
    return load.load_knowledge(folder)


# The last copy of the rules that was compiled, with what came of it.
_compiled: list[tuple[Knowledge, Consultant]] = []


def _consultant(knowledge: Knowledge) -> Consultant:
    if knowledge is shipped():
        return consultant()
    if not _compiled or _compiled[0][0] is not knowledge:
        _compiled[:] = [(knowledge, Consultant(knowledge))]
    return _compiled[0][1]


# The air of a bench costs most of its first plan, and depends on the bench and its day alone.
_judges: list[AirJudge] = []


def _judge(knowledge: Knowledge, bench: Bench, day: DayLedger) -> AirJudge:
    if knowledge is not shipped():
        return AirJudge(knowledge, bench, day)
    for judge in _judges:
        if (judge.bench, judge.day) == (bench, day):
            return judge
    _judges[:] = [AirJudge(knowledge, bench, day), *_judges[:20]]
    return _judges[0]


def _once(make: Callable[..., object]) -> Callable[..., object]:
    """Return what makes a thing of the shipped rulebase once, of any other each time."""
    made: dict[tuple[object, ...], object] = {}

    def of(rulebase: Consultant, *more: object) -> object:
        if rulebase is not consultant():
            return make(rulebase, *more)
        if more not in made:
            made[more] = make(rulebase, *more)
        return made[more]

    return of


@lru_cache(maxsize=500)
def _parsed(text: str, shown_as: str) -> Parsed:
    return parse_yaml(text, shown_as)


def share_rules(patch: pytest.MonkeyPatch) -> None:
    """Let what runs in this process use the shipped rulebase that is there already.

    Another folder of rules is read, checked and compiled as ever; only what was read just now is
    not read again while its files are the same, nor a file parsed whose text was parsed before.
    """
    patch.setattr("triage.service.workshop.load_knowledge", _knowledge)
    patch.setattr("triage.service.workshop.Consultant", _consultant)
    patch.setattr(load, "parse_yaml", _parsed)
    patch.setattr("triage.service.workshop.spare_loaded", lambda: None)  # the tests have their own
    patch.setattr("triage.plan.planner.AirJudge", _judge)
    patch.setattr("triage.explain.sweep.Many", _once(Many))
    patch.setattr("triage.explain.desk.Likelihood", _once(Likelihood))


def runner(
    home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Runner:
    """Return what runs a command in this process as ``process`` runs it in one of its own."""
    monkeypatch.setenv("TRIAGE_HOME", str(home))
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.chdir(home)

    def run(*words: str) -> Ran:
        capsys.readouterr()
        code = cli.main(list(words))
        return Ran(code, *capsys.readouterr())

    return run


def process(*words: str, home: Path, **env: str) -> Ran:
    """Run Python with these words, such as ``-m triage list``, with nothing shared but the disk."""
    own = {"PATH": os.defpath, "TRIAGE_HOME": str(home), "PYTHONPATH": str(ROOT), "NO_COLOR": "1"}
    done = subprocess.run(
        [sys.executable, *words],
        capture_output=True,
        text=True,
        input="",
        check=False,
        env=own | env,
        cwd=home,
    )
    return Ran(done.returncode, done.stdout, done.stderr)

"""The texts of a rules folder with small edits in them: where each entry stands, what is put beside it."""

import random
import re
from functools import cached_property
from pathlib import Path

from triage.engine.consult import Consultant
from triage.knowledge.rules import FAMILIES, Family

NEW = "-seeded"


class Texts:
    """The text of the rules folder, and where each entry of a list stands in it."""

    def __init__(self, consultant: Consultant, folder: Path, rng: random.Random) -> None:
        self.consultant = consultant
        self.knowledge = consultant.knowledge
        self.folder = folder
        self.rng = rng
        self._texts: dict[str, str] = {}
        self._blocks: dict[tuple[str, str], str] = {}

    def text(self, file: str) -> str:
        """Return the text of a file, named from the rules folder."""
        if file not in self._texts:
            self._texts[file] = (self.folder / file).read_text(encoding="utf-8")
        return self._texts[file]

    def file(self, kind: str, entry: str) -> str:
        """Return the file that an entry stands in, named from the rules folder."""
        return self.knowledge.where(kind, entry).file.split("/", maxsplit=1)[1]

    def block(self, kind: str, entry: str) -> str:
        """Return the text of one entry, comments after it left out."""
        if (kind, entry) not in self._blocks:
            self._blocks[kind, entry] = self._block(kind, entry)
        return self._blocks[kind, entry]

    def _block(self, kind: str, entry: str) -> str:
        text = self.text(self.file(kind, entry))
        start = re.search(rf"^- (?:\{{)?id: {re.escape(entry)}\b(?!-)", text, re.MULTILINE)
        if start is None:
            return ""
        after = re.search(r"^(?:- |#)", text[start.end() :], re.MULTILINE)
        end = start.end() + after.start() if after else len(text)
        return text[start.start() : end].rstrip("\n") + "\n"

    def edited(self, kind: str, entry: str, old: str, new: str) -> dict[str, str]:
        """Return the file of an entry with the first ``old`` inside the entry changed."""
        file, block = self.file(kind, entry), self.block(kind, entry)
        return {file: self.text(file).replace(block, block.replace(old, new, 1), 1)}

    def copied(self, kind: str, entry: str) -> dict[str, str]:
        """Return the file of an entry with a copy of it, under a new id, at its end."""
        file = self.file(kind, entry)
        copy = self.block(kind, entry).replace(f"id: {entry}", f"id: {entry}{NEW}", 1)
        return {file: self.text(file).rstrip("\n") + "\n\n" + copy}

    def with_rule(self, family: Family, name: str, when: str, then: str) -> dict[str, str]:
        """Return the file of a family with a new rule at its end."""
        rule = (
            f"- id: {name}\n  when:\n    - {when}\n  then: {then}\n  because: Put in on purpose.\n"
            "  source: judgement\n  cases:\n    - {given: {}, expect: fires}\n"
            "    - {given: {}, expect: silent}\n"
        )
        file = f"{family}.yaml"
        return {file: self.text(file).rstrip("\n") + "\n\n" + rule}

    @cached_property
    def rule_ids(self) -> dict[Family, list[str]]:
        """Return the rules of each family."""
        return {f: [r.id for r in self.knowledge.rules[f]] for f in FAMILIES}

    def question(self, block: str) -> tuple[str, list[str]]:
        """Return a question about the specimen that a rule does not read, and its answers."""
        questions = [
            q
            for q in self.knowledge.questions.values()
            if q.about == "specimen" and q.id not in block and len(q.answers) > 1
        ]
        chosen = self.rng.choice(questions)
        return chosen.id, [answer.id for answer in chosen.answers]

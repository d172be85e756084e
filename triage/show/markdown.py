"""A bench sheet as Markdown: boxes as task lists, lines to write as underscores."""

from __future__ import annotations

import re
from collections.abc import Iterator

from triage.show.blocks import Alert, Block, Heading, Line, Listing, Paper, Picture, Table

LINE = "_" * 40
BEFORE = {"tick": "- [ ] ", "hold": "> ", "stop": "- STOP ", "caution": "- ! "}
# What Markdown or HTML takes for more than text; "://", "www." and "@" become links by themselves.
_SPECIAL = re.compile(r"([\\`*_\[\]<>|#~&@]|:(?=//)|(?<=[wW]{3})\.)")
# What begins a list, a rule or a heading at the start of a line.
_START = re.compile(r"^(\d*)([-+=]|[.)](?=\s|$))")


def plain(text: str) -> str:
    """Return a text in which nothing is taken for Markdown or HTML, on one line."""
    return _START.sub(r"\1\\\2", _SPECIAL.sub(r"\\\1", " ".join(text.split())))


def markdown_of(paper: Paper) -> str:
    """Return a paper as Markdown."""
    lines = [f"# {plain(paper.title)}"]
    for block in paper.blocks:
        lines += ["", *_block(block)]
    return "\n".join(lines) + "\n"


def _block(block: Block) -> Iterator[str]:
    if isinstance(block, Heading):
        yield f"## {block.mark}: {plain(block.text)}" if block.mark else f"## {plain(block.text)}"
        if block.where:
            yield from ("", plain(block.where))
    elif isinstance(block, Line):
        yield f"**{plain(block.text)}**" if block.is_bold else plain(block.text)
    elif isinstance(block, Picture):
        yield plain(block.text)
    elif isinstance(block, Alert):
        yield f"> **{plain(block.text)}**"
    elif isinstance(block, Table):
        yield from (f"| {' | '.join(block.head)} |", "|---" * len(block.head) + "|")
        yield from (f"| {' | '.join(plain(cell) for cell in row)} |" for row in block.rows)
    else:
        if block.label:
            yield from (f"**{block.label}**", "")
        yield from _listed(block)


def _listed(block: Listing) -> Iterator[str]:
    if block.kind == "choose":
        yield "  ".join(f"[ ] {plain(line)}" for line in block.lines)
    elif block.kind == "write":
        yield from (f"{line}: {LINE}  " for line in block.lines)
    else:
        yield from (f"{BEFORE.get(block.kind, '- ')}{plain(line)}" for line in block.lines)
    if block.kind == "hold":
        yield from ("", f"What was observed: {LINE}")

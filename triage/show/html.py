"""A paper to be read or printed elsewhere: as one self-contained HTML page, and as Markdown."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Iterable, Iterator
from html import escape

from triage.show.blocks import Alert, Block, Heading, Line, Listing, Paper, Picture, Table

STYLE = """\
@page { size: A4; margin: 14mm 13mm 16mm; }
* { box-sizing: border-box; }
body { font: 10.5pt/1.38 "DejaVu Sans", Verdana, Arial, sans-serif; color: #000; background: #fff;
  max-width: 184mm; margin: 8mm auto; padding: 0 4mm; }
h1 { font-size: 16pt; margin: 0 0 2mm; }
.warning { border: 1.2pt solid #000; padding: 1.2mm 2.5mm; margin: 1.5mm 0; font-weight: 600; }
table { border-collapse: collapse; width: 100%; font-size: 9pt; margin: 3mm 0; }
th, td { border: 0.5pt solid #777; padding: 1mm 1.6mm; text-align: left; vertical-align: top; }
th { background: #eee; }
h2 { border-top: 2pt solid #000; margin: 6mm 0 0; padding-top: 2mm; font-size: 13pt;
  break-after: avoid; }
h2 .status { border: 1.2pt solid #000; padding: 0 1.6mm; font-size: 9pt; margin-right: 2mm;
  vertical-align: 1pt; }
img { max-width: 100%; }
.where { margin: 0.5mm 0 2mm; font-size: 9.5pt; }
.block { margin: 2.2mm 0; break-inside: avoid; }
.block h3 { font-size: 9pt; margin: 0 0 0.6mm; text-transform: uppercase; letter-spacing: 0.04em;
  break-after: avoid; }
.block p { margin: 0 0 0.6mm; }
ul { list-style: none; margin: 0; padding: 0; }
.tick li, .choose li { padding-left: 6.2mm; position: relative; margin: 0.9mm 0; }
.tick li::before, .choose li::before { content: ""; position: absolute; left: 0; top: 0.7mm;
  width: 3.6mm; height: 3.6mm; border: 1pt solid #000; }
.choose ul { display: flex; flex-wrap: wrap; gap: 0 6mm; }
.stop { border: 1.6pt solid #000; padding: 1.6mm 2.6mm; }
.stop li { margin: 0.7mm 0; padding-left: 5mm; text-indent: -5mm; }
.stop li::before { content: "\\25A0"; display: inline-block; width: 5mm; text-indent: 0; }
.hold { border: 2.4pt double #000; padding: 1.6mm 2.6mm; }
.caution li { padding-left: 4.5mm; text-indent: -4.5mm; margin: 0.6mm 0; }
.caution li::before { content: "!"; font-weight: 700; display: inline-block; width: 4.5mm;
  text-indent: 0; }
.fill { display: flex; flex-wrap: wrap; gap: 3mm 6mm; margin-top: 3.5mm; }
.fill span { flex: 1 1 38mm; border-bottom: 0.6pt solid #000; padding-bottom: 0.6mm;
  font-size: 9pt; min-height: 6mm; }
.fill span.long { flex-basis: 100%; }
@media print { body { margin: 0; padding: 0; max-width: none; } }
"""


PAGE = """\
<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Bench sheet: {title}</title>
<style>
{style}</style>
</head>
<body>
<h1>{title}</h1>
{blocks}
</body>
</html>
"""


def html_of(paper: Paper) -> str:
    """Return a paper as an HTML page; every text from the case and the rules is escaped."""
    blocks = "\n".join(_block(block) for block in paper.blocks)
    return PAGE.format(title=escape(paper.title), style=STYLE, blocks=blocks)


def _each(tag: str, texts: Iterable[str]) -> str:
    return "".join(f"<{tag}>{escape(text)}</{tag}>" for text in texts)


def _block(block: Block) -> str:
    if isinstance(block, Heading):
        status = f'<span class="status">{escape(block.mark)}</span>' if block.mark else ""
        return f'<h2>{status}{escape(block.text)}</h2><p class="where">{escape(block.where)}</p>'
    if isinstance(block, Line):
        return f"<p><b>{escape(block.text)}</b></p>" if block.is_bold else _each("p", [block.text])
    if isinstance(block, Alert):
        return f'<p class="warning">{escape(block.text)}</p>'
    if isinstance(block, Picture):
        held = b64encode(block.png).decode("ascii")
        told = escape(block.text)
        return f'<p><img alt="{told}" src="data:image/png;base64,{held}"><br>{told}</p>'
    if isinstance(block, Table):
        rows = "".join(f"<tr>{_each('td', row)}</tr>" for row in block.rows)
        return (
            f"<table><thead><tr>{_each('th', block.head)}</tr></thead><tbody>{rows}</tbody></table>"
        )
    label = f"<h3>{escape(block.label)}</h3>" if block.label else ""
    return f'<div class="block {block.kind}">{label}{_listed(block)}</div>'


def _listed(block: Listing) -> str:
    if block.kind == "hold":
        told = "".join(f"<p><b>{escape(line)}</b></p>" for line in block.lines)
        return f'{told}<div class="fill"><span class="long">what was observed</span></div>'
    if block.kind == "write":
        fields = _each("span", block.lines).replace("<span>note<", '<span class="long">note<')
        return f'<div class="fill">{fields}</div>'
    if block.kind in ("list", "drawn"):
        return _each("p", block.lines)
    return f"<ul>{_each('li', block.lines)}</ul>"


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
        lines += ["", *_markdown_block(block)]
    return "\n".join(lines) + "\n"


def _markdown_block(block: Block) -> Iterator[str]:
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
        yield from _markdown_list(block)


def _markdown_list(block: Listing) -> Iterator[str]:
    if block.kind == "choose":
        yield "  ".join(f"[ ] {plain(line)}" for line in block.lines)
    elif block.kind == "write":
        yield from (f"{line}: {LINE}  " for line in block.lines)
    else:
        yield from (f"{BEFORE.get(block.kind, '- ')}{plain(line)}" for line in block.lines)
    if block.kind == "hold":
        yield from ("", f"What was observed: {LINE}")

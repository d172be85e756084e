"""A bench sheet as one self-contained HTML page: no script, nothing fetched, print style inside."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from triage.sheet.parts import FINDING_HEAD, OUTCOMES, Block, Sheet, SheetStep

STYLE = """\
@page { size: A4; margin: 14mm 13mm 16mm; }
* { box-sizing: border-box; }
body { font: 10.5pt/1.38 "DejaVu Sans", Verdana, Arial, sans-serif; color: #000; background: #fff;
  max-width: 184mm; margin: 8mm auto; padding: 0 4mm; }
h1 { font-size: 16pt; margin: 0 0 2mm; }
.facts { display: flex; flex-wrap: wrap; gap: 1mm 7mm; margin: 0 0 3mm; font-size: 9pt; }
.facts b { font-weight: 600; }
.warning { border: 1.2pt solid #000; padding: 1.2mm 2.5mm; margin: 1.5mm 0; font-weight: 600; }
table { border-collapse: collapse; width: 100%; font-size: 9pt; margin: 3mm 0; }
th, td { border: 0.5pt solid #777; padding: 1mm 1.6mm; text-align: left; vertical-align: top; }
th { background: #eee; }
section.step { border-top: 2pt solid #000; margin-top: 6mm; padding-top: 2mm; }
h2 { font-size: 13pt; margin: 0; break-after: avoid; }
h2 .status { border: 1.2pt solid #000; padding: 0 1.6mm; font-size: 9pt; margin-right: 2mm;
  vertical-align: 1pt; }
.where { margin: 0.5mm 0 2mm; font-size: 9.5pt; }
.where code { color: #444; font-size: 8.5pt; }
.block { margin: 2.2mm 0; break-inside: avoid; }
.block h3 { font-size: 9pt; margin: 0 0 0.6mm; text-transform: uppercase; letter-spacing: 0.04em;
  break-after: avoid; }
.block p { margin: 0 0 0.6mm; }
ul { list-style: none; margin: 0; padding: 0; }
ul.tick li, ul.outcomes li { padding-left: 6.2mm; position: relative; margin: 0.9mm 0; }
ul.tick li::before, ul.outcomes li::before { content: ""; position: absolute; left: 0; top: 0.7mm;
  width: 3.6mm; height: 3.6mm; border: 1pt solid #000; }
ul.outcomes { display: flex; flex-wrap: wrap; gap: 0 6mm; }
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
footer { margin-top: 6mm; border-top: 0.6pt solid #777; padding-top: 2mm; font-size: 8.5pt; }
footer b { font-size: 9.5pt; }
@media print { body { margin: 0; padding: 0; max-width: none; } }
"""


def html_of(sheet: Sheet) -> str:
    """Return the sheet as an HTML page; every text from the case and the rules is escaped."""
    return "\n".join(_page(sheet)) + "\n"


def _page(sheet: Sheet) -> Iterator[str]:
    title = escape(sheet.title)
    yield '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>Bench sheet: {title}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>"
    yield f"<h1>{title}</h1>"
    facts = "".join(f"<span><b>{name}</b> {escape(text)}</span>" for name, text in sheet.facts)
    yield f'<div class="facts">{facts}</div>'
    yield '<div class="fill"><span>date</span><span>hand</span></div>'
    yield from (f'<p class="warning">{escape(warning)}</p>' for warning in sheet.warnings)
    if sheet.findings:
        yield _table(sheet)
    for step in sheet.steps:
        yield from _step(step)
    if not sheet.steps:
        yield "<p>No step to do now.</p>"
    if sheet.later:
        names = "".join(f"<li>{escape(name)}</li>" for name in sheet.later)
        yield f'<div class="block"><h3>Only if one before fails</h3><ul>{names}</ul></div>'
    yield f"<footer><b>{escape(sheet.closing)}</b>"
    if sheet.sources:
        yield f"<p>Sources: {escape(', '.join(sheet.sources))}</p>"
    yield "</footer>\n</body>\n</html>"


def _table(sheet: Sheet) -> str:
    head = "".join(f"<th>{name}</th>" for name in FINDING_HEAD)
    rows = "".join(
        "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>"
        for row in sheet.findings
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _step(step: SheetStep) -> Iterator[str]:
    yield '<section class="step">'
    yield f'<h2><span class="status">{step.number} {step.status}</span>{escape(step.name)}</h2>'
    yield f'<p class="where">{escape(step.where)} <code>{escape(step.id)}</code></p>'
    for block in step.blocks:
        yield _block(block)
    yield "</section>"


def _block(block: Block) -> str:
    head = f"<h3>{escape(block.label)}</h3>"
    items = "".join(f"<li>{escape(line)}</li>" for line in block.lines)
    if block.kind == "tick":
        body = f'<ul class="tick">{items}</ul>'
    elif block.kind in ("stop", "caution"):
        body = f"<ul>{items}</ul>"
    elif block.kind == "hold":
        told = "".join(f"<p><b>{escape(line)}</b></p>" for line in block.lines)
        body = f'{told}<div class="fill"><span class="long">what was observed</span></div>'
    elif block.kind == "write":
        outcomes = "".join(f"<li>{outcome}</li>" for outcome in OUTCOMES)
        fields = "".join(
            f'<span class="long">{line}</span>' if line == "note" else f"<span>{line}</span>"
            for line in block.lines
        )
        body = f'<ul class="outcomes">{outcomes}</ul><div class="fill">{fields}</div>'
    else:
        body = "".join(f"<p>{escape(line)}</p>" for line in block.lines)
    return f'<div class="block {block.kind}">{head}{body}</div>'

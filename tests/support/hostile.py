"""Texts that try to be more than text, and a case that carries one of them wherever text may stand.

Each is what a copied or shared case file could hold; ``REFUSED`` must not even be read.
"""

from pathlib import Path

import yaml

from tests.support.builders import OILY
from tests.support.intake import READY

FORGED = "FORGED HELD by nobody"
# Read as they stand; every face has to show them as plain text.
TEXTS = {
    "terminal-markup": "[bold red]X[/] [link=https://e.invalid]here[/link] [@click=app.quit]q[/]",
    "markup-unclosed": "[/] [/bold] [$error on $surface] [[[ ]]] \\[ x",
    "html": "<script>alert(1)</script><img src=x onerror=alert(1)>\"'`",
    "html-entity": "&lt;b&gt; &#60;b&#62; --> ]]> </style></title>",
    "pdf-markup": '<font size="90">x</font><a href="file:///etc/passwd">y</a></para>{\\}',
    "markdown": "# x | ![i](https://e.invalid/p.png) [l](javascript:alert(1)) `c` **b** ~~s~~",
    "markdown-link": "https://e.invalid www.e.invalid x@e.invalid",
    "newline": f"a note\n{FORGED}\n\n# heading\n- list\n| cell | cell |",
    "formula": '=HYPERLINK("https://e.invalid")',
    "formula-minus": "-2+3+cmd|' /C calc'!A0",
    "formula-at": "@SUM(1+1)*cmd|' /C calc'!A0",
    "formula-plus": "+1+1",
    "formula-late": "\n =1+1",
    "formula-wide": "\uff1d1+1",
    "csv": 'a,b","c;d',
    "calendar": "x\nEND:VEVENT\nBEGIN:VEVENT\nSUMMARY:FORGED HELD by nobody;,\\n",
    "path": "../../../../etc/passwd",
    "format": "%s %n {0} {case.__class__} ${HOME} $(id) `id` ;id",
    "long": "x" * 5000,
}
# Escape sequences and marks that hide or turn text; Unicode Standard Annex 9 for the latter.
REFUSED = {
    "clear-screen": "\x1b[2J\x1b[H",
    "title": "\x1b]0;owned\x07",
    "link": "\x1b]8;;https://e.invalid\x1b\\x",
    "clipboard": "\x1b]52;c;b3duZWQ=\x07",
    "eight-bit": "\x9b31m",
    "bell": "\x07",
    "backspace": "ok\x08\x08no",
    "carriage-return": "HELD\rfree",
    "delete": "a\x7fb",
    "nul": "a\x00b",
    "right-to-left": "safe \u202e txet",
    "isolate": "\u2066x\u2069",
    "arabic-mark": "a\u061cb",
    "line-separator": "a\u2028b",
    "swap": "a\u206ab",
    "annotation": "a\ufff9b\ufffac\ufffb",
    "tag": "a\U000e0041b",
    "byte-order": "a\ufeffb",
}


def content(text: str, name: str = "card") -> dict[str, object]:
    """Return a case with a text wherever the format takes any: names, notes, words, keys."""
    at = "2026-03-04T10:00:00+00:00"
    one_line = " ".join(text.split()) or "x"
    attempt = {
        "at": at,
        "outcome": "better",
        "amount_ml": 1.0,
        "minutes": 2.0,
        **dict.fromkeys(("zone", "deposit", "agent", "method"), one_line),
        **dict.fromkeys(("note", "observed", "knowledge"), text),
    }
    skip = {"kind": "skip-method", "finding": "f1", "method": "blot-dry"}
    timer = {"step": one_line, "started": at, "ends": "2026-03-04T23:00:00+00:00", "label": text}
    return {
        "format": 1,
        "id": name,
        "title": text,
        "taxon": "bees-wasps",
        "specimen": {"label": text, one_line[:60]: text},
        "answers": READY,
        "findings": [
            {"id": "f1", "zone": "thorax-hairy", "signs": OILY, "remark": text},
            {"id": "f2", "zone": "compound-eye", "accepted": True, "reason": text},
        ],
        "attempts": [
            {**attempt, "id": "a1", "step": one_line, "finding": "f1"},
            {**attempt, "id": "a2", "step": "case-chamber", "outcome": "worse"},
        ],
        "releases": [{"at": at, "attempt": "a2", "reason": text}],
        "overrides": [{**skip, "at": at, "reason": text}],
        "timers": [timer],
        "by-hand": text,
    }


def write(folder: Path, text: str, name: str = "card") -> Path:
    """Write such a case as a person with a text editor would, and return its path."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.yaml"
    held = yaml.safe_dump(content(text, name), allow_unicode=True, sort_keys=False)
    path.write_bytes(held.encode("utf-8"))
    return path

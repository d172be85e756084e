"""What a case file says is text on every bench sheet: HTML, Markdown, PDF."""

import re
from functools import cache
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.support.hostile import FORGED, TEXTS, write
from tests.support.knowledge import planner
from triage.case.profile import Bench
from triage.case.store import load_case
from triage.show import pdf
from triage.show.html import html_of, markdown_of, plain
from triage.show.pdf import pdf_of
from triage.show.plan import sheet_of


@cache
def sheet(text: str):
    """The sheet of a case and a bench that carry a text; made once for the three formats."""
    with TemporaryDirectory() as folder:
        case = load_case(write(Path(folder), text))
    bench = Bench(name=text)
    return sheet_of(planner().plan(case, bench), whole=True)


# Elements with which a page acts or leads elsewhere.
ACTIVE = {"script", "img", "a", "iframe", "link", "object"}


class Tags(HTMLParser):
    """Gathers elements, attributes and text of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.text: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data):
        self.text.append(data)


def elements(page: str) -> Tags:
    found = Tags()
    found.feed(page)
    return found


@pytest.mark.parametrize("kind", TEXTS)
def test_html_has_the_elements_of_a_plain_sheet_and_no_other(kind):
    told = elements(html_of(sheet(TEXTS[kind])))
    harmless = elements(html_of(sheet("a note")))
    assert told.tags == harmless.tags
    assert told.attributes == harmless.attributes
    assert not told.tags & ACTIVE
    shown = " ".join(" ".join(told.text).split())
    assert " ".join(TEXTS[kind].split()) in shown


# CommonMark 0.31.2, section 2.4: a backslash before ASCII punctuation makes it literal.
UNESCAPED = re.compile(r"(?<!\\)(?:\\\\)*([`*\[\]<>|#~@]|://)")


@pytest.mark.parametrize("kind", TEXTS)
def test_markdown_escapes_all_that_means_something(kind):
    shown = plain(TEXTS[kind])
    assert UNESCAPED.search(shown) is None
    assert "\n" not in shown
    assert not re.match(r"\s*([-+=#>]|\d+[.)](\s|$))", shown)
    text = markdown_of(sheet(TEXTS[kind]))
    usual = markdown_of(sheet("a note"))
    # No line of its own: as many headings, lists, tables and lines as on a harmless sheet.
    assert [line[:2] for line in text.splitlines()] == [line[:2] for line in usual.splitlines()]
    assert not [line for line in text.splitlines() if line.startswith(FORGED)]


# Objects with which a PDF acts or leads elsewhere: ISO 32000-1, 12.5 (annotations), 12.6 (actions).
ACTING = (b"/Annot", b"/URI", b"/Launch", b"/JavaScript", b"/OpenAction", b"/AA", b"/AcroForm")


def acting_in(content: bytes) -> list[bytes]:
    """Return what acts among the objects of a file; packed streams are only what is drawn."""
    objects = re.sub(rb"\bstream\r?\n.*?endstream", b"", content, flags=re.DOTALL)
    # A name ends at a sign that is no letter or digit: a subset of a font may be called AAAAAA+.
    return [word for word in ACTING if re.search(word + rb"(?![A-Za-z0-9+])", objects)]


@pytest.mark.parametrize("kind", TEXTS)
def test_pdf_runs_nothing_and_leads_nowhere(kind):
    content = pdf_of(sheet(TEXTS[kind]))
    assert content.startswith(b"%PDF")
    assert not acting_in(content)


def test_a_link_in_a_pdf_would_be_seen_by_the_test_above():
    stream = BytesIO()
    pdf.build(stream, "x", [pdf.text('<a href="https://e.invalid">x</a>', "body")], "end")
    assert {b"/Annot", b"/URI"} <= set(acting_in(stream.getvalue()))

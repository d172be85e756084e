"""Cases read back as they were written, whatever stands in them and however they are laid out."""

import tempfile
from datetime import datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.case import changes
from triage.case.models import OUTCOMES, Case
from triage.case.store import case_text, create_case, load_case, update_case
from triage.yamltext import control_character, dump_yaml, parse_yaml

AWKWARD = [
    *("yes", "no", "on", "off", "true", "null", "~", "NO", "Yes", ".inf", ".nan", "=", "<<"),
    *("1", "0012", "1e3", "1_0", "12:30", "2026-01-01", "0x1f", "+1", ".5", "0o17", "0b1"),
    *("-", "#", ":", "?", "!", "&", "*", "|", "%", "@", "`", "...", "---"),
]
texts = st.one_of(
    st.sampled_from(AWKWARD),
    st.sampled_from(
        ["", " lead", "trail ", "\n", "\n\nx", "x\n", " \n x", "a\r\nb", "a: b", "# x", "é ü 虫 🐝"]
    ),
    st.text(alphabet=" \n\tab:#-'\"{}[],&*!|>%@`0123.e+_~", max_size=14),
    st.text(max_size=30),
).filter(
    lambda text: not control_character(text) and not any("\ud800" <= c <= "\udfff" for c in text)
)
values = st.recursive(
    st.one_of(
        st.none(), st.booleans(), st.integers(-(10**30), 10**30), st.floats(allow_nan=False), texts
    ),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(texts.filter(bool), inner, max_size=3)
    ),
    max_leaves=8,
)
LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789"
words = st.builds(
    str.__add__, st.sampled_from(LETTERS), st.text(alphabet=LETTERS + "-", max_size=12)
)
answers = st.dictionaries(words, words, max_size=4)
moments = st.builds(
    lambda moment, minutes: moment.replace(tzinfo=timezone(timedelta(minutes=minutes))),
    st.datetimes(min_value=datetime(2000, 1, 1), max_value=datetime(2099, 12, 31)),  # noqa: DTZ001
    st.integers(-720, 840),
)
amounts = st.none() | st.floats(0, 1e4) | st.integers(0, 1000).map(float)


# Letters apart: a word in them could be a slip of one that protects, and that is refused.
unknown_keys = st.dictionaries(
    texts.filter(bool).map(lambda text: " ".join(("x", *text.replace("\r\n", "\n")))),
    values,
    max_size=2,
)


@pytest.fixture(autouse=True)
def no_wait_for_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is cut off here; that what is written is on the disk is the killed writers' test."""
    monkeypatch.setattr("triage.case.store.os.fsync", lambda _handle: None)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    held = values.filter(lambda value: value is not None)
    specimen = draw(st.dictionaries(words, held, max_size=2))
    told = {"invented": draw(st.booleans()), "specimen": specimen, "answers": draw(answers)}
    case = changes.new_case(draw(words), draw(texts), **told, **draw(unknown_keys))
    for number in range(draw(st.integers(0, 3))):
        seen = {"side": draw(st.sampled_from([None, "left", "right", "both"]))}
        seen |= {"signs": draw(answers), **draw(unknown_keys)}
        finding = changes.new_finding(f"f{number}", draw(words), **seen)
        case = changes.with_finding(case, finding)
    for _ in range(draw(st.integers(0, 3))):
        case = changes.with_attempt(case, draw(attempts(case)))
    return case


@st.composite
def attempts(draw: st.DrawFn, case: Case) -> Any:
    findings = [None, *(finding.id for finding in case.findings)]
    told = {"finding": draw(st.sampled_from(findings)), "note": draw(texts)}
    told |= {"amount_ml": draw(amounts), "minutes": draw(amounts), **draw(unknown_keys)}
    outcome = draw(st.sampled_from(OUTCOMES))
    return changes.new_attempt(case.next_attempt_id(), draw(moments), draw(words), outcome, **told)


@settings(max_examples=120, deadline=None)
@given(values)
def test_plain_values_come_back(held: Any) -> None:
    back = parse_yaml(dump_yaml(held), "x").data
    assert back == held
    assert repr(back) == repr(held)  # 1, 1.0 and true are equal, and are not the same


@settings(max_examples=40, deadline=None)
@given(cases())
def test_a_case_comes_back(case: Case) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = create_case(folder, case)
        back = load_case(path)
        assert back == case
        assert list(back.plain()) == list(case.plain())
        assert case_text(back) == case_text(case)


@settings(max_examples=40, deadline=None)
@given(st.data(), cases())
def test_a_change_touches_only_what_it_says(data: st.DataObject, case: Case) -> None:
    attempt = data.draw(attempts(case))
    question, answer = data.draw(words), data.draw(words)

    def change(old: Case) -> Case:
        new = changes.with_answer(changes.with_attempt(old, attempt), question, answer)
        new = changes.with_finding(new, changes.new_finding("late", "antenna"))
        for held in new.held_by():
            new = changes.with_release(new, attempt.at, held, "looked again")
        return changes.with_sign(new, new.findings[0].id, question, answer)

    with tempfile.TemporaryDirectory() as folder:
        path = create_case(folder, case)
        marked = path.read_text(encoding="utf-8").replace("\nanswers:", "\n# by hand\nanswers:", 1)
        path.write_bytes(marked.encode())
        if load_case(path) != case:  # the mark fell into a text: nothing to compare then
            return
        expected = change(case)
        assert update_case(path, change) == expected
        assert load_case(path) == expected
        assert expected.attempts[:-1] == case.attempts
        assert b"# by hand" in path.read_bytes()


@settings(max_examples=60, deadline=None)
@given(cases(), st.lists(st.sampled_from(OUTCOMES), min_size=1, max_size=6))
def test_a_hold_ends_only_by_a_release(case: Case, outcomes: list[str]) -> None:
    at = datetime(2026, 3, 2, tzinfo=timezone.utc)  # noqa: UP017
    for outcome in outcomes:
        case = changes.with_attempt(
            case, changes.new_attempt(case.next_attempt_id(), at, "s", outcome)
        )
        last = case.attempts[-1].id
        assert (last in case.held_by()) == (outcome in {"worse", "damage"})
    for attempt_id in case.held_by():
        before = case.held_by()
        case = changes.with_release(case, at, attempt_id, "looked again")
        assert case.held_by() == tuple(held for held in before if held != attempt_id)
    assert case.held_by() == ()

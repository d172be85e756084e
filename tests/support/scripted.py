"""Answers for the plain session, given before it asks."""

import io
import re


def number_of(text: str, choice: str) -> str:
    """Return the number of the last list line that begins with these words."""
    found = re.findall(rf"^  (\d+) {re.escape(choice)}", text, re.MULTILINE)
    assert found, f"{choice!r} is not offered in:\n{text[-2000:]}"
    return str(found[-1])


class Script(io.StringIO):
    """Answers one after the other; ``#text`` picks the last list line that begins so."""

    def __init__(self, *wanted: str) -> None:
        super().__init__()
        self.wanted = list(wanted)
        self.sink = io.StringIO()

    def readline(self, _size: int | None = -1, /) -> str:
        if not self.wanted:
            return ""  # the input ends
        word = self.wanted.pop(0)
        if word.startswith("#"):
            word = number_of(self.sink.getvalue(), word[1:])
        return f"{word}\n"

"""The face of the tool: every command explains itself, and a key means one thing on a screen."""

from __future__ import annotations

import argparse

import pytest
from textual.screen import Screen

from tests.tui.list_labels import commands, own_keys, screens


@pytest.mark.parametrize("screen", screens(), ids=lambda screen: screen.__name__)
def test_a_key_does_one_thing(screen: type[Screen[object]]) -> None:
    """A screen may give a key of its base another action; it may not give one key two."""
    assert all(label for _, _, label in own_keys(screen))
    own = [key for binding in screen.__dict__.get("BINDINGS", ()) for key in binding.key.split(",")]
    assert len(own) == len(set(own))


@pytest.mark.parametrize(("name", "parser"), list(commands()), ids=lambda each: str(each)[:20])
def test_every_command_explains_itself(name: str, parser: argparse.ArgumentParser) -> None:
    assert parser.description
    assert parser.description.endswith(".")
    assert f"example: triage {name.partition(' ')[0]}" in (parser.epilog or "")
    for action in parser._actions:
        if not isinstance(action, argparse._SubParsersAction):
            assert action.help, f"{name}: {action.dest} has no help"

"""Which unknown keys resemble a known one, and which are a person's own."""

from __future__ import annotations

import pytest

from triage.case.entry import is_like, meant_key
from triage.case.models import Attempt, Case, Finding
from triage.case.profile import Bench, RoomProfile
from triage.case.reading import validated
from triage.errors import TriageError


@pytest.mark.parametrize("name", sorted(Bench.model_fields.keys() - Bench.FREE))
def test_every_key_of_a_bench_is_known_with_a_slip(name: str) -> None:
    """One letter dropped, doubled or swapped with its neighbour, in any place."""
    slips = {name[:i] + name[i + 1 :] for i in range(len(name))}
    slips |= {name[:i] + name[i] + name[i:] for i in range(len(name))}
    slips |= {name[:i] + name[i + 1] + name[i] + name[i + 2 :] for i in range(len(name) - 1)}
    for slip in sorted(slips - Bench.model_fields.keys()):
        with pytest.raises(TriageError, match="did you mean"):
            validated(Bench, {slip: "x"})


@pytest.mark.parametrize("name", sorted(RoomProfile.model_fields))
def test_every_key_of_the_room_is_known_by_its_first_word(name: str) -> None:
    first = name.split("_", maxsplit=1)[0]
    for key in {first, f"{first}_given"} - RoomProfile.model_fields.keys():
        with pytest.raises(TriageError, match="did you mean"):
            validated(Bench, {"room": {key: "x"}})


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("refuse", "refused"), ("refuses", "refused"), ("refusal", "refused"),
        ("pregnant", "pregnancy"), ("asthmatic", "asthma"), ("glove", "gloves"),
        ("allergic", "allergy"), ("child", "children"), ("pet", "pets"), ("lack", "lacking"),
    ],
)  # fmt: skip
def test_forms_of_a_word_are_alike(one: str, other: str) -> None:
    assert is_like(one, other)
    assert is_like(other, one)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("size", "side"), ("species", "specimen"), ("note", "zone"), ("at", "id"), ("seen", "side"),
        ("phone", "zone"), ("contact", "control"), ("floor", "room"), ("colour", "control"),
    ],
)  # fmt: skip
def test_other_words_are_not(one: str, other: str) -> None:
    assert not is_like(one, other)


def test_a_longer_key_beside_the_known_one_is_a_persons_own() -> None:
    known = Attempt.model_fields.keys() - Attempt.FREE
    assert meant_key("agent_lot", known, {"agent": "heptane"}) is None
    assert meant_key("agent_name", known, {"agent": None}) == "agent"
    # The same quantity in another unit contradicts, also beside the known one.
    assert meant_key("amount_litres", known, {"amount_ml": 2.0}) == "amount_ml"


def test_own_keys_of_a_case_are_kept() -> None:
    own = {
        "time": "noon",
        "size": "2 mm",
        "species": "Bombus",
        "site": [1, 2],
        "remark": "x",
        "x note": "y",
    }
    finding = validated(Finding, {"id": "f1", "zone": "elytra", "zone_detail": "tip", **own})
    case = validated(
        Case, {"format": 1, "id": "x", "findings": [finding], "owner": "a friend", **own}
    )
    assert case.plain()["findings"][0]["zone_detail"] == "tip"
    assert all(case.plain()[key] == held for key, held in own.items())
    assert all(case.plain()["findings"][0][key] == held for key, held in own.items())

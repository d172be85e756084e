"""A person who knows no names reaches the deposit by answering what is seen."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.builders import case_with, full_bench
from tests.support.case_gen import speaking_signs
from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.engine.reading import HAZARD, Reading, certainty_of, combine, reach_of, weight_of
from triage.engine.vocabulary import NONE, UNKNOWN
from triage.knowledge.book import Knowledge
from triage.plan.planner import Planner


def _wide(consultant: Consultant, kind: str, key: str, given: dict[str, str]) -> Fact:
    """Return a fact with every observable field; what is not given is unknown."""
    vocabulary = consultant.vocabulary
    fields = {}
    for name, slot in vocabulary.kinds[kind].items():
        if (kind, name) not in vocabulary.derived:
            fields[name] = given.get(name, UNKNOWN if slot.askable else NONE)
    assert set(given) <= set(fields), set(given) - set(fields)
    return Fact(kind, key, fields)


def read(
    consultant: Consultant,
    signs: dict[str, str],
    *,
    specimen: dict[str, str] | None = None,
    zone: str = UNKNOWN,
    taxon: str = UNKNOWN,
) -> dict[str, Reading]:
    facts = (
        _wide(consultant, "specimen", "specimen", {**(specimen or {}), "taxon": taxon}),
        _wide(consultant, "bench", "bench", {}),
        _wide(consultant, "finding", "f1", {**signs, "id": "f1", "zone": zone}),
    )
    found = consultant.consult_facts(facts, (), consultant.run_plain)
    return {reading.deposit: reading for reading in found.readings}


def test_bloom_that_is_seen_outlives_a_sign_that_excludes_it(consultant: Consultant) -> None:
    """A contradiction about a protected feature never frees the way."""
    signs = {"texture": "even-bloom", "symmetry": "both-sides", "blotter": "oil-spot"}
    bloom = read(consultant, signs)["natural-bloom"]
    assert bloom.standing not in {"excluded", "doubtful", "open"}


@pytest.mark.parametrize("sign", [{"sheen": "even-gloss-all-over"}, {"colour": "tan-yellow"}])
@pytest.mark.parametrize("age", ["before-1990", "since-1990"])
def test_lesser_signs_do_not_outweigh_a_sign_of_old_poison(
    sign: dict[str, str], age: str, consultant: Consultant, knowledge: Knowledge
) -> None:
    """What excludes the poison leaves it suspected beside its signs; a lesser sign freed it once."""
    poison = read(consultant, sign, specimen={"old-poison-signs": "yes", "age": age})
    assert poison["old-poison-salt"].standing in {"suspected", "likely", "settled"}
    assert poison["old-poison-salt"].reach >= knowledge.judgement.suspected.value


def test_an_open_question_counts_as_the_answer_that_speaks_for_mould(
    consultant: Consultant, knowledge: Knowledge
) -> None:
    """A musty smell would make it mould beside all that speaks against; so may an open one."""
    suspected = knowledge.judgement.suspected.value
    signs = {"texture": "even-bloom", "symmetry": "both-sides", "dry-brush": "moves"}
    signs |= {"damp-before": "no"}
    musty, none, unasked = (
        read(consultant, {**signs, "smell": smell}, specimen={"mouldy-smell": "no"})["mould"]
        for smell in ("musty", "none", UNKNOWN)
    )
    assert min(weight_of(e) for e in none.evidence) > -1
    assert musty.standing == "suspected"
    assert none.reach < suspected <= unasked.reach


weights = st.lists(st.integers(-9, 9).map(lambda tenths: tenths / 10), max_size=6)


@given(weights, weights)
def test_one_sign_keeps_a_hazard_suspected(some: list[float], more: list[float]) -> None:
    """Nothing that is added below an exclusion, and no exclusion, ends the suspicion."""
    suspected, most = 0.2, 0.98
    held = tuple(sorted(some))
    certainty = certainty_of(held, suspected, most, HAZARD)
    if max(some, default=0.0) >= suspected:
        for against in (more, [*more, -1.0]):
            added = tuple(sorted([*some, *against]))
            assert certainty_of(added, suspected, most, HAZARD) >= suspected
    else:
        assert certainty == combine(some, most)
    # An open question counts at least as much as its answer would.
    for answer in [weight for weight in more if weight > 0]:
        answered = certainty_of(tuple(sorted([*some, answer])), suspected, most, HAZARD)
        assert reach_of(held, (answer,), suspected, most, HAZARD) >= answered


@pytest.mark.parametrize(
    ("guard", "given_by_both", "excluded"),
    [("none", 0.0, 0.0), ("protect", 0.0, 0.2), (HAZARD, 0.2, 0.2)],
)
def test_only_what_is_hazardous_to_people_outlives_an_equal_sign_against_it(
    guard: str, given_by_both: float, excluded: float
) -> None:
    """Dirt too lies on both sides: the insect's own wax is weighed, or it would be all dirt."""
    assert certainty_of((-0.5, 0.5), 0.2, 0.98, guard) == given_by_both
    assert certainty_of((-1.0, -0.5, 0.5), 0.2, 0.98, guard) == excluded


@pytest.mark.parametrize(
    ("ethanol", "heptane", "ammonia", "deposit"),
    [
        ("nothing", "clears", UNKNOWN, "waxy-matting"),
        ("clears", "clears", UNKNOWN, "fatty-matting"),
        ("nothing", "nothing", "milky-lift", "soap-mixed-matting"),
    ],
)
def test_stubborn_paste_is_told_apart_by_drops(
    ethanol: str, heptane: str, ammonia: str, deposit: str, consultant: Consultant
) -> None:
    """Heptane takes wax and fatty acids alike (J. Chem. Eng. Data 54:64, 2009); ethanol hardly wax."""
    paste = {"setae": "stiff-clumps", "texture": "paste", "dry-brush": "smears"}
    paste |= {"ethanol-drop": ethanol, "heptane-drop": heptane, "ammonia-drop": ammonia}
    readings = read(consultant, paste, zone="thorax-hairy", taxon="bees-wasps")
    assert readings[deposit].standing == "settled"


@pytest.mark.parametrize(
    ("weights", "printed"),
    [
        ([0.5, 0.6], 0.8),
        ([0.6, 0.5], 0.8),
        # (x + y) / (1 - min(|x|, |y|)), worked on paper: (0.8 - 0.4) / (1 - 0.4).
        ([0.6, 0.5, -0.4], 0.6667),
        ([-0.4, 0.5, 0.6], 0.6667),
        ([0.6, -0.4, 0.5], 0.6667),
        ([0.9, 0.9, -1], -1),
    ],
)
def test_combining_as_printed(weights: list[float], printed: float) -> None:
    """A published worked example: rules with 0.5 and 0.6 for one conclusion give .8.

    Source: Novak, lecture notes on certainty factors, University of Texas at Austin, "Summary of CF
    Computations" (passage opened); he prints .5 + .6 * (1 - .5) = .8 and the same the other way, the
    formula for opposite signs, its order-free result and the dominance of -1.
    """
    assert combine(weights) == pytest.approx(printed, abs=1e-4)


def test_questions_cost_more_the_later_they_are_asked(knowledge: Knowledge) -> None:
    """Free looks before touch, touch before micro-tests, for what is seen on a zone."""
    asked = [q for q in knowledge.questions.values() if q.about == "zone" and q.id != "airing"]
    order = [q.risk for q in sorted(asked, key=lambda question: question.rank)]
    assert list(dict.fromkeys(order)) == ["none", "touch", "micro-test"]
    assert order == sorted(order, key=["none", "touch", "micro-test"].index)


STRONG = 0.6  # DEVELOPERS.md, "To add a deposit": 0.6 strong
WATER_SOLUBLE = [(each, "water-drop", "nothing") for each in ("glue-gum-residue", "sugar-honey")]


def test_no_reading_is_settled_against_a_direct_test(
    knowledge: Knowledge, consultant: Consultant, planner: Planner
) -> None:
    zone = [q for q in knowledge.questions.values() if q.about == "zone"]
    tests = {q.id for q in zone if q.risk != "none"}
    against = {
        (deposit, *pair)
        for deposit, weights in consultant.reach.against.items()
        for pair, weight in weights.items()
        if pair[0] in tests and weight <= -STRONG and knowledge.deposits[deposit].guard == "none"
    }
    assert against.issuperset(WATER_SOLUBLE)
    for deposit, test, answer in sorted(against):
        told = {q: a for q, a in speaking_signs(consultant).get(deposit, ()) if q != test}
        case = case_with("beetles", "elytra", {**told, test: answer}, named=deposit)
        (line,) = planner.plan(case, full_bench(knowledge)).findings
        assert (line.deposit, line.standing) != (deposit, "settled"), (deposit, test, answer)

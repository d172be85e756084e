"""The pages of deposits, zones, methods, taxon groups, questions and sources."""

from __future__ import annotations

from collections.abc import Iterator

from triage.engine.vocabulary import agent_ids
from triage.handbook.links import Links
from triage.handbook.words import cited, names, section, statement, weight_words
from triage.knowledge.base import Source
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Graded, Method, Span
from triage.knowledge.specimen import Deposit, Question, Taxon, Zone
from triage.plan.ladder import grades
from triage.plantext import duration

GUARDS = {
    "protect": "It belongs there: it is protected.",
    "hazard": "A hazard to people: the hazard gate comes first.",
    "refuse": "A specimen with it is turned away at intake.",
    "accept": "It is accepted as it is.",
}


MOST_NAMED = 6


def deposit_lines(knowledge: Knowledge, links: Links, deposit: Deposit) -> Iterator[str]:
    """Yield the page of one deposit: how to know it, what removes it, what never touches it."""
    yield f"{deposit.looks} {cited(deposit.source, deposit.at, deposit.note)}"
    yield ""
    yield f"Speaks for it: {deposit.speaks_for}"
    if deposit.guard in GUARDS:
        yield f"\n**{GUARDS[deposit.guard]}**"
    yield from section(
        "Easily confused with", (names(knowledge, "deposit", [d]) for d in deposit.confused_with)
    )
    yield from section("Signs", _signs(knowledge, links, deposit.id))
    yield from section(
        "Removed by, least harsh first", ladder_lines(knowledge, links.offers.get(deposit.id, ()))
    )
    yield from section("Never", _bans(knowledge, links.deposit_bans.get(deposit.id, ())))
    if deposit.leave_it:
        yield from section("If it stays", (deposit.leave_it,))


def _signs(knowledge: Knowledge, links: Links, deposit: str) -> Iterator[str]:
    for each in links.evidence.get(deposit, ()):
        rule = knowledge.rule(each.rule)
        source = cited(rule.source, rule.at)
        yield f"{weight_words(each.weight)}: {rule.because} {source} `{rule.id}`"


def ladder_lines(knowledge: Knowledge, methods: tuple[str, ...]) -> Iterator[str]:
    """Yield methods with their three grades of harshness."""
    for name in methods:
        method = knowledge.methods[name]
        mechanical, chemical, person = grades(method)
        yield (
            f"{method.name} `{name}`: rubbing {mechanical}, attack {chemical}, hazard to you "
            f"{person} (of 5)"
        )


def _bans(knowledge: Knowledge, bans: tuple[tuple[str, tuple[str, ...]], ...]) -> Iterator[str]:
    for rule_id, methods in bans:
        rule = knowledge.rule(rule_id)
        shown = names(knowledge, "method", methods[:MOST_NAMED])
        if len(methods) > MOST_NAMED:
            shown += f" and {len(methods) - MOST_NAMED} more (see the rule)"
        yield f"{rule.because} {cited(rule.source, rule.at)} `{rule_id}` - {shown}"


def zone_lines(knowledge: Knowledge, links: Links, zone: Zone) -> Iterator[str]:
    """Yield the page of one zone: its surface, what hurts it, what never touches it."""
    plans = names(knowledge, "body-plan", zone.plans)
    source = cited(zone.source, zone.at, zone.note)
    yield f"Surface: {', '.join(zone.surface)}. On: {plans}. {source}"
    yield from section("What hurts it", (statement(each) for each in zone.hurts))
    yield from section("What is gentle", (statement(each) for each in zone.gentle))
    ceiling = f"rubbing {zone.most_mechanical}, attack {zone.most_chemical} (of 5)"
    yield from section("At most", (f"{ceiling}. {zone.ceiling_because}".strip(),))
    yield from section("Hidden test spot", (zone.test_spot,))
    yield from section("Never", _bans(knowledge, links.bans.get(zone.id, ())))


def _graded(name: str, held: Graded) -> str:
    return f"{name} {held.grade}: {held.because} {cited(held.source, held.at, held.note)}"


def _span(span: Span | None, unit: str = "") -> str:
    if span is None:
        return ""
    if unit:
        return f"{span.start:g}, at most {span.most:g} {unit}"
    return f"{duration(span.start)}, at most {duration(span.most)}"


def method_lines(knowledge: Knowledge, method: Method) -> Iterator[str]:
    """Yield the page of one method: what to do, how harsh it is, when to stop."""
    technique = knowledge.techniques[method.technique]
    yield f"Stage {method.stage}; {technique.name}. {cited(method.source, method.at, method.note)}"
    yield from section("Agents", _agents(knowledge, method))
    yield from section("Do", method.do)
    yield from section("Measure", _measure(method))
    yield from section("Tool", (method.tool,))
    yield from section("Needs", (knowledge.equipment[each].name for each in method.needs))
    yield from section("Done when", (method.success,))
    stops = (knowledge.stops[each] for each in method.stop_signs)
    yield from section("Stop if", (f"{s.see} {s.means} {s.then}" for s in stops))
    yield from section("Rinse", method.rinse)
    yield from section("Dry", (method.drying,) if method.drying else ())
    harshness = method.harshness
    yield from section(
        "How harsh (0 to 5)",
        (
            _graded("rubbing", harshness.mechanical),
            _graded("attack", harshness.chemical),
            _graded("hazard to you", harshness.person),
        ),
    )
    yield from section("Evidence", (statement(each) for each in method.evidence))


def _agents(knowledge: Knowledge, method: Method) -> Iterator[str]:
    strengths = {part.agent: part.strength for part in method.with_}
    if method.agent is not None:
        strengths[method.agent] = method.strength
    for agent in agent_ids(knowledge, method.id):
        strength = strengths.get(agent)
        shown = f", {strength.value:g} {strength.unit}" if strength is not None else ""
        yield f"{knowledge.agents[agent].name}{shown} `{agent}`"


def _measure(method: Method) -> Iterator[str]:
    for name, held in (
        ("dwell", _span(method.dwell_s)),
        ("burst", _span(method.burst_s)),
        ("temperature", _span(method.temp_c, "C")),
    ):
        if held:
            yield f"{name}: {held}"
    if method.amount is not None:
        yield f"amount: {method.amount.typical_ml:g} mL, least {method.amount.least_ml:g} mL a pass"
    yield f"passes: at most {method.passes}"


def taxon_lines(knowledge: Knowledge, taxon: Taxon) -> Iterator[str]:
    """Yield the page of one taxon group."""
    fragility = knowledge.fragility[taxon.fragility].name
    examples = f" ({taxon.examples})" if taxon.examples else ""
    yield f"{fragility}{examples} {cited(taxon.source, taxon.at, taxon.note)}"
    yield from section("Traits", (knowledge.traits[each].name for each in taxon.traits))
    yield from section("What changes", (statement(each) for each in taxon.changes))


def question_lines(question: Question) -> Iterator[str]:
    """Yield the page of one question with its answers."""
    yield f"{question.ask} {cited(question.source, question.at, question.note)}"
    yield f"\nHow: {question.how} (about {question.seconds} s; risk: {question.risk})"
    yield from section("Answers", (f"`{a.id}`: {a.text}" for a in question.answers))


def source_lines(source: Source) -> Iterator[str]:
    """Yield the page of one source."""
    year = f", {source.year}" if source.year else ""
    place = f", {source.section}" if source.section else ""
    yield f"{source.title}{year}{place} ({source.kind.value})"
    if source.read:
        yield f"\nRead: {source.read}"
    if source.note:
        yield f"\n{source.note}"

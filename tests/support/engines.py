"""Ways to run normal rules: experta with either matcher and either strategy."""

from triage.engine.build import RuleEngine, build_engine, to_experta
from triage.engine.compat import ReteMatcher
from triage.engine.facts import Conclusion, Fact
from triage.engine.matcher import JoinMatcher
from triage.engine.normal import NormalRule

MATCHERS = {"join": JoinMatcher, "rete": ReteMatcher}


class Noting:
    """Notes every firing, also one that concludes what was concluded before."""

    concluded: list[Conclusion]

    def conclude(self, conclusion: Conclusion) -> None:
        self.concluded.append(conclusion)
        super().conclude(conclusion)


def engine_of(rules: tuple[NormalRule, ...], matcher: str = "join", strategy=None) -> RuleEngine:
    engine = type(build_engine("TestEngine", rules, matcher=MATCHERS[matcher]))
    body = {} if strategy is None else {"__strategy__": strategy}
    made = type("OtherEngine", (Noting, engine), body)()
    made.concluded = []
    return made


def declare(engine: RuleEngine, fact: Fact):
    return engine.declare(to_experta(fact, engine.classes))

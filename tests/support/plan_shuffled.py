"""Print plans of generated cases with facts, rules, signs and answers in a shuffled order.

Run as a process of its own: ``python -m tests.support.plan_shuffled RULES SHUFFLE SEED...``. Two
runs with different SHUFFLE and different hash seeds must print the same bytes.
"""

import random
import sys
from dataclasses import replace

from tests.support.case_gen import drawn
from triage.commands.common import print_json
from triage.engine.consult import Consultant
from triage.knowledge.load import load_knowledge
from triage.plan.model import plan_data
from triage.plan.planner import Planner


def _shuffled(mapping, rng):
    items = list(mapping.items())
    rng.shuffle(items)
    return dict(items)


def main(words: list[str]) -> None:
    rng = random.Random(int(words[1]))
    knowledge = load_knowledge(words[0])
    rules = {f: tuple(rng.sample(r, len(r))) for f, r in knowledge.rules.items()}
    straight = Consultant(knowledge)
    consultant = Consultant(replace(knowledge, rules=rules))
    run = consultant.engine.consult

    def shuffled(facts):
        return tuple(rng.sample(facts, len(facts)))

    consultant.engine.consult = lambda facts, combine: run(
        shuffled(facts), lambda said: shuffled(combine(said))
    )
    planner = Planner(consultant)
    for seed in words[2:]:
        # The case itself is drawn with the rules in file order, then its answers are shuffled.
        case, bench = drawn(straight, int(seed))
        findings = tuple(
            f.model_copy(update={"signs": type(f.signs)(_shuffled(f.signs, rng))})
            for f in case.findings
        )
        answers = type(case.answers)(_shuffled(case.answers, rng))
        case = case.model_copy(update={"answers": answers, "findings": findings})
        print_json(plan_data(planner.plan(case, bench)))


if __name__ == "__main__":
    main(sys.argv[1:])

"""Whether a rulebase may be planned with: its cases hold, its entries are whole, it is sound."""

from __future__ import annotations

from triage.check.rulebase import faults_of
from triage.engine.complete import incomplete
from triage.engine.consult import Consultant
from triage.engine.rulecases import failed_cases
from triage.errors import raise_faults


def require_sound(consultant: Consultant) -> None:
    """Raise every fault of a rulebase that loads but must not be planned with.

    Raises
    ------
    TriageError: a case beside a rule comes out otherwise, a worked case does not settle its
    deposit, a rule can never fire, an order leads round, an offer contradicts an interlock, ...;
    each with file, line and mend.
    """
    raise_faults([*failed_cases(consultant), *incomplete(consultant), *faults_of(consultant)])

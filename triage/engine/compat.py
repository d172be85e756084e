"""The only importer of experta: mends its start-up and re-exports typed names.

experta pins a frozendict that still looks for ``collections.Mapping`` (gone since Python 3.10),
its ``__init__`` swallows ImportError, and it installs a handler on the root logger.
"""

from __future__ import annotations

import collections
import collections.abc
import logging
from typing import Any

if not hasattr(collections, "Mapping"):
    collections.Mapping = collections.abc.Mapping  # type: ignore[attr-defined]

_root = logging.getLogger()
_before = list(_root.handlers)

try:
    # The submodules are imported one by one, because the package's own __init__ hides errors.
    from experta.abstract import Matcher as _Matcher
    from experta.abstract import Strategy as _Strategy
    from experta.activation import Activation as _Activation
    from experta.agenda import Agenda as _Agenda
    from experta.conditionalelement import NOT as _NOT
    from experta.engine import KnowledgeEngine as _KnowledgeEngine
    from experta.fact import Fact as _Fact
    from experta.factlist import FactList as _FactList
    from experta.fieldconstraint import P as _P
    from experta.matchers import ReteMatcher as _ReteMatcher
    from experta.rule import Rule as _Rule
    from experta.shortcuts import AS as _AS
    from experta.shortcuts import MATCH as _MATCH
except ImportError as error:  # pragma: no cover - only with a broken installation
    msg = f"experta cannot be imported ({error}); reinstall it: pip install experta==1.9.4"
    raise ImportError(msg) from error

for _handler in list(_root.handlers):
    if _handler not in _before:
        _root.removeHandler(_handler)

Matcher: Any = _Matcher
Strategy: Any = _Strategy
Activation: Any = _Activation
Agenda: Any = _Agenda
NOT: Any = _NOT
KnowledgeEngine: Any = _KnowledgeEngine
ExpertaFact: Any = _Fact
FactList: Any = _FactList
P: Any = _P
ReteMatcher: Any = _ReteMatcher
ExpertaRule: Any = _Rule
AS: Any = _AS
MATCH: Any = _MATCH

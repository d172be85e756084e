"""Agents against documents, beside the figures that stand row by row in ``tests/second_entry``.

Sources: NIOSH, Documentation for IDLH concentrations, 1994; OSHA sampling pages; CCOHS records
(odour); EPA 1995 (peroxide); the glove studies of 1987 and of the thesis named below.
"""

from __future__ import annotations

from tests.support.knowledge import shipped

AGENTS = shipped().agents


def test_limits_never_set_are_not_held() -> None:
    """NIOSH 1994: no REL for ethyl ether; tetrachloroethylene and p-dichlorobenzene: Ca, no number."""
    for agent_id in ("diethyl-ether", "tetrachloroethylene", "paradichlorobenzene"):
        shift = [x for x in AGENTS[agent_id].limits if x.authority == "niosh" and x.basis != "idlh"]
        assert shift == []
    for agent_id in ("tetrachloroethylene", "paradichlorobenzene"):
        assert any(c.body == "NIOSH" and "Ca" in c.category for c in AGENTS[agent_id].carcinogen)


def test_smell_is_no_guard_where_the_records_say_so() -> None:
    """CCOHS: 2-ethoxyethanol detected at 2.7 ppm; NIOSH limit 0.5. EPA 1995: peroxide odourless."""
    for agent_id in ("ethoxyethanol-2", "tetrachloroethylene", "hydrogen-peroxide"):
        assert "no-smell-warning" in AGENTS[agent_id].hazards


# 18 December 2024, 89 FR 103560; proposal of 27 March 2026, 91 FR 14790.
NOTICES = {
    ("tetrachloroethylene", "United States", "2024-12-18"),
    ("tetrachloroethylene", "United States", "2026-03-27"),
    ("ethoxyethanol-2", "European Union", "2010-12-15"),
    ("silica-gel-cobalt", "European Union", "2011-06-20"),
}


def test_legal_notices_stand_with_place_and_date() -> None:
    held = {(a.id, n.jurisdiction, n.date) for a in AGENTS.values() for n in a.notices}
    assert held >= NOTICES


def test_glove_studies() -> None:
    """1987 abstract: tetrachloroethylene, eight nitrile gloves, 30-300 min. Thesis: 5-10 min."""
    gloves = {(a.id, g.material): g for a in AGENTS.values() for g in a.gloves}
    assert gloves["tetrachloroethylene", "nitrile-thick"].minutes == "30-300"
    assert gloves["tetrachloroethylene", "nitrile-thick"].verdict != "holds"
    assert gloves["butoxyethanol-2", "nitrile-thin"].minutes == "5-10"
    assert gloves["butoxyethanol-2", "nitrile-thin"].verdict == "fails"


def test_a_type_a_filter_is_named_only_for_what_boils_above_65_c() -> None:
    """AS/NZS 1715, in a supplier's words, and the European classes: below that it is type AX."""
    words = {a.id: " ".join(x.text for x in a.breathing) for a in AGENTS.values()}
    assert "type AX" in words["acetone"]
    named = [AGENTS[i].physical.boiling_point for i, text in words.items() if "(type A)" in text]
    assert len(named) > 10
    assert all(boils is not None and (boils.value or 0) > 65 for boils in named)

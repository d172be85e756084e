"""What the rules took from the open library ``chemicals`` 1.5.2 was copied without a slip.

A check of copying, not of truth: the library is asked for the figure that was taken from it. What
holds a figure against the world stands in ``tests/second_entry``, typed from documents.
"""

import math
import warnings
from importlib.metadata import version
from typing import Any

import pytest

from tests.support.knowledge import shipped
from triage.knowledge.agents import Agent, Quantity
from triage.knowledge.book import Knowledge

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import chemicals
    from chemicals import dippr, miscdata, safety, solubility, vapor_pressure

    vapor_pressure.load_vapor_pressure_dfs()

LIBRARY = "chemicals-1.5.2"
ZERO_C = 273.15
AGENTS = shipped().agents
# Under which number the library keeps what evaporates, where that is not the agent itself.
VAPOUR = {"ammonia-solution": "7664-41-7", "hypochlorite": "7782-50-5"}
RACEMATE = {"limonene": "138-86-3"}
LISTED_AS = {"protease-neutral": "1395-21-7", "alkaline-surfactant": "1310-58-3"}
STAND_IN = {"naphtha-dearomatised": "124-18-5"}


def number_of(agent: Agent, *others: dict[str, str]) -> str:
    """Return the registry number to ask the library for."""
    return next((o[agent.id] for o in (*others, VAPOUR) if agent.id in o), agent.cas or "")


def density(cas: str) -> float:
    # The table's last two digits are the temperature, fused on: an error below 0.3 kg/m3.
    organic, other = miscdata.CRC_organic_data, miscdata.CRC_inorganic_data
    return float((organic if cas in organic.index else other).loc[cas]["rho"]) / 1000


def fire(ask: Any, by: float = 1.0, less: float = 0.0) -> Any:
    """Return what asks the library for a figure of fire, from one of its tables or by default."""
    return lambda cas, table=None: ask(CASRN=cas, method=table) * by - less


PHYSICAL: dict[str, Any] = {
    "molar_mass": (chemicals.MW, 0.001),
    "density": (density, 0.0003),
    "boiling_point": (lambda cas: chemicals.Tb(cas) - ZERO_C, 0.06),
    "flash_point": (fire(safety.T_flash, less=ZERO_C), 0.06),
    "lower_explosive_limit": (fire(safety.LFL, by=100), 0.001),
    "upper_explosive_limit": (fire(safety.UFL, by=100), 0.001),
    "autoignition": (fire(safety.T_autoignition, less=ZERO_C), 0.06),
}
TABLE = "table "  # what stands before the name of one of its tables, where it is not the default


def pressures_kpa(cas: str, temp_c: float) -> list[float]:
    t, wagner = temp_c + ZERO_C, ["Tc", "Pc", "A", "B", "C", "D"]

    def antoine(r: Any, base: float = 10.0) -> float:
        return vapor_pressure.Antoine(t, r.A, r.B, r.C, base=base)

    by_table: dict[str, Any] = {
        "Psat_data_WagnerMcGarry": lambda r: vapor_pressure.Wagner_original(t, *r[wagner]),
        "Psat_data_WagnerPoling": lambda r: vapor_pressure.Wagner(t, *r[wagner]),
        "Psat_data_VDI_PPDS_3": lambda r: vapor_pressure.Wagner(t, *r[wagner]),
        "Psat_data_AntoinePoling": antoine,
        "Psat_data_Perrys2_8": lambda r: dippr.EQ101(t, r.C1, r.C2, r.C3, r.C4, r.C5),
        # With the function's default base 10 these tables are wrong by powers of ten.
        "Psat_data_Landolt_Antoine": lambda r: antoine(r, math.e),
        "Psub_data_Landolt_Antoine": lambda r: antoine(r, math.e),
    }
    frames = ((getattr(vapor_pressure, name), ask) for name, ask in by_table.items())
    return [float(ask(frame.loc[cas])) / 1000 for frame, ask in frames if cas in frame.index]


def test_library_is_the_pinned_version() -> None:
    assert version("chemicals") == "1.5.2"


@pytest.mark.parametrize("name", AGENTS)
def test_registry_number_has_its_check_digit(name: str, knowledge: Knowledge) -> None:
    """CAS registry: last digit = sum of (position from the right x digit) modulo 10."""
    agent = knowledge.agents[name]
    if agent.cas is None:
        assert agent.id == "alkaline-surfactant", "only a mixture without recipe has no number"
        return
    *body, check = (int(c) for c in agent.cas if c != "-")
    assert sum(n * d for n, d in enumerate(reversed(body), 1)) % 10 == check


@pytest.mark.parametrize("name", AGENTS)
def test_copied_without_a_slip(name: str, knowledge: Knowledge) -> None:
    agent = knowledge.agents[name]
    cas = number_of(agent)
    for field, (ask, tolerance) in PHYSICAL.items():
        own: Quantity | None = getattr(agent.physical, field)
        for held in () if own is None else (own, *getattr(own, "also", ())):
            if held.source != LIBRARY or held.value is None:
                continue
            source = RACEMATE.get(agent.id, cas) if "138-86-3" in held.note else cas
            table = (held.at.removeprefix(TABLE),) if held.at.startswith(TABLE) else ()
            asked = (
                chemicals.iapws95_rho(293.15, 101_325) / 1000
                if "iapws95" in held.at
                else ask(source, *table)
            )
            assert held.value == pytest.approx(asked, abs=tolerance), field
    for point in agent.physical.vapour_pressure:
        for printed in (point, *point.also):
            if printed.source == LIBRARY:
                tables = pressures_kpa(cas, point.temp_c)
                assert any(printed.kpa == pytest.approx(kpa, rel=1e-3) for kpa in tables), printed
    row = safety.Ontario_exposure_limits_dict.get(number_of(agent, LISTED_AS), {})
    names = {"twa": "TWA", "stel": "STEL", "ceiling": "Ceiling"}
    held = {limit.basis for limit in agent.limits if limit.source == LIBRARY}
    listed = {each for each, name in names.items() if row.get(f"{name} (ppm)")}
    listed |= {each for each, name in names.items() if row.get(f"{name} (mg/m^3)")}
    assert held == listed, "its Ontario list is taken over whole"
    for limit in agent.limits:
        if limit.source == LIBRARY:
            column = f"{names[limit.basis]} ({limit.unit.replace('m3', 'm^3')})"
            assert limit.value == pytest.approx(row[column]), column
    if agent.hansen and agent.hansen.source == LIBRARY:
        held_hansen = (agent.hansen.d, agent.hansen.p, agent.hansen.h)
        assert held_hansen == pytest.approx(hansen(number_of(agent, STAND_IN)))
        assert agent.hansen.r0 is None, "the library gives no radius"


def hansen(cas: str) -> tuple[float, ...]:
    """Return the library's default Hansen parameters [MPa^0.5]."""
    ask = (solubility.hansen_delta_d, solubility.hansen_delta_p, solubility.hansen_delta_h)
    return tuple(f(cas) / 1000 for f in ask)


def test_no_material_claims_a_measured_sphere(knowledge: Knowledge) -> None:
    materials = knowledge.materials
    assert all(m.hansen is None or m.hansen.known != "measured" for m in materials.values())
    resin = materials["varnish-resin"].hansen
    assert resin is not None
    assert (resin.d, resin.p, resin.h) == pytest.approx(hansen("80-56-8"))


# What the library returns and the rules must not take over, each with the document that says so.
def test_what_the_library_gets_wrong_is_not_taken_over(knowledge: Knowledge) -> None:
    """NIOSH 1994: tetrachloroethylene noncombustible; skin notation of 2-butoxyethanol."""
    agents = knowledge.agents
    assert agents["ethanol"].carcinogen == ()
    assert agents["silica-gel-cobalt"].carcinogen != ()
    flash = agents["tetrachloroethylene"].physical.flash_point
    assert flash is not None
    assert flash.value is None
    assert {x.unit for x in agents["potassium-hydroxide"].limits} == {"mg/m3"}
    assert {x.unit for x in agents["silica-gel"].limits} == {"mg/m3"}
    assert any("OSHA" in s.text for s in agents["butoxyethanol-2"].skin)

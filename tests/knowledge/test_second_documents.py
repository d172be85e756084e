"""Where documents print different figures of an agent the one that protects is used, and all are shown."""

from typing import Any

import pytest
from pydantic import ValidationError

from tests.support.knowledge import shipped
from triage.handbook import handbook
from triage.knowledge.agents import PROTECTIVE, Agent, Physical
from triage.plan.substances import figures_apart, substance_of

DOCUMENT = "niosh-idlh-1994"
# What lies on the unsafe side: of a smell that is told to warn earlier, of a vapour told to be less.
LAXER = {
    "density": 0.5,
    "boiling_point": 200.0,
    "flash_point": 20.0,
    "lower_explosive_limit": 2.0,
    "upper_explosive_limit": 3.0,
    "autoignition": 500.0,
    "odour_threshold": 1.0,
}


def figure(value: float | None, *also: float, **more: Any) -> dict[str, Any]:
    beside = [{"value": each, "source": DOCUMENT, **more} for each in also]
    return {"value": value, "unit": "x", "source": "judgement", "also": beside}


@pytest.mark.parametrize("name", PROTECTIVE)
def test_the_figure_that_protects_is_the_agents_own(name: str) -> None:
    laxer = LAXER[name]
    safer = laxer * (2.0 if PROTECTIVE[name] is max else 0.5)
    held = getattr(Physical.model_validate({name: figure(safer, laxer)}), name)
    assert (held.value, held.also[0].value) == (safer, laxer)
    with pytest.raises(ValidationError, match=f"{name}: of what documents print"):
        Physical.model_validate({name: figure(laxer, safer)})


def test_the_higher_vapour_pressure_is_breathed_and_crystals_last_by_the_lower() -> None:
    point = {"temp_c": 20, "kpa": 2.0, "source": DOCUMENT}
    lower, higher = ({"kpa": kpa, "source": DOCUMENT} for kpa in (1.0, 3.0))
    held = Physical.model_validate({"vapour_pressure": [{**point, "also": [lower]}]})
    assert (held.vapour_pressure[0].kpa, held.vapour_pressure[0].least_kpa) == (2.0, 1.0)
    with pytest.raises(ValidationError, match="the higher protects"):
        Physical.model_validate({"vapour_pressure": [{**point, "also": [higher]}]})
    for wrong in (figure(10.0, 12.0, unit="degF"), figure(10.0, 12.0, follow=True)):
        with pytest.raises(ValidationError, match="Extra inputs"):
            Physical.model_validate({"flash_point": wrong})
    with pytest.raises(ValidationError, match="also needs a value"):
        Physical.model_validate({"flash_point": figure(None, 45.0)})


def disputed() -> tuple[Agent, Agent]:
    """Return an agent as held, and with a laxer flash point and vapour pressure beside its own."""
    agent = shipped().agents["heptane"]
    held = agent.model_dump(mode="json", by_alias=True)
    held["physical"] |= {
        "flash_point": {**held["physical"]["flash_point"], "also": figure(0.0, 11.0)["also"]},
        "vapour_pressure": [
            {**point, "also": [{"kpa": 0.5, "source": DOCUMENT}]}
            for point in held["physical"]["vapour_pressure"]
        ],
    }
    return agent, Agent.model_validate(held)


def test_what_another_document_prints_makes_no_air_better_and_is_told() -> None:
    agent, other = disputed()
    assert substance_of(shipped(), other) == substance_of(shipped(), agent)
    told = "\n".join(figures_apart(shipped(), other))
    held = agent.physical.vapour_pressure[0].kpa
    assert f"flash point: -7 degC [chemicals-1.5.2] is used, beside 11 [{DOCUMENT}]" in told
    assert (
        f"vapour pressure at 20 C: {held:g} kPa [chemicals-1.5.2] is used, beside 0.5 [{DOCUMENT}]"
        in told
    )


def test_the_page_of_an_agent_shows_each_figure_with_its_own_document() -> None:
    """Read from the entry: crystals of p-dichlorobenzene, whose vapour is printed high and low."""
    point = shipped().agents["paradichlorobenzene"].physical.vapour_pressure[0]
    page = handbook(shipped(), "agent", "paradichlorobenzene")
    line = next(each for each in page.splitlines() if f"kpa {point.kpa:g}" in each)
    own, beside = line.split("; also ")
    assert point.source in own
    assert f"kpa {point.also[0].kpa:g} [{point.also[0].source}" in beside

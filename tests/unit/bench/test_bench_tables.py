"""The data tables of the bench: what an entry may claim, and each way of being wrong is refused."""

import pytest
from pydantic import ValidationError

from tests.support.knowledge import shipped
from triage.knowledge.agents import Hansen
from triage.knowledge.tables import Dose, Gel, Salt


def test_suggestions_are_the_judgements_and_nothing_else():
    # a number without a source must be marked, and one with a source must not
    for dose in shipped().doses.values():
        assert dose.suggestion == (dose.source == "judgement"), dose.id


def test_status_checked_needs_more_than_memory():
    for table in (shipped().salts, shipped().gels, shipped().doses):
        for entry in table.values():
            if entry.source in {"from-memory", "judgement"}:
                assert entry.status != "checked", entry.id


def test_a_span_is_a_span():
    dose = Dose.model_validate(
        {"id": "a", "name": "a", "kind": "time", "because": "a", "status": "draft",
         "source": "derived", "span": {"least": 1, "most": 2, "unit": "h", "source": "derived"}}
    )  # fmt: skip
    assert (dose.least, dose.most, dose.unit) == (1, 2, "h")


GOOD_DOSE = {
    "id": "a", "name": "a", "kind": "time", "because": "a", "status": "draft", "source": "derived",
    "figure": {"value": 1, "unit": "h", "source": "derived"},
}  # fmt: skip
GOOD_SALT = {
    "id": "a", "name": "a", "formula": "A", "status": "draft", "source": "derived",
    "points": [{"temp_c": 20, "rh_percent": 50, "source": "derived"},
               {"temp_c": 30, "rh_percent": 48, "source": "derived"}],
}  # fmt: skip
GOOD_GEL = {
    "id": "a", "name": "a", "is_fit_for_drying": True, "status": "draft", "source": "derived",
    "capacity": [{"rh_percent": 20, "percent_of_dry_mass": 8, "source": "derived"},
                 {"rh_percent": 50, "percent_of_dry_mass": 20, "source": "derived"}],
}  # fmt: skip
GOOD_HANSEN = {"d": 16, "p": 5, "h": 7, "r0": 8, "source": "derived"}
CURVE = {"a0": 50, "a1": 0, "source": "derived", "range_source": "derived"}


@pytest.mark.parametrize(
    ("kind", "good", "change", "message"),
    [
        (Dose, GOOD_DOSE, {"colour": "red"}, "Extra inputs"),
        (Dose, GOOD_DOSE, {"figure": None}, "either figure or span"),
        (Dose, GOOD_DOSE, {"span": {"least": 1, "most": 2, "unit": "h", "source": "x"}},
         "either figure or span"),
        (Dose, GOOD_DOSE, {"figure": None,
                           "span": {"least": 3, "most": 2, "unit": "h", "source": "x"}}, "above most"),
        (Dose, GOOD_DOSE, {"figure": {"value": float("nan"), "unit": "h", "source": "x"}},
         "finite number"),
        (Dose, GOOD_DOSE, {"figure": {"value": "1", "unit": "h", "source": "x"}}, "valid number"),
        (Dose, GOOD_DOSE, {"figure": {"value": True, "unit": "h", "source": "x"}}, "valid number"),
        (Gel, GOOD_GEL, {"is_fit_for_drying": "yes"}, "valid boolean"),
        (Dose, GOOD_DOSE, {"figure": {"value": 1, "unit": "", "source": "x"}}, "at least 1 character"),
        (Dose, GOOD_DOSE, {"id": "Not Kebab"}, "should match pattern"),
        (Dose, GOOD_DOSE, {"kind": "spell"}, "Input should be"),
        (Salt, GOOD_SALT, {"points": []}, "needs a polynomial"),
        (Salt, GOOD_SALT, {"points": GOOD_SALT["points"][::-1]}, "must rise"),
        (Salt, GOOD_SALT, {"points": [{"temp_c": 20, "rh_percent": 150, "source": "x"}] * 2},
         "less than or equal to 100"),
        (Salt, GOOD_SALT, {"polynomial": {**CURVE, "least_c": 30, "most_c": 5}}, "not below most_c"),
        (Salt, GOOD_SALT, {"caution": "hot"}, "go together"),
        (Gel, GOOD_GEL, {"capacity": GOOD_GEL["capacity"][::-1]}, "must rise"),
        (Gel, GOOD_GEL, {"capacity": GOOD_GEL["capacity"][:1]}, "at least 2"),
        (Gel, GOOD_GEL, {"caution_source": "derived"}, "go together"),
        (Hansen, GOOD_HANSEN, {"p": -1}, "greater than or equal to 0"),
        (Hansen, GOOD_HANSEN, {"r0": 0}, "greater than 0"),
    ],
)  # fmt: skip
def test_wrong_entries_are_refused(kind, good, change, message):
    sound = kind.model_validate(good)
    with pytest.raises(ValidationError, match="frozen"):
        sound.name = "other"
    with pytest.raises(ValidationError, match=message):
        kind.model_validate({**good, **change})

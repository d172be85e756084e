"""A rung that seldom worked is skipped with one key; all faces write the same bytes."""

from datetime import timedelta
from pathlib import Path

import pytest

from tests.support.builders import OILY
from tests.support.intake import TOLD
from tests.tui.conftest import Opened
from tests.tui.driving import NOON, Hand, driven, next_step
from tests.tui.test_same_record import in_plain_lines
from triage import cli
from triage.case.changes import new_attempt, new_case, with_attempt
from triage.case.models import Case
from triage.case.store import create_case
from triage.commands.common import Arguments
from triage.errors import TriageError
from triage.service.acts import accept_method, accept_suggestion, suggestions_for
from triage.service.workshop import Workshop

SELDOM, RUNG, METHOD = "worked 0 of 9 times here", "f1-detergent-brush", "detergent-brush"


def bee(case_id: str) -> Case:
    # Blotting comes first on this ladder, and detergent is a grade above it.
    skip = {"at": NOON - timedelta(days=1), "kind": "skip-method", "finding": "f1", "reason": "x"}
    finding = {"id": "f1", "zone": "thorax-hairy", "signs": OILY}
    case = new_case(case_id, "Bee", taxon="bees-wasps", answers=TOLD, findings=[finding])
    skips = ({**skip, "method": "blot-dry"},)
    return Case.model_validate({**dict(case), "overrides": skips})


def shop_on(folder: Path, opened_on: Opened) -> Workshop:
    """Nine bees on which a brush with detergent did nothing, and one more."""
    folder.mkdir()
    create_case(folder, bee("bee"))
    shop = opened_on(folder, Hand())
    rung = shop.plan(shop.load("bee")).step(RUNG)
    assert rung is not None
    told = {"finding": "f1", "zone": "thorax-hairy", "deposit": rung.deposit, "method": METHOD}
    tried = new_attempt("a1", NOON - timedelta(days=3), RUNG, "no-change", **told)
    for number in range(9):
        create_case(folder, with_attempt(bee(f"old-{number}"), tried))
    return shop


def written(shop: Workshop) -> bytes:
    return (shop.cases / "bee.yaml").read_bytes()


def by_command(shop: Workshop, monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    monkeypatch.setattr(Arguments, "workshop", lambda *_: shop)
    return cli.main(list(words))


async def test_one_key_skips_it_and_all_faces_write_the_same(
    tmp_path: Path, opened_on: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    faces = ("keys", "row", "plain", "step", "method")
    keys, row, plain, step, method = shops = [shop_on(tmp_path / each, opened_on) for each in faces]
    async with driven(keys, case="bee", clock=Hand()) as driver:
        assert SELDOM in driver.text
        await driver.to_row(f"step-{RUNG}")
        await driver.press("k")
        assert "skipped as the record suggests" in driver.text
        assert driver.screen.plan.step(RUNG) is None
        assert not driver.screen.skips
    async with driven(row, case="bee", clock=Hand()) as driver:
        await driver.to_row(f"skip-{RUNG}")
        await driver.press("enter")
        assert driver.screen.plan.step(RUNG) is None
    said = in_plain_lines(plain, "#skip as suggested", case="bee")
    assert SELDOM in said
    assert by_command(step, monkeypatch, "worked", "bee", "--accept", RUNG) == 0
    assert by_command(method, monkeypatch, "skip", "bee", METHOD, "--as-suggested") == 0
    assert len({written(shop) for shop in shops}) == 1
    override = keys.load("bee").overrides[-1]
    assert (override.kind, override.finding, override.method) == ("skip-method", "f1", METHOD)
    assert override.reason.startswith("suggested by the record: ")
    assert SELDOM in override.reason

    # Taken back: appended, nothing deleted, the same from every face, and suggested again.
    async with driven(keys, case="bee", clock=Hand()) as driver:
        await driver.press("z")
        await driver.write("meant another", "enter")
        await driver.until(lambda: driver.screen.plan.step(RUNG), "offered again")
        assert driver.screen.skips
    row.undo("bee", "meant another")
    in_plain_lines(plain, "#take back, with a reason", "meant another", case="bee")
    assert by_command(step, monkeypatch, "undo", "bee", "--reason", "meant another") == 0
    again = ("skip", "bee", METHOD, "--finding", "f1", "--again", "--reason", "meant another")
    assert by_command(method, monkeypatch, *again) == 0
    assert len({written(shop) for shop in shops}) == 1
    kinds = [override.kind for override in keys.load("bee").overrides]
    assert kinds == ["skip-method", "skip-method", "offer-method-again"]
    plan = keys.plan(keys.load("bee"))
    assert plan.step(RUNG) is not None
    assert [each.step for each in suggestions_for(keys, keys.load("bee"), plan)] == [RUNG]


async def test_without_a_suggestion_the_key_is_not_offered(
    tmp_path: Path, opened_on: Opened
) -> None:
    shop = shop_on(tmp_path / "cases", opened_on)
    for number in range(9):
        (shop.cases / f"old-{number}.yaml").unlink()
    before = written(shop)
    async with driven(shop, case="bee", clock=Hand()) as driver:
        assert "Skip it" not in driver.text
        await driver.press("k", "f9")  # asks for a reason of one's own
        assert driver.screen.plan.step(RUNG) is not None
    assert written(shop) == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("skip", "bee", "blot-dry", "--as-suggested"), 'nothing suggests skipping "blot-dry"'),
        (("skip", "bee", "no-such", "--as-suggested"), "no-such"),
        (("skip", "bee", METHOD), "--reason"),
        (("skip", "bee", METHOD, "--as-suggested", "--reason", "x"), "not allowed with"),
        (("skip", "bee", METHOD, "--as-suggested", "--again"), "--again takes no suggestion"),
        (("skip", "bee", METHOD, "--finding", "f1", "--again", "--reason", "x"), "is not skipped"),
        (("skip", "bee", METHOD, "--finding", "f1", "--again", "--reason", " "), "needs a reason"),
        (("worked", "bee", "--accept", "f1-blot-dry"), "nothing suggests"),
    ],
)
def test_a_wrong_skip_is_one_line(
    tmp_path: Path, opened_on: Opened, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...], says: str,
) -> None:  # fmt: skip
    shop = shop_on(tmp_path / "cases", opened_on)
    before = written(shop)
    assert by_command(shop, monkeypatch, *words) == 2
    said = capsys.readouterr()
    assert says in said.err
    assert said.err.count("\n") == 1
    assert said.out == ""
    assert written(shop) == before


def test_the_plan_on_the_command_line_says_it(
    tmp_path: Path, opened_on: Opened, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    shop = shop_on(tmp_path / "cases", opened_on)
    assert by_command(shop, monkeypatch, "plan", "bee") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"own record: {SELDOM}, about" in said
    assert f"could be skipped: {RUNG}." in said
    assert f"triage worked bee --accept {RUNG}" in said


def test_an_undo_takes_back_what_came_last(tmp_path: Path, opened_on: Opened) -> None:
    shop = shop_on(tmp_path / "cases", opened_on)
    hand = shop.clock
    assert isinstance(hand, Hand)
    accept_suggestion(shop, "bee", RUNG)
    hand.on(60)
    step = next_step(shop, "bee")
    shop.record("bee", step.id, next(iter(step.outcomes)), observed="nothing")
    hand.on(60)
    case = shop.undo("bee", "wrong key")
    assert case.attempts[-1].corrects == "a1"
    case = shop.undo("bee", "and the skip")
    assert case.overrides[-1].kind == "offer-method-again"
    # The skip of the day before is the last one left.
    case = shop.undo("bee", "and the first")
    assert case.overrides[-1].method == "blot-dry"
    with pytest.raises(TriageError, match="no attempt and no skip"):
        shop.undo("bee", "again")
    with pytest.raises(TriageError, match="nothing suggests"):
        accept_method(shop, "bee", "f2", METHOD)
    assert written(shop).count(b"offer-method-again") == 2

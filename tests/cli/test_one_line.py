"""Words that no command can use: one line with what is wrong, exit code 2, nothing else."""

import pytest

from tests.support.knowledge import CASES
from tests.support.running import Runner

BAD = [
    ("plan nowhere", 'no case "nowhere"'),
    ("nowhere", "triage --demo"),
    ("plann x", "triage --help"),
    ("see x --zon", "triage see --help"),
    ("plan nowhere.yaml", "no such file"),
    ("new x --taxon beatles", 'did you mean "beetles"'),
    ("list --rules nowhere", "no such rules folder"),
    ("list --bench nowhere.yaml", "no such file"),
    ("air nosuch --ml 1", "unknown agent"),
    ("air ethanl --ml 1", 'did you mean "ethanol"?'),
    ("air ethanol --ml 0", "above zero"),
    ("air ethanol --ml -3", "above zero"),
    ("air ethanol --ml nan", "finite"),
    ("air ethanol --ml abc", "not a number"),
    ("air ethanol", "--ml"),
    ("air ethanol --ml 1 --volume 0", "room volume"),
    ("air ethanol --ml 1 --volume -5", "room volume"),
    ("air ethanol --ml 1 --air-changes -1", "air changes"),
    ("air ethanol --ml 1 --air-changes 5000", "air changes"),
    ("air ethanol --ml 1 --air-changes inf", "air changes"),
    ("air ethanol --ml 1 --control fan", "unknown control"),
    ("air ethanol --ml 1 --judge-by nobody", "unknown authority"),
    ("air ethanol --ml 1 --minutes -1", "minutes"),
    ("air ethanol --ml 1 --strength 0", "strength"),
    ("air ethanol --ml 1 --passes 0", "passes"),
    ("air ethanol --ml 1 --bench nosuch.yaml", "nosuch.yaml"),
    ("mix ethanol --to 99 --stock 50 --ml 10", "weaker than the target"),
    ("mix ethanol --to 70 --ml 10", "not known"),
    ("mix ethanol --to 70 --stock 96 --ml 0", "total volume"),
    ("mix ethanol --to 70 --stock 96 --grams 5 --basis v/v", "by mass only"),
    ("mix acetic-acid --to-ph 2 --ml 10 --stock 5", "a pH is worked out only for"),
    ("mix hydrochloric-acid-dilute --to-ph 9 --ml 10 --stock 5", "pH"),
    ("chamber --litres 0", "box volume"),
    ("chamber --litres 2 --temp 70", "temperature"),
    ("chamber --litres 2 --salt sodium-chlorid", 'did you mean "sodium-chloride"?'),
    ("chamber --litres 2 --salt potassium-nitrate --temp 2", "no humidity is known"),
    ("box --litres 8 --rh 20 --to-rh 50", "damper"),
    ("box --litres 8 --to-rh 1", "humidity"),
    ("box --litres 8 --fumigant naphthalene --temp 40", "vapour pressure"),
    ("alcohol --stock 80 --fluid 0", "fluid per gram"),
    ("alcohol --stock 180 --fluid 10", "fluid strength"),
    ("bursts 30", "longer than"),
    ("drops", "give a number of drops or an amount"),
    ("drops 5 --ml 2", "give a number of drops or an amount"),
    ("drops 5 --counted 35", "give both"),
    ("drops 5 --counted 5 --filled 1", "too few to calibrate"),
    ("drops 5 --agent acetone", "count your own"),
    ("drops --ml 0.01", "less than one drop"),
    ("bursts 8 8 8 8", "are allowed"),
    ("serve --address 0.0.0.0", "no login"),
    ("serve --port 0", "port"),
    ("serve --port 70000", "port"),
    ("serve --port x", "invalid int"),
    ("serve nosuch", "no case"),
    ("sheet ROSE --format pdf", "give --out"),
    ("sheet ROSE --out x.docx", "which format"),
    ("sheet ROSE --format docx", "invalid choice"),
    ("sheet ROSE --out nowhere/deep/x.html", "nothing was changed"),
    ("completion tcsh", "triage completion --help"),
    ("compare a.png b.png --patch 1,2,3", "is no patch"),
    ("compare a.png b.png --patch-after 1,2,3,4", "first photo is missing"),
    ("compare a.png b.png --um-per-pixel 0", "size of a pixel"),
    ("handbook zone nosuch", "nosuch"),
    ("explain BEE --step f9-nothing", "f9-nothing"),
    ("explain BEE --step f1-blot-dri", "f1-blot-dry"),
    ("explain BEE --method heptan-brush", "heptane-brush"),
    ("explain BEE --finding f9", "f9"),
    ("whatif BEE hydration=soggy", "soggy"),
    ("whatif BEE blotter=nothing", "blotter"),
]
NAMED = {"ROSE": "rose-chafer-plate-1", "BEE": "bumblebee-plate-3"}


@pytest.mark.parametrize(("words", "says"), BAD)
def test_bad_input_is_one_line(words: str, says: str, triage: Runner) -> None:
    told = triage(*(str(CASES / f"{NAMED[w]}.yaml") if w in NAMED else w for w in words.split()))
    assert told.returncode == 2
    assert told.stdout == ""
    assert len(told.stderr.strip().splitlines()) == 1, told.stderr
    assert says in told.stderr

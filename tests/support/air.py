"""Three solvents and a room without uncertainty, for the arithmetic of the air.

Limits are those printed in NIOSH and OSHA pages or 40 CFR 751, converted at 25 C.
"""

from triage.exposure.gas import mg_per_m3_from_ppm
from triage.exposure.space import EXACT, Room
from triage.exposure.substance import Limit, Substance

M = 165.83


def ppm(value):
    return mg_per_m3_from_ppm(value, M)


PERC = Substance(
    "tetrachloroethylene", M, 1.623, ((20.0, 1.877), (25.0, 2.464)), None, None,
    (
        Limit("osha", "twa", ppm(100)), Limit("osha", "ceiling", ppm(200)),
        Limit("osha", "peak", ppm(300), averaging_min=5.0), Limit("epa", "twa", ppm(0.14)),
        Limit("ontario", "stel", ppm(100)), Limit("niosh", "idlh", ppm(150)),
    ),
    ("carcinogen",),
)  # fmt: skip
ACETONE = Substance(
    "acetone", 58.08, 0.791, ((20.0, 24.75), (25.0, 30.81)), 2.5, -20.0,
    (Limit("niosh", "twa", 590.0), Limit("osha", "twa", 2400.0)),
)  # fmt: skip
TOLUENE = Substance(
    "toluene", 92.14, 0.867, ((20.0, 2.917), (25.0, 3.797)), 1.0, 4.0,
    (Limit("niosh", "twa", 375.0), Limit("niosh", "stel", 560.0)),
)  # fmt: skip
OUR_ROOM = Room(30.0, 0.5, band=EXACT)

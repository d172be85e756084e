"""What is known of each zone of an animal: a sign, a colour and words, on drawing and list."""

from __future__ import annotations

from dataclasses import dataclass

from triage.case.models import Case
from triage.looks import is_clean
from triage.plan.model import Plan
from triage.show.words import STATE_SIGNS, state_word
from triage.tui.words import CLEAN_SIGN

# What is to be done, what waits for an answer, what is done, what is closed. Only colours that
# stand out from the ground in every theme.
STYLES = {
    "o": "bold $text-primary",
    "?": "bold $text-secondary",
    "+": "$foreground",
    "=": "$foreground",
    "#": "$foreground",
    "x": "$text-error",
}
LEGEND = "o to clean  ? not known  x stopped\n+ = # done or left; none: not seen yet"


@dataclass(frozen=True, slots=True)
class ZoneState:
    """One finding of a zone, or that the zone is clean; ``side`` None or both is the whole zone."""

    zone: str
    side: str | None
    sign: str
    words: str

    @property
    def style(self) -> str:
        """The colour of the sign."""
        return STYLES[self.sign]

    def is_at(self, zone: str, side: str | None) -> bool:
        """Return whether it is about a zone on a side of the animal."""
        return self.zone == zone and (side is None or self.side in {side, "both", None})


def zone_states(case: Case | None, plan: Plan | None) -> tuple[ZoneState, ...]:
    """Return what was found in the zones, what is to be cleaned first."""
    clean = {found.id for found in case.findings if is_clean(found)} if case else set()
    states = []
    for found in plan.findings if plan else ():
        sign = STATE_SIGNS[found.state][0]
        side = f"{found.side}: " if found.side else ""
        sure = f", {found.standing}" if found.deposit else ""
        words = f"{sign} {side}{found.deposit_name}{sure} - {state_word(found)}"
        if found.id in clean:
            sign, words = CLEAN_SIGN[0], f"{CLEAN_SIGN}{f': {found.side}' if found.side else ''}"
        states.append(ZoneState(found.zone, found.side, sign, words))
    return tuple(sorted(states, key=lambda each: [*STYLES].index(each.sign)))

"""Agents and benches as the air arithmetic sees them, and what the attempts of a day released."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime, timedelta
from functools import cache

from triage.case.models import Attempt, Case
from triage.case.naming import SUFFIX
from triage.case.profile import Bench
from triage.exposure.day import DayLedger, Release
from triage.exposure.gas import mg_per_m3_from_ppm
from triage.exposure.space import Room, with_control
from triage.exposure.substance import Limit, Substance
from triage.knowledge.agents import Agent, Basis, Figure
from triage.knowledge.agents import Limit as PublishedLimit
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method, Strength

PERCENT = 100.0
MG_PER_G = 1000.0
LONGEST_RELEASE_MIN = 480.0


def limit_mg_per_m3(
    knowledge: Knowledge, limit: PublishedLimit, molar_mass_g_per_mol: float | None
) -> float | None:
    """Return a published limit in mg/m3, converted at the temperature of its authority.

    None if it is in ppm and no molar mass is known.
    """
    if limit.unit == "mg/m3":
        return limit.value
    if molar_mass_g_per_mol is None:
        return None
    temp_c = knowledge.authorities[limit.authority].converts_at.value
    return float(mg_per_m3_from_ppm(limit.value, molar_mass_g_per_mol, temp_c))


def substance_of(knowledge: Knowledge, agent: Agent) -> Substance:
    """Return an agent as the air arithmetic sees it; limits are those of its vapour."""
    vapour = knowledge.agents[agent.vapour_of] if agent.vapour_of else agent
    mass = vapour.physical.value("molar_mass")
    limits = []
    for limit in vapour.limits:
        value = limit_mg_per_m3(knowledge, limit, mass)
        if value is None or limit.basis is Basis.ACTION or not limit.in_force:
            continue
        limits.append(
            Limit(
                authority=limit.authority,
                shown_as=knowledge.authorities[limit.authority].short,
                basis=limit.basis.value,  # type: ignore[arg-type]
                value_mg_per_m3=value,
                averaging_min=limit.averaging_min or None,
                source=limit.source,
            )
        )
    points = tuple((p.temp_c, p.kpa) for p in vapour.physical.vapour_pressure)
    flags = tuple(sorted({*agent.hazards, *(("skin",) if agent.skin else ())}))
    return Substance(
        key=agent.id,
        molar_mass_g_per_mol=mass,
        density_g_per_ml=agent.physical.value("density"),
        vapour_points=points,
        lel_percent=vapour.physical.value("lower_explosive_limit"),
        flash_point_c=agent.physical.value("flash_point"),
        limits=tuple(limits),
        flags=flags,
        airborne="vapour" if _evaporates(agent) else "none",
        silent=tuple(
            (each.id, each.short)
            for each in knowledge.authorities.values()
            if each.id not in {limit.authority for limit in limits if limit.basis != "idlh"}
        ),
    )


def figures_apart(knowledge: Knowledge, agent: Agent) -> Iterator[str]:
    """Yield each figure behind the air of an agent on which documents disagree, with them all."""
    vapour = knowledge.agents[agent.vapour_of] if agent.vapour_of else agent
    told = [
        (
            f"vapour pressure at {p.temp_c:g} C",
            "kPa",
            p.source,
            p.kpa,
            [(each.source, each.kpa) for each in p.also],
        )
        for p in vapour.physical.vapour_pressure
    ]
    for held, name in (
        (agent, "density"),
        (agent, "flash_point"),
        (vapour, "lower_explosive_limit"),
    ):
        figure: Figure | None = getattr(held.physical, name)
        if figure is not None and figure.value is not None:
            beside = [(each.source, each.value) for each in figure.also]
            told.append((name.replace("_", " "), figure.unit, figure.source, figure.value, beside))
    for name, unit, source, value, beside in told:
        others = ", ".join(f"{other:g} [{by}]" for by, other in beside if other != value)
        if others:
            own = f"{value:g} {unit} [{source}]"
            yield f"Documents disagree on the {name}: {own} is used, beside {others}."


def _evaporates(agent: Agent) -> bool:
    """Return whether the agent can reach the air: it has vapour data or limits, and a share."""
    share = agent.vapour_share
    if share is not None and share.value == 0.0:
        return False
    return bool(agent.physical.vapour_pressure or agent.limits or agent.vapour_of)


def strength_fraction(strength: Strength | None) -> float:
    """Return the share of the liquid that is the agent, 1 where the strength is not a percent."""
    if strength is None or not strength.unit.startswith("%"):
        return 1.0
    return min(strength.value / PERCENT, 1.0)


def open_fraction(method: Method | None) -> float:
    """Return the mass fraction of a liquid that is the main agent and stands open."""
    if method is None:
        return 1.0
    return strength_fraction(method.strength) * (method.amount.open_share if method.amount else 1.0)


def release_min_of(
    knowledge: Knowledge, method: Method | None, taken_min: float | None = None
) -> float:
    """Return the shortest time in which the liquid of one pass can evaporate [min].

    ``taken_min`` is how long the pass really took, where that was written down. A closed jar of
    water-free solvent gives nothing off over its days: what it loses leaves when it is opened and
    the insect drained, so its dwell is not counted.
    """
    if method and knowledge.techniques[method.technique].water_free:
        return knowledge.judgement.least_release_min.value
    dwell = method.dwell_s.start / 60.0 if method and method.dwell_s else 0.0
    taken = dwell if taken_min is None else taken_min
    return min(max(knowledge.judgement.least_release_min.value, taken), LONGEST_RELEASE_MIN)


def bare_room(knowledge: Knowledge, bench: Bench) -> Room:
    """Return the bench's room without its control; unknown air changes count as none."""
    judgement, room = knowledge.judgement, bench.room
    return Room(
        volume_m3=room.volume_m3 or judgement.room_volume_m3.value,
        air_changes_per_h=room.air_changes_per_h,
        mixing_factor=judgement.mixing_factor.value,
        near_field_radius_m=room.face_m or judgement.near_field_radius_m.value,
        air_speed_m_per_min=judgement.air_speed_m_per_min.value,
        temp_c=room.temp_c,
        altitude_m=room.altitude_m,
    )


def room_of(knowledge: Knowledge, bench: Bench) -> Room:
    """Return the bench's room with the control in use; an unknown control counts as none."""
    control = knowledge.controls.get(bench.room.control)
    room = bare_room(knowledge, bench)
    return with_control(room, control) if control else room


def is_plain(knowledge: Knowledge, agent: str) -> bool:
    """Return whether an agent is neither hazardous nor limited, such as water."""
    entry = knowledge.agents[agent]
    return not entry.hazards and not entry.limits


def further_of(knowledge: Knowledge, method: Method) -> tuple[tuple[str, float], ...]:
    """Return (agent, mass fraction) of the further agents in the liquid of a method.

    Left out are those that neither harm nor have a limit, and those of no known strength.
    """
    found = []
    for part in method.with_:
        is_counted = part.strength is not None and part.strength.unit.startswith("%")
        if is_counted and not is_plain(knowledge, part.agent):
            found.append((part.agent, strength_fraction(part.strength)))
    return tuple(found)


def gives_nothing(knowledge: Knowledge, method: Method) -> bool:
    """Return whether no agent in the liquid of a method harms or has a limit."""
    main = method.agent
    return (main is None or is_plain(knowledge, main)) and not further_of(knowledge, method)


def mg_per_ml(knowledge: Knowledge, method: Method | None, agent: str) -> float:
    """Return the mass that counts as evaporated for each mL of a method's liquid [mg/mL].

    That of its main agent, all that is put down in the open; 0 where the density is not known.
    """
    density = knowledge.agents[agent].physical.value("density") or 0.0
    return density * open_fraction(method) * MG_PER_G


def given_off(
    knowledge: Knowledge,
    method: Method | None,
    agent: str | None,
    amount_ml: float,
    substance: Callable[[str], Substance],
) -> list[tuple[Substance, float]]:
    """Return each agent that a liquid gives off, and its mass [mg]; all of it counts as evaporated.

    Parameters
    ----------
    agent     the main agent; None leaves it out: the further agents of the method's liquid only
    amount_ml working liquid [mL]
    substance gives an agent as the arithmetic sees it
    """
    parts = [] if agent is None else [(agent, mg_per_ml(knowledge, method, agent))]
    for each, share in further_of(knowledge, method) if method else ():
        # One of unknown density is taken as dense as water.
        parts.append((each, (substance(each).density_g_per_ml or 1.0) * share * MG_PER_G))
    found = [(substance(each), amount_ml * per_ml) for each, per_ml in parts]
    return [(each, mg) for each, mg in found if each.airborne != "none" and mg > 0.0]


ROUND_MIN = 5.0
WINDOW = timedelta(hours=24)
ACT = ("at", "step", "method", "agent", "outcome", "amount_ml", "minutes")


def earliest(now: datetime) -> datetime:
    """Return the moment before which no attempt can still count."""
    return now - WINDOW - timedelta(minutes=LONGEST_RELEASE_MIN)


def _not_known(
    knowledge: Knowledge, attempt: Attempt, method: Method | None, main: str | None
) -> str:
    """Return why it is not known what an attempt released, empty if it is known."""
    if attempt.agent is not None and attempt.agent not in knowledge.agents:
        return f'agent "{attempt.agent}" is not known'
    if attempt.method is not None and method is None:
        return f'method "{attempt.method}" is not known'
    if attempt.amount_ml is None:
        agents = [main] if main is not None and not is_plain(knowledge, main) else []
        agents += [agent for agent, _ in further_of(knowledge, method)] if method else []
        for agent in agents:
            entry = knowledge.agents[agent]
            if substance_of(knowledge, entry).airborne != "none":
                return f"no amount of {entry.name} is written down"
    elif attempt.amount_ml > 0 and main is None and method is None:
        return "it is not written down what was used"
    return ""


def day_ledger(
    knowledge: Knowledge, cases: Iterable[Case], now: datetime, unread: Iterable[str] = ()
) -> DayLedger:
    """Return the ledger of the last 24 hours before ``now``.

    Parameters
    ----------
    cases  every case that may hold an attempt of that time
    now    the present moment; minutes count from midnight in its time zone
    unread files that may hold further attempts, each with its fault in words

    Returns
    -------
    Ledger with every attempt whose release had not ended 24 h ago. What lies after ``now`` (a clock
    set back, another time zone) counts as released now. An attempt that does not say what it
    released is named among the unknown. Corrected attempts count as corrected.
    """
    midnight = now.replace(hour=0, minute=0, second=0, microsecond=0).astimezone(UTC)
    moment = now.astimezone(UTC)
    releases: list[Release] = []
    late: list[Release] = []
    unknown = list(unread)
    ahead: list[str] = []
    by_case: set[tuple[str, str]] = set()
    told: dict[tuple[object, ...], str] = {}

    @cache
    def substance(agent: str) -> Substance:
        return substance_of(knowledge, knowledge.agents[agent])

    for case in cases:
        for attempt in case.effective_attempts():
            if attempt.outcome == "not-done":
                continue
            # Two records of one specimen, merged or told in the room, may both hold one act.
            act = (case.origin, *(getattr(attempt, name) for name in ACT))
            if told.setdefault(act, case.id) != case.id:
                continue
            at, method = attempt.at.astimezone(UTC), knowledge.methods.get(attempt.method or "")
            # The main agent: as written down, else that of the method.
            main = attempt.agent or (method.agent if method else None)
            lasting = release_min_of(knowledge, method, attempt.minutes)
            if at + timedelta(minutes=lasting) < moment - WINDOW:
                continue
            name = f"{case.id}{SUFFIX} attempt {attempt.id}"
            why = _not_known(knowledge, attempt, method, main)
            if why:
                unknown.append(f"{name}: {why}")
            known = main if main in knowledge.agents else None
            agents = {known, *(part.agent for part in method.with_)} if method else {known}
            by_case |= {(agent, f"case {case.id}") for agent in agents if agent is not None}
            minute = _minutes_between(midnight, min(at, moment))
            masses = given_off(knowledge, method, known, attempt.amount_ml or 0.0, substance)
            made = [Release(minute, mg, each.key, lasting) for each, mg in masses]
            if at > moment:
                late += made
                # Clocks of two machines differ a little.
                if made and at - moment > timedelta(minutes=ROUND_MIN):
                    ahead.append(name)
            else:
                releases += made
    now_min = _now_min(releases, late, _minutes_between(midnight, moment))
    releases += [Release(now_min or 0.0, r.amount_mg, r.agent, r.release_min) for r in late]
    used = {release.agent for release in releases}
    kept = tuple(substance(key) for key in sorted(used))
    return DayLedger(
        tuple(releases), kept, now_min, tuple(unknown), tuple(ahead), tuple(sorted(by_case))
    )


def _minutes_between(start: datetime, end: datetime) -> float:
    # Whole seconds: the same release is the same number whenever it is looked at.
    return (end - start) // timedelta(seconds=1) / 60


def _now_min(releases: list[Release], late: list[Release], now_min: float) -> float | None:
    """Return the minute at which the next step begins, rounded down: less airing, never more.

    Within a span of a few minutes the plan stays the same to the byte; on a day without releases
    the time of day says nothing and is left out.
    """
    if not releases and not late:
        return None
    rounded = now_min // ROUND_MIN * ROUND_MIN
    return max([rounded, *(release.minute_of_day for release in releases)])

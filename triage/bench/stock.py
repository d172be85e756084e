"""Liquids from the user's own stock: dilution, molarity, pH, body water, and drops."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from triage.errors import OutOfRange, TriageError
from triage.units import positive, within

Basis = Literal["v/v", "w/w", "w/v", "mol/L"]
WATER_G_PER_ML = 1.0


@dataclass(frozen=True, slots=True)
class Bottle:
    """A stock as its label tells; ``into_water``: acids and whatever else heats up."""

    strength: float
    basis: Basis
    density_g_per_ml: float | None = None
    into_water: bool = False


@dataclass(frozen=True, slots=True)
class MakeUp:
    """Stock and water of a working solution: mL by volume, g by mass.

    By volume the water is a guide only: the mark decides, because mixing can shrink the volume.
    """

    stock: float
    water: float
    sentence: str


def _unit(basis: Basis) -> str:
    return basis if basis == "mol/L" else f"% {basis}"


def _strength(name: str, strength: float, basis: Basis) -> float:
    most = math.inf if basis == "mol/L" else 100.0
    return within(name, positive(name, strength, _unit(basis)), 0.0, most, _unit(basis))


def _share(target_strength: float, basis: Basis, bottle: Bottle) -> float:
    """Return target/stock [fraction] after every reason to refuse."""
    target = _strength("target strength", target_strength, basis)
    if bottle.basis != basis:
        raise TriageError(
            f"the stock is given in {bottle.basis} and the target in {basis}",
            mend="give both on the same basis; they differ by the densities",
        )
    stock = _strength("stock strength", bottle.strength, basis)
    if stock < target:
        raise OutOfRange(
            f"the stock ({stock:g} {basis}) is weaker than the target ({target:g} {basis})",
            mend="use a stronger stock or a weaker working solution",
        )
    return target / stock


def make_up(target_strength: float, basis: Basis, bottle: Bottle, total_ml: float) -> MakeUp:
    """Return how much stock to measure for a volume [mL] of a solution, topped up to the mark.

    C1 V1 = C2 V2. The difference of the volumes is never to be measured: liquids that mix with
    water can shrink, and the result would be too strong. Of strengths by mass the solution is taken
    as dense as water.

    Source: conservation of solute; worked example: 70 mL of 95 % made up to 95 mL is 70 %
    (histology note on preservatives).
    """
    total = positive("total volume", total_ml, "mL")
    share = _share(target_strength, basis, bottle)
    if basis == "w/w":
        if bottle.density_g_per_ml is None:
            raise TriageError(
                "strengths by mass cannot be measured by volume without both densities",
                mend="weigh it, or give the densities of stock and solution in g/mL",
            )
        share *= WATER_G_PER_ML / positive("stock density", bottle.density_g_per_ml, "g/mL")
        if share > 1.0:
            raise OutOfRange(
                "by these densities more stock than solution would be needed",
                mend="check both densities and strengths",
            )
    stock = total * share
    water = total - stock
    label = f"{bottle.strength:g} {_unit(basis)}"
    sentence = (
        f"Measure {stock:.3g} mL of the {label} stock and top up with water to the "
        f"{total:.3g} mL mark (about {water:.3g} mL; the mark decides)."
    )
    if math.isclose(stock, total, rel_tol=1e-9):
        sentence = f"Use {total:.3g} mL of the {label} stock as it is."
    elif bottle.into_water:
        sentence = (
            f"Put in a little less than {water:.3g} mL of water, add {stock:.3g} mL of the "
            f"{label} stock slowly, then top up with water to the {total:.3g} mL mark; "
            "never pour water onto the stock."
        )
    return MakeUp(stock, water, sentence)


def weigh_up(target_percent: float, stock_percent: float, total_g: float) -> MakeUp:
    """Return stock and water of a mass [g] of a solution by mass [% w/w]: masses add up exactly."""
    total = positive("total mass", total_g, "g")
    stock = total * _share(target_percent, "w/w", Bottle(stock_percent, "w/w"))
    water = total - stock
    sentence = f"Weigh {stock:.3g} g of the {stock_percent:g} % w/w stock"
    sentence += f" and {water:.3g} g of water." if water > 0 else " and use it as it is."
    return MakeUp(stock, water, sentence)


def molarity(percent_w_w: float, density_g_per_ml: float, molar_mass_g_per_mol: float) -> float:
    """Return the concentration [mol/L] of a stock from its label, or [g/L] for a molar mass of 1.

    M = 10 w% rho / MW; rho must belong to the same w% and temperature.
    Source: tables of concentrated reagents print the same arithmetic.
    """
    percent = within("strength", percent_w_w, 0.0, 100.0, "% w/w")
    density = positive("density", density_g_per_ml, "g/mL")
    return 10.0 * percent * density / positive("molar mass", molar_mass_g_per_mol, "g/mol")


def acid_ml_per_litre(ph: float, stock_mol_per_l: float) -> float:
    """Return the strong-acid stock [mL] in one litre of a bath of the given pH, 1 to 6."""
    wanted = math.pow(10.0, -within("pH", ph, 1.0, 6.0, ""))
    return 1000.0 * _share(wanted, "mol/L", Bottle(stock_mol_per_l, "mol/L"))


def weak_base_ph(base_mol_per_l: float, base_constant_mol_per_l: float) -> float:
    """Return the pH at 25 C of a weak base in water, by its base constant Kb.

    x = (-Kb + sqrt(Kb^2 + 4 Kb c))/2 is the hydroxide, written so that it does not cancel for a
    small Kb; water's own hydroxide is left out, so results under pH 8 are refused.
    Source: law of mass action with pKw = 14.00 at 25 C.
    """
    base = positive("base concentration", base_mol_per_l, "mol/L")
    constant = positive("base constant", base_constant_mol_per_l, "mol/L")
    hydroxide = 2.0 * base / (1.0 + math.sqrt(1.0 + 4.0 * base / constant))
    ph = 14.0 + math.log10(hydroxide)
    if ph < 8.0:
        raise OutOfRange(
            "the base is too dilute for this formula", mend="treat the bath as plain water"
        )
    return ph


def strengths_after_body_water(
    stock_strength: float, fluid_ml_per_g: float, water_ml_per_g: float, changes: int = 1
) -> tuple[float, ...]:
    """Return the strength [%] after each change of fluid, thinned by the water in the specimen.

    Full mixing and no shrinkage on mixing; the body keeps its liquid volume, the poured-off
    volume equals the poured-on one. One change: C0 r/(r + w).

    Source: conservation of solute. Anderegg, Bowers and McCain 2022 found the ratio of insects to
    fluid to weaken vials most.
    """
    stock = _strength("fluid strength", stock_strength, "v/v")
    ratio = positive("fluid per gram", fluid_ml_per_g, "mL/g")
    water = within("body water", water_ml_per_g, 0.0, 1.0, "mL/g")
    if changes < 1:
        raise OutOfRange(f"changes is {changes}", mend="pour on at least once")
    kept = water / (ratio + water)
    return tuple(stock * (1.0 - kept**n) for n in range(1, changes + 1))


def fluid_ml_for_strength(
    specimen_g: float, least_strength: float, stock_strength: float, water_ml_per_g: float
) -> float:
    """Return the least fluid [mL] that stays at ``least_strength`` [%] after one pouring-on."""
    mass = positive("specimen mass", specimen_g, "g")
    stock = _strength("fluid strength", stock_strength, "v/v")
    least = _strength("least strength", least_strength, "v/v")
    water = within("body water", water_ml_per_g, 0.0, 1.0, "mL/g")
    if least >= stock:
        raise OutOfRange(
            f"no amount of {stock:g} % fluid stays at {least:g} % in a moist specimen",
            mend="use a stronger fluid or accept a weaker end",
        )
    return mass * water * least / (stock - least)


def drops_per_ml(counted_drops: int, filled_ml: float) -> float:
    """Return the drops in a millilitre from a count of drops that filled a known volume.

    The user's own dropper and liquid: the drop of another liquid differs by its surface tension.
    Under ten drops the last drop alone is a tenth of the answer.
    Source: pharmacy course page on calibrating a dropper (35 drops fill 2 mL).
    """
    if counted_drops < 10:
        raise OutOfRange(
            f"{counted_drops} drops are too few to calibrate by", mend="count at least ten"
        )
    return counted_drops / positive("filled volume", filled_ml, "mL")


def drops_to_ml(
    drops: float, least_per_ml: float, most_per_ml: float, error_fraction: float
) -> tuple[float, float, float]:
    """Return the volume of a number of drops, and its least and most [mL].

    Source: USP 32 general chapter 1101: at most 15 % error for a calibrated dropper.
    """
    count = positive("number of drops", drops, "drops")
    least = positive("drops per millilitre", least_per_ml, "1/mL")
    most = positive("drops per millilitre", most_per_ml, "1/mL")
    error = within("dropper error", error_fraction, 0.0, 0.99, "fraction")
    middle = count / ((least + most) / 2.0)
    return middle, count / most * (1.0 - error), count / least * (1.0 + error)


def whole_drops(volume_ml: float, per_ml: float) -> int:
    """Return the whole drops nearest to a volume, never above it: no hazardous amount grows."""
    wanted = positive("volume", volume_ml, "mL")
    rate = positive("drops per millilitre", per_ml, "1/mL")
    # the tolerance keeps 0.3 mL at 20 drops per mL from becoming five drops by rounding error
    count = math.floor(wanted * rate * (1.0 + 1e-9))
    if count < 1:
        raise OutOfRange(
            f"{wanted:.3g} mL is less than one drop",
            mend="make up a weaker solution and take more of it, or wet a fine brush",
        )
    return count

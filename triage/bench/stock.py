"""Liquids from the user's own stock: dilution, molarity, pH, body water, and drops."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

from triage.errors import OutOfRange, TriageError, did_you_mean
from triage.units import positive, within

Basis = Literal["v/v", "w/w", "w/v", "mol/L"]

#: most a percentage can be; mol/L has no such bound
_MOST_PERCENT = 100.0


@dataclass(frozen=True, slots=True)
class MakeUp:
    """How to make up a working solution by volume; volumes in mL.

    ``water_about_ml`` is a guide only: the mark decides, because mixing can shrink the volume.
    """

    stock_ml: float
    top_up_to_ml: float
    water_about_ml: float
    sentence: str


@dataclass(frozen=True, slots=True)
class WeighUp:
    """How to make up a working solution by mass; masses in g."""

    stock_g: float
    water_g: float
    sentence: str


def _strength(name: str, strength: float, basis: Basis) -> float:
    if basis not in get_args(Basis):
        raise TriageError(f'unknown basis "{basis}"', mend=did_you_mean(basis, get_args(Basis)))
    if basis == "mol/L":
        return positive(name, strength, "mol/L")
    unit = f"% {basis}"
    return within(name, positive(name, strength, unit), 0.0, _MOST_PERCENT, unit)


def _share(
    target_strength: float, stock_strength: float | None, basis: Basis, stock_basis: Basis | None
) -> float:
    """Return target/stock [fraction] after every reason to refuse."""
    target = _strength("target strength", target_strength, basis)
    if stock_strength is None:
        raise TriageError(
            "the strength of the stock is unknown",
            mend="read it off the label; without it no working strength can be promised",
        )
    if stock_basis is not None and stock_basis != basis:
        raise TriageError(
            f"the stock is given in {stock_basis} and the target in {basis}",
            mend="give both on the same basis; they differ by the densities",
        )
    stock = _strength("stock strength", stock_strength, basis)
    if stock < target:
        raise OutOfRange(
            f"the stock ({stock:g} {basis}) is weaker than the target ({target:g} {basis})",
            mend="use a stronger stock or a weaker working solution",
        )
    return target / stock


def make_up(
    target_strength: float,
    stock_strength: float | None,
    total_ml: float,
    basis: Basis,
    *,
    stock_basis: Basis | None = None,
    densities_g_per_ml: tuple[float, float] | None = None,
    stock_goes_into_water: bool = False,
) -> MakeUp:
    """Return how much stock to measure and to which mark to top it up.

    Parameters
    ----------
    target_strength       strength wanted, in percent of ``basis`` or mol/L, > 0
    stock_strength        strength of the stock on the same basis; None means unknown
    total_ml              volume wanted [mL], > 0
    basis                 "v/v", "w/v", "mol/L", or "w/w" with both densities
    stock_basis           basis on the stock's label, if it may differ
    densities_g_per_ml    of stock and solution, only for "w/w" [g/mL]
    stock_goes_into_water True for acids and whatever else heats up: water first

    Returns
    -------
    MakeUp; the solute in ``stock_ml`` equals the solute in ``top_up_to_ml``.

    Raises
    ------
    OutOfRange: a number is not positive or finite, or the stock is weaker than the target.
    TriageError: stock strength unknown, bases differ, or "w/w" without densities.

    Notes
    -----
    C1 V1 = C2 V2 with a make-up to the mark. The difference of the volumes is never to be
    measured: liquids that mix with water can shrink, and the result would be too strong.

    Source
    ------
    Conservation of solute; worked example: 70 mL of 95 % made up to 95 mL is 70 %
    (histology note on preservatives).
    """
    total = positive("total volume", total_ml, "mL")
    share = _share(target_strength, stock_strength, basis, stock_basis)
    if basis == "w/w":
        share = _by_volume(share, densities_g_per_ml)
    stock = total * share
    water = total - stock
    label = "mol/L" if basis == "mol/L" else f"% {basis}"
    named = f"{stock_strength:g} {label}"
    told = _volume_sentence(stock, total, water, named, stock_goes_into_water)
    return MakeUp(stock, total, water, told)


def _by_volume(share: float, densities: tuple[float, float] | None) -> float:
    """Return a share by mass [fraction] as one by volume, from both densities."""
    if densities is None:
        raise TriageError(
            "strengths by mass cannot be measured by volume without both densities",
            mend="weigh it, or give the densities of stock and solution in g/mL",
        )
    stock, target = densities
    share *= positive("target density", target, "g/mL") / positive("stock density", stock, "g/mL")
    if share > 1.0:
        raise OutOfRange(
            "by these densities more stock than solution would be needed",
            mend="check both densities and strengths",
        )
    return share


def _volume_sentence(
    stock_ml: float, total_ml: float, water_ml: float, label: str, stock_goes_into_water: bool
) -> str:
    if math.isclose(stock_ml, total_ml, rel_tol=1e-9):
        return f"Use {total_ml:.3g} mL of the {label} stock as it is."
    if stock_goes_into_water:
        return (
            f"Put in a little less than {water_ml:.3g} mL of water, add {stock_ml:.3g} mL of the "
            f"{label} stock slowly, then top up with water to the {total_ml:.3g} mL mark; "
            "never pour water onto the stock."
        )
    return (
        f"Measure {stock_ml:.3g} mL of the {label} stock and top up with water to the "
        f"{total_ml:.3g} mL mark (about {water_ml:.3g} mL; the mark decides)."
    )


def weigh_up(target_percent_w_w: float, stock_percent_w_w: float | None, total_g: float) -> WeighUp:
    """Return the masses of stock and water [g] for ``total_g`` of a weight-percent solution.

    Masses add up exactly, so both are given. Raises as ``make_up`` does.
    Source: conservation of solute mass.
    """
    total = positive("total mass", total_g, "g")
    share = _share(target_percent_w_w, stock_percent_w_w, "w/w", None)
    stock = total * share
    water = total - stock
    sentence = f"Weigh {stock:.3g} g of the {stock_percent_w_w:g} % w/w stock"
    sentence += f" and {water:.3g} g of water." if water > 0 else " and use it as it is."
    return WeighUp(stock, water, sentence)


def molarity(percent_w_w: float, density_g_per_ml: float, molar_mass_g_per_mol: float) -> float:
    """Return the concentration [mol/L] of a stock from its label, or [g/L] for a molar mass of 1.

    Notes: M = 10 w% rho / MW; rho must belong to the same w% and temperature.
    Source: tables of concentrated reagents print the same arithmetic.
    """
    percent = within("strength", percent_w_w, 0.0, 100.0, "% w/w")
    density = positive("density", density_g_per_ml, "g/mL")
    return 10.0 * percent * density / positive("molar mass", molar_mass_g_per_mol, "g/mol")


def acid_ml_per_litre(ph: float, stock_mol_per_l: float | None) -> float:
    """Return the strong-acid stock [mL] in one litre of a bath of the given pH, 1 to 6."""
    wanted = math.pow(10.0, -within("pH", ph, 1.0, 6.0, ""))
    return 1000.0 * _share(wanted, stock_mol_per_l, "mol/L", None)


def weak_base_ph(base_mol_per_l: float, base_constant_mol_per_l: float) -> float:
    """Return the pH at 25 C of a weak base in water.

    Parameters
    ----------
    base_mol_per_l          total concentration [mol/L], > 0
    base_constant_mol_per_l base constant Kb [mol/L], > 0

    Notes
    -----
    x = (-Kb + sqrt(Kb^2 + 4 Kb c))/2 is the hydroxide, written so that it does not cancel for a
    small Kb; water's own hydroxide is left out, so results under pH 8 are refused.

    Source
    ------
    Law of mass action with pKw = 14.00 at 25 C.
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
    """Return the strength after each change of fluid, thinned by the water in the specimen.

    Parameters
    ----------
    stock_strength strength of the fluid poured on each time [%], > 0 to 100
    fluid_ml_per_g fluid per gram of specimen at each change [mL/g], > 0
    water_ml_per_g water in the specimen [mL/g], 0 to 1
    changes        number of times fluid is poured on, >= 1

    Returns
    -------
    One strength per change [%], rising towards the stock's.

    Notes
    -----
    Full mixing and no shrinkage on mixing; the body keeps its liquid volume, the poured-off
    volume equals the poured-on one. One change: C0 r/(r + w).

    Source
    ------
    Conservation of solute. Anderegg, Bowers and McCain 2022 found the ratio of insects to fluid
    to weaken vials most.
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


def ml_per_drop(counted_drops: int, filled_ml: float) -> float:
    """Return the volume of one drop [mL] from a count of drops that filled a known volume.

    The user's own dropper and liquid: the drop of another liquid differs by its surface tension.
    Raises OutOfRange under ten drops, where the last drop alone is a tenth of the answer.
    Source: pharmacy course page on calibrating a dropper (35 drops fill 2 mL).
    """
    if counted_drops < 10:
        raise OutOfRange(
            f"{counted_drops} drops are too few to calibrate by", mend="count at least ten"
        )
    return positive("filled volume", filled_ml, "mL") / counted_drops


def drops_to_ml(
    drops: float, least_per_ml: float, most_per_ml: float, error_fraction: float
) -> tuple[float, float, float]:
    """Return the volume of a number of drops, and its least and most [mL].

    Parameters
    ----------
    drops                     number of drops, > 0
    least_per_ml, most_per_ml drops in one millilitre of this liquid from this dropper, > 0
    error_fraction            volume error in normal use [fraction], 0 to below 1

    Source
    ------
    USP 32 general chapter 1101: at most 15 % error for a calibrated dropper.
    """
    count = positive("number of drops", drops, "drops")
    least = positive("drops per millilitre", least_per_ml, "1/mL")
    most = positive("drops per millilitre", most_per_ml, "1/mL")
    error = within("dropper error", error_fraction, 0.0, 0.99, "fraction")
    middle = count / ((least + most) / 2.0)
    return middle, count / most * (1.0 - error), count / least * (1.0 + error)


def whole_drops(volume_ml: float, drops_per_ml: float) -> int:
    """Return the whole number of drops nearest to a volume, never above the volume asked for.

    Rounding down keeps a hazardous amount from growing. Raises OutOfRange if the volume is less
    than one drop: a part of a drop cannot be counted.
    """
    wanted = positive("volume", volume_ml, "mL")
    rate = positive("drops per millilitre", drops_per_ml, "1/mL")
    # the tolerance keeps 0.3 mL at 20 drops per mL from becoming five drops by rounding error
    count = math.floor(wanted * rate * (1.0 + 1e-9))
    if count < 1:
        raise OutOfRange(
            f"{wanted:.3g} mL is less than one drop",
            mend="make up a weaker solution and take more of it, or wet a fine brush",
        )
    return count

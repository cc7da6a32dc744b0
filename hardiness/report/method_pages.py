"""How the figures come about: rules, formulas, references, and what made this report."""

from __future__ import annotations

import platform
from importlib.metadata import version

from hardiness import words
from hardiness.report.blocks import Block, Facts, Formula, Heading, Points, Section, Text
from hardiness.report.gathered import Gathered
from hardiness.report.wording import step
from hardiness.tolerance import draws, importance, proposal
from hardiness.tolerance.priors import Priors
from hardiness.weather.exposure import ACCURACY_C, UNCOVERED_C, UNSHIELDED_C

LIBRARIES = ("numpy", "scipy", "pandas", "xarray", "h5netcdf", "pint", "fonttools", "matplotlib", "openpyxl", "typst")
REFERENCES = (
    "McCullagh 1980, regression models for ordinal data, doi:10.1111/j.2517-6161.1980.tb01109.x: one curve for all "
    "grades, with a threshold each.",
    "Turnbull 1976, the empirical distribution function with arbitrarily grouped, censored and truncated data, "
    "doi:10.1111/j.2517-6161.1976.tb01597.x: kill thresholds without a model.",
    "Rue, Martino and Chopin 2009, approximate Bayesian inference for latent Gaussian models by nested Laplace "
    "approximations, doi:10.1111/j.1467-9868.2008.00700.x: how the posterior is computed.",
    "Tierney and Kadane 1986, accurate approximations for posterior moments and marginal densities, "
    "doi:10.1080/01621459.1986.10478240: the correction for skewness.",
    "Vehtari, Simpson, Gelman, Yao and Gabry 2024, Pareto smoothed importance sampling, JMLR 25(72): how far the "
    "weights may be trusted.",
    "Henderson 1976, a simple method for computing the inverse of a numerator relationship matrix, "
    "doi:10.2307/2529339: how selections with known parents are pooled.",
    "Dawid 1984, the prequential approach, doi:10.2307/2981683: how rows are predicted when the fit is questioned.",
    "Parton and Logan 1981, Agricultural Meteorology 23:205-216: hours drawn through a station's daily minima, in a "
    "trial that has such a station.",
    "WMO-No. 8, Guide to Instruments and Methods of Observation, part I, ch. 4, annex 4.B: dew point and wet bulb. "
    "Snyder and de Melo-Abreu 2005, Frost Protection, FAO Environment and Natural Resources Series 10, vol. 1: "
    "radiative and advective freezes. Both where a station tells the air.",
)
IN_SHORT = (
    "A score tells how much damage a plant took, and the logger how cold it was. From all scores together the model "
    "(the formulas below) finds how cold it must be for half of such plants to reach each grade. Selections and "
    "rootstocks with few scores are drawn towards the others. What the trial leaves open is computed too, and told as "
    "an interval: nine times in ten the truth lies within it, if the model is right. The figure to claim is taken from "
    "the warm side of what is open."
)


def methods_section(gathered: Gathered) -> Section:
    """Write the section on methods.

    Parameters
    ----------
    gathered : Gathered

    Returns
    -------
    Section
    """
    scale = tuple(f"{number}: {name}" for number, name in enumerate(gathered.settings.grades))
    blocks: tuple[Block, ...] = (
        Heading("In short"),
        Text(IN_SHORT),
        Heading("The damage scale"),
        Points(scale),
        *_observations(gathered),
        *_model(gathered),
        *_figures(gathered),
        Heading("References"),
        Points(REFERENCES),
    )
    return Section("How the figures come about", "methods", blocks, new_page=True)


def _observations(gathered: Gathered) -> tuple[Block, ...]:
    settings, units = gathered.settings, gathered.units
    held = words.hours(settings.model_held_h)
    return (
        Heading("From readings to observations"),
        Text(
            f"The exposure x is the held temperature: the coldest temperature at or below which the air stayed for "
            f"{held} in total during the freeze, the air taken to change along a straight line between two readings. "
            "How far the plants' air may have been from it:"
        ),
        Formula("sd = √(accuracy² + unshielded² + (gap · (1 − cover))² + transfer²)"),
        Text(
            f"accuracy is the sensor's ({step(ACCURACY_C, units)} where the register names none), unshielded "
            f"{step(UNSHIELDED_C, units)} without a radiation shield and else 0, gap {step(UNCOVERED_C, units)}, cover "
            "the share of the freeze that readings bridge, transfer that of the step from another sensor where a "
            "logger was silent and was estimated."
        ),
        Text(
            "A score answers for every freeze since that plant's previous window closed; its exposure is the coldest "
            "of them. Of several scores between two freezes the last counts, and one given less than "
            f"{settings.settle_days:g} days after a freeze is early. The damage done in a window lies between the "
            "grade seen and what the plant still carried from earlier in the same winter. A plant without a score "
            f"contributes nothing: it is no survivor by default. {_protected(gathered)}"
        ),
    )


def _protected(gathered: Gathered) -> str:
    if gathered.settings.model.protection:
        return "Protected plants are fitted with an effect of what stood over them, and count nowhere else."
    return "Protected plants, and plants in containers unless asked for, are listed and not fitted."


def _model(gathered: Gathered) -> tuple[Block, ...]:
    units, priors, least = gathered.units, Priors(), step(1.0, gathered.units)
    span = step(gathered.settings.span_c, units)
    spreads = ", ".join(
        f"{step(scale, units)} ({what})"
        for scale, what in (
            (priors.tau_a, "selections"), (priors.tau_b, "rootstocks"), (priors.tau_c, "their combinations"),
            (priors.tau_u, "plants"), (priors.tau_e, "cold spells"),
        )
    )  # fmt: skip
    return (
        Heading("The model"),
        Text(
            "Every plant has for each grade k a critical temperature θ, at which it is as likely as not to reach that "
            "grade or a worse one. α is that of a middling plant; selection, rootstock, their combination and the "
            "plant itself move it:"
        ),
        Formula("θ_k = α_k + a_selection + b_rootstock + c_both + u_plant"),
        Text("For an exposure x in a freeze that was e warmer at the plants than the sensor says:"),
        Formula("P(new damage ≥ k) = F((θ_k − x − e) / σ + ln near)"),
        Text(
            f"F is the logistic curve, σ how sharply plants give way, near how many freezes of the window came within "
            f"{least} of the coldest. A row says that its new damage lies between two grades, l and h:"
        ),
        Formula("P(row) = P(new damage ≥ l) − P(new damage ≥ h + 1)"),
        Text("The effects a, b, c and u are normal around 0, each with a spread τ that the data tell. So is e:"),
        Formula("e = d_sensor + f_event + r_freeze"),
        Text(
            "d is the sensor's bias, shared by all of its freezes (its accuracy); f, with its own spread τ, what all "
            "sensors of one cold spell share; r the rest of the sd above. A selection whose parents are registered is "
            "half of each parent and a part of its own."
        ),
        Text(
            "Before any score: the first critical temperature is normal about the warmest exposure met, its standard "
            f"deviation {step(priors.alpha_sd, units)}; each gap between two grades is gamma with shape 2, all "
            f"together {span} from the first grade to the last on average, as trial.toml says; ln σ is normal about ln "
            f"{step(priors.sigma_median, units)}, its standard deviation {priors.sigma_log_sd:g}; the spreads are half "
            f"normal with {spreads}. A floor that leans on this says so (rests on: prior)."
        ),
        *(Text(f"This trial's model also: {text}") for text in gathered.flow.covariates.said),
    )


def _figures(gathered: Gathered) -> tuple[Block, ...]:
    worst = gathered.settings.worst
    return (
        Heading("Floor, claimable figure, interval"),
        Formula(f"floor = α_{worst} + a + b + c + Q(0.9), Q the 0.9 point of τ_u · Z + σ · L"),
        Text(
            "Z is normal and L logistic: the exposure that nine in ten of such plants come through without reaching "
            f"grade {worst} in a typical freeze. The figure printed is the posterior's median, and 90 % the interval "
            "between its 5 % and 95 % points. For the claimable figure the spread between freezes to come is added,"
        ),
        Formula("Q′ the 0.9 point of √(τ²_u + τ²_e) · Z + σ · L,"),
        Text(
            "and it is the warmest of three: the 95 % point of the same sum with Q′, the coldest that was tested, and "
            "the coldest that a plant came through. Where trial.toml asks for an effect of each winter, its spread "
            "joins those under the root. Two selections are compared by the difference of their effects on the same "
            "rootstock."
        ),
        Text(
            "The posterior is a nested Laplace approximation carried to third order: the spreads by "
            "importance-weighted points of a scrambled Sobol' sequence, all else by a Gaussian at its own mode, "
            "corrected for skewness."
        ),
    )


def provenance_section(gathered: Gathered) -> Section:
    """Write the section on what made the report.

    Parameters
    ----------
    gathered : Gathered

    Returns
    -------
    Section
    """
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    facts = (
        ("records", f"state {gathered.token[:16]}: the same records give the same report"),
        ("records up to", gathered.dated.isoformat() if gathered.dated else "no record yet"),
        ("made with", f"hardiness {version('hardiness')}, Python {platform.python_version()}, {libraries}"),
        ("chance", f"fixed seeds: {proposal.SEED} for the Sobol' points, {importance.SEED} for the weighing of their "
         f"draws, {draws.SEED} for ranks; a second run gives the same numbers"),
        ("beside this file", "tables/*.csv (UTF-8, one row of names, units in the names), tables.xlsx (units in the "
         "second row), trial.nc (NetCDF: floors, survival curves, observations, all with units)"),
        ("text cells", "a text that begins with = + - or @ carries an apostrophe before it in tables/*.csv, so that no "
         "spreadsheet takes it for a formula"),
    )  # fmt: skip
    return Section("What made this report", "made", (Facts(facts),))

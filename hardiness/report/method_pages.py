"""How the figures come about: rules, formulas, references, and what made this report."""

from __future__ import annotations

import platform
from importlib.metadata import version

from hardiness import words
from hardiness.report.blocks import Block, Facts, Formula, Heading, Points, Section, Text
from hardiness.report.gathered import Gathered
from hardiness.report.wording import step

LIBRARIES = ("numpy", "scipy", "pandas", "xarray", "matplotlib", "typst")
REFERENCES = (
    "Turnbull 1976, the empirical distribution function with arbitrarily grouped, censored and truncated data, "
    "doi:10.1111/j.2517-6161.1976.tb01597.x: kill thresholds without a model.",
    "Rue, Martino and Chopin 2009, approximate Bayesian inference for latent Gaussian models by nested Laplace "
    "approximations, doi:10.1111/j.1467-9868.2008.00700.x: how the posterior is computed.",
    "Tierney and Kadane 1986, accurate approximations for posterior moments and marginal densities, "
    "doi:10.1080/01621459.1986.10478240: the correction for skewness.",
    "Henderson 1976, a simple method for computing the inverse of a numerator relationship matrix, "
    "doi:10.2307/2529339: how selections with known parents are pooled.",
    "Dawid 1984, the prequential approach, doi:10.2307/2981683: how rows are predicted when the fit is questioned.",
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
    settings = gathered.settings
    scale = tuple(f"{number}: {name}" for number, name in enumerate(settings.grades))
    held = words.hours(settings.model_held_h)
    blocks: tuple[Block, ...] = (
        Heading("The damage scale"),
        Points(scale),
        Heading("From readings to observations"),
        Text(
            f"The exposure is the held temperature: the coldest temperature at or below which the air stayed for "
            f"{held} in total during the freeze. A score answers for every freeze since that plant's previous window "
            f"closed; of several scores between two freezes the last counts, and one given less than "
            f"{settings.settle_days:g} days after a freeze is early. The damage done in a window lies between the "
            "grade seen and what the plant still carried from earlier in the same winter. A plant without a score "
            "contributes nothing: it is no survivor by default. Protected plants and plants in "
            "containers are listed and not fitted."
        ),
        Heading("The model"),
        Text(
            "Every plant has for each grade k a critical temperature, at which it is as likely as not to reach that "
            "grade or a worse one. Selection, rootstock, their combination and the plant itself move it:"
        ),
        Formula("θ_k = α_k + a_selection + b_rootstock + c_both + u_plant"),
        Text("For an exposure x in a freeze that was e warmer at the plants than the sensor says:"),
        Formula("P(new damage ≥ k) = F((θ_k − x − e) / σ + ln near)"),
        Text(
            "F is the logistic curve, σ how sharply plants give way, near how many freezes of the window came within "
            f"{step(1.0, gathered.units)} of the coldest. The effects a, b, c, u and e are normal around 0 with "
            "spreads that the data tell; a sensor's bias is shared by all of its freezes, and e by all plants of "
            "one freeze."
        ),
        Formula("floor = α_k + a + b + c + Q(0.9), Q the 0.9 point of τ_u Z + σ L"),
        Text(
            "Z is normal and L logistic. The floor is the exposure that nine in ten of such plants come through "
            f"without reaching grade {settings.worst} in a typical freeze. For the claimable figure the spread between "
            "freezes is added, and it is the warmest of: the 95 % point of that, the coldest that was tested, and the "
            "coldest that a plant came through."
        ),
        Text(
            f"Before any score, the trade knows roughly how far apart the grades lie: "
            f"{step(settings.span_c, gathered.units)} from the first to the last, as trial.toml says. A floor "
            "that leans on this says so (rests on: prior)."
        ),
        Heading("References"),
        Points(REFERENCES),
    )
    return Section("How the figures come about", "methods", blocks, new_page=True)


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
        ("chance", "fixed sequences (scrambled Sobol' points, one seed): a second run gives the same numbers"),
        ("beside this file", "tables/*.csv (UTF-8, one row of names, units in the names), tables.xlsx (units in the "
         "second row), trial.nc (NetCDF: floors, survival curves, observations, all with units)"),
        ("text cells", "a text that begins with = + - or @ carries an apostrophe before it in tables/*.csv, so that no "
         "spreadsheet takes it for a formula"),
    )  # fmt: skip
    return Section("What made this report", "made", (Facts(facts),))

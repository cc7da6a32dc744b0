"""The picture without a model, against published answers and another package."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines.fitters.npmle import npmle
from scipy import optimize

from hardiness.errors import FitError
from hardiness.tolerance.plain import binomial_limits, spearman_karber, turnbull

# Breast cosmesis, 94 women (Finkelstein & Wolfe 1985, Biometrics 41:933; bcos in R's dynsurv): months until the change
# was seen, (left, right]. NPMLE and log-likelihood: recomputed twice outside this package.
RADIATION = (
    "45- 6,10 0,7 46- 46- 7,16 17- 7,14 37,44 0,8 4,11 15- 11,15 22- 46- 46- 25,37 46- 26,40 46- 27,34 36,44 46- 36,48 "
    "37- 40- 17,25 46- 11,18 38- 5,12 37- 0,5 18- 24- 36- 5,11 19,35 17,25 24- 32- 33- 19,26 37- 34- 36-"
)
WITH_CHEMOTHERAPY = (
    "8,12 0,22 24,31 17,27 17,23 24,30 16,24 13- 11,13 16,20 18,25 17,26 32- 23- 44,48 14,17 0,5 5,8 12,20 11- 33,40 "
    "31- 13,39 19,32 34- 13- 16,24 35- 15,22 11,17 22,32 10,35 30,34 13- 10,17 8,21 4,9 11- 14,19 4,8 34- 30,36 18,24 "
    "16,60 35,39 21- 11,20 48-"
)
INF = np.inf
RADIATION_MASS = {(4, 5): 0.0463, (6, 7): 0.0334, (7, 8): 0.0887, (11, 12): 0.0708, (24, 25): 0.0926, (33, 34): 0.0818,
                  (38, 40): 0.1209, (46, 48): 0.4656}  # fmt: skip
WITH_CHEMOTHERAPY_MASS = {(4, 5): 0.0433, (5, 8): 0.0433, (11, 12): 0.0692, (16, 17): 0.1454, (18, 19): 0.1411,
                          (19, 20): 0.1157, (24, 25): 0.0999, (30, 31): 0.0709, (35, 36): 0.1608, (44, 48): 0.0552,
                          (48, 60): 0.0552}  # fmt: skip


def ends(text):
    pairs = [(part[:-1], "inf") if part.endswith("-") else part.split(",") for part in text.split()]
    return np.array(pairs, dtype=float).T


@pytest.mark.parametrize(
    "text, count, masses, log_likelihood",
    [
        (RADIATION, 46, RADIATION_MASS, -58.060022),
        (WITH_CHEMOTHERAPY, 48, WITH_CHEMOTHERAPY_MASS, -65.636965),
        (f"{RADIATION} {WITH_CHEMOTHERAPY}", 94, None, -136.963804),
    ],
    ids=["radiation", "with chemotherapy", "pooled"],
)
def test_turnbull_is_the_published_estimate_of_the_cosmesis_data(text, count, masses, log_likelihood):
    left, right = ends(text)
    assert left.size == count
    found = turnbull(left, right)
    assert found.log_likelihood == pytest.approx(log_likelihood, abs=1e-6)
    assert found.mass.sum() == pytest.approx(1.0)
    if masses:
        assert list(zip(found.left, found.right, strict=True)) == list(masses)
        assert found.mass == pytest.approx(list(masses.values()), abs=1e-4)


@pytest.mark.parametrize("text", [RADIATION, WITH_CHEMOTHERAPY])
def test_turnbull_agrees_with_lifelines(text):
    left, right = ends(text)
    # lifelines takes both ends as closed; months are whole, so half a month later is just after the left end.
    with np.errstate(divide="ignore"):
        weights, spans = npmle(left + 0.5, right, verbose=False, tol=1e-9, optimize=False)
    theirs = {(span.left - 0.5, span.right): weight for span, weight in zip(spans, weights, strict=True)}
    found = turnbull(left, right)
    ours = dict(zip(zip(found.left, found.right, strict=True), found.mass, strict=True))
    assert set(ours) <= set(theirs)
    assert [ours.get(span, 0.0) for span in theirs] == pytest.approx(list(theirs.values()), abs=1e-4)


intervals = st.lists(
    st.tuples(st.integers(-12, -2), st.integers(1, 6)).map(lambda pair: (float(pair[0]), float(sum(pair)))),
    min_size=1, max_size=12,
)  # fmt: skip


@given(intervals)
def test_no_other_masses_are_more_probable(pairs):
    left, right = np.array(pairs).T
    found = turnbull(left, right)
    points = np.unique(right)
    inside = ((left[:, None] < points) & (points <= right[:, None])).astype(float)

    def negative(free):
        mass = np.exp(free - free.max())
        return -np.log(inside @ (mass / mass.sum()) + 1e-300).sum()

    other = optimize.minimize(negative, np.zeros(points.size), method="BFGS", options={"maxiter": 500})
    assert found.log_likelihood >= -other.fun - 1e-6
    reached = found.reached(right)[0] - found.reached(left)[1]
    within = found.reached(right)[0] - found.reached(left)[0]
    assert (within > 0).all() and (reached <= within + 1e-12).all()
    assert np.log(within).sum() == pytest.approx(found.log_likelihood, abs=1e-6)


def test_reached_share_is_bounded_inside_an_interval_and_known_between():
    found = turnbull([-INF, 4.0, 6.0], [5.0, 7.0, INF])
    least, most = found.reached([4.0, 4.5, 5.0, 6.0, 6.5, 7.0])
    assert least == pytest.approx([0, 0, 0.5, 0.5, 0.5, 1.0]) and most == pytest.approx([0, 0.5, 0.5, 0.5, 1.0, 1.0])
    assert found.middle() == (4.0, 5.0)
    only = turnbull([8.0], [INF])
    assert only.middle() == (8.0, INF) and only.reached([9.0])[0] == 0


@pytest.mark.parametrize(
    "left, right, told",
    [
        ([], [], "at least one interval"),
        ([5.0], [5.0], "an interval without a value in it"),
        ([5.0], [np.nan], "an interval without a value in it"),
        ([5.0, 6.0], [7.0], "a left and a right end each"),
    ],
)
def test_turnbull_refuses_what_is_no_interval(left, right, told):
    with pytest.raises(FitError, match=told):
        turnbull(left, right)


# Hamilton, Russo & Thurston 1977 (Environ. Sci. Technol. 11:714-719), data sets 1 and 4: answers of the US EPA's
# program as R's package tsk holds them. Limits there are 2 standard errors, all on log10 dose.
DOSES = {"1": [15.54, 20.47, 27.92, 35.98, 55.52], "4": [7.8, 13.0, 22.0, 36.0, 60.0, 100.0]}
EXPOSED = {"1": [20, 20, 20, 19, 20], "4": [10] * 6}
TRIMS = (0.0, 0.05, 0.1, 0.2)
# data set: percent dead; middles at trims 0, 5, 10, 20 %; limits at 0 %; limits at 20 % where seen. For 4b and 4c the
# program prints (15.56, 23.37) and (29.41, 49.56): where one dose alone lies inside the trims, one term of its
# derivative has the wrong sign. Ours are held against the derivative itself, and theirs follow from that sign.
HAMILTON = {
    "1a": ((0, 0, 0, 5.26, 100), (43.89, 44.16, 44.16, 44.16), (42.37, 45.47), None),
    "1b": ((0, 5, 0, 5.26, 100), (43.27, 44.16, 44.16, 44.16), (41.35, 45.27), None),
    "1c": ((0, 5, 0, 15.79, 100), (41.73, 42.53, 42.79, 42.91), (39.14, 44.49), (40.77, 45.17)),
    "1d": ((0, 5, 5, 94.74, 100), (31.36, 31.71, 31.71, 31.71), (29.74, 33.07), (31.08, 32.35)),
    "1e": ((0, 5, 5, 100, 100), (30.80, 31.48, 31.48, 31.48), (29.60, 32.04), None),
    "4a": ((0, 0, 10, 100, 100, 100), (26.75, 27.20, 27.38, 27.38), (24.28, 29.46), None),
    "4b": ((0, 0, 70, 100, 100, 100), (19.70, 19.52, 19.36, 19.07), (17.00, 22.84), None),
    "4c": ((0, 0, 10, 40, 100, 100), (36.14, 36.96, 37.49, 38.18), (30.09, 43.40), None),
    "4d": ((0, 0, 20, 70, 100, 100), (29.55, 29.69, 29.79, 29.74), (24.33, 35.88), (24.00, 36.85)),
    "4e": ((0, 0, 20, 30, 100, 100), (36.11, 37.06, 38.05, 40.23), (29.73, 43.85), (31.19, 51.88)),
}


def hamilton(name, trim):
    dose, exposed = np.array(DOSES[name[0]]), np.array(EXPOSED[name[0]])
    killed = np.round(np.array(HAMILTON[name][0]) / 100 * exposed)
    found = spearman_karber(np.log10(dose), exposed, killed, trim=trim)
    return 10 ** (found.value + np.array([-2, 0, 2]) * found.standard_error)


@pytest.mark.parametrize("name", HAMILTON)
def test_spearman_karber_gives_the_published_middles(name):
    for trim, middle in zip(TRIMS, HAMILTON[name][1], strict=True):
        assert hamilton(name, trim)[1] == pytest.approx(middle, abs=0.006)


@pytest.mark.parametrize("name", HAMILTON)
def test_spearman_karber_gives_the_published_limits(name):
    low, _, high = hamilton(name, 0.0)
    assert (low, high) == pytest.approx(HAMILTON[name][2], abs=0.006)
    if HAMILTON[name][3]:
        low, _, high = hamilton(name, 0.2)
        assert (low, high) == pytest.approx(HAMILTON[name][3], abs=0.006)


@pytest.mark.parametrize("name", ["1a", "4a", "4b", "4c", "4d", "4e"])  # no share is pooled, none is the trim itself
@pytest.mark.parametrize("trim", [0.0, 0.13, 0.24])
def test_spearman_karbers_error_is_carried_over_from_the_binomial_counts(name, trim):
    """The delta method by brute force: move each share a little."""
    dose, exposed = np.log10(DOSES[name[0]]), np.array(EXPOSED[name[0]], dtype=float)
    share = np.round(np.array(HAMILTON[name][0]) / 100 * exposed) / exposed
    step, variance = 1e-6, 0.0
    for place in np.flatnonzero((share > 0) & (share < 1)):
        moved = [share + sign * step * (np.arange(share.size) == place) for sign in (1, -1)]
        up, down = (spearman_karber(dose, np.ones(share.size), shares, trim=trim).value for shares in moved)
        variance += share[place] * (1 - share[place]) / exposed[place] * ((up - down) / (2 * step)) ** 2
    found = spearman_karber(dose, exposed, share * exposed, trim=trim)
    assert found.standard_error == pytest.approx(np.sqrt(variance), rel=1e-4)


@pytest.mark.parametrize("name, limits", [("4b", (15.56, 23.37)), ("4c", (29.41, 49.56))])
def test_the_two_published_limits_that_differ_follow_from_one_sign(name, limits):
    dose, share = np.log10(DOSES["4"]), np.array(HAMILTON[name][0]) / 100
    place = np.flatnonzero((share > 0.2) & (share < 0.8))[0]
    low, here, high = share[place - 1 : place + 2]
    before, after = np.diff(dose)[place - 1 : place + 1]
    into, out = ((0.2 - low) / (here - low)) ** 2 * before, ((high - 0.8) / (high - here)) ** 2 * after
    others = (before * (here - 0.2) ** 2 / (here - low) ** 2) ** 2 * low * (1 - low)
    middle = spearman_karber(dose, [10] * 6, share * 10, trim=0.2)
    for sign, expected in ((1.0, middle.standard_error), (-1.0, np.log10(limits[1] / limits[0]) / 4)):
        pull = (before + after - sign * into - out) / 2
        error = np.sqrt((pull**2 * here * (1 - here) + others / 4) / 10) / 0.6
        assert error == pytest.approx(expected, abs=1e-4)


def test_on_temperatures_the_scale_stays_linear():
    celsius = np.array([-4.0, -6.0, -8.0, -10.0])
    found = spearman_karber(-celsius, [8, 8, 8, 8], [0, 2, 6, 8])
    by_hand = (5 * 2 + 7 * 4 + 9 * 2) / 8  # deaths between exposures, at the middles
    assert found.value == pytest.approx(by_hand)
    shifted = spearman_karber(-(celsius - 3.0), [8, 8, 8, 8], [0, 2, 6, 8])
    assert shifted.value == pytest.approx(by_hand + 3.0) and shifted.standard_error == pytest.approx(
        found.standard_error
    )
    fahrenheit = spearman_karber(-celsius * 1.8 - 32, [8, 8, 8, 8], [0, 2, 6, 8])
    assert (fahrenheit.value + 32) / 1.8 == pytest.approx(by_hand)


@pytest.mark.parametrize("killed, trim", [([0, 0, 2, 4], 0.0), ([1, 2, 4, 5], 0.1), ([0, 0, 0, 0], 0.2)])
def test_without_a_span_there_is_no_estimate(killed, trim):
    with pytest.raises(FitError, match="no estimate: shares killed reach from"):
        spearman_karber([4, 6, 8, 10], [5, 5, 5, 5], killed, trim=trim)


@pytest.mark.parametrize(
    "arguments, told",
    [
        (([4.0], [0], [0]), "a count that cannot be"),
        (([4.0], [5], [6]), "a count that cannot be"),
        (([np.nan], [5], [1]), "an exposure that is no number"),
        (([4.0, 5.0], [5], [1]), "a count exposed and a count killed each"),
    ],
)
def test_impossible_counts_are_refused(arguments, told):
    with pytest.raises(FitError, match=told):
        spearman_karber(*arguments)
    with pytest.raises(FitError, match=r"trim: found 0\.5"):
        spearman_karber([1.0, 2.0], [1, 1], [0, 1], trim=0.5)


# Newcombe 1998 (Statistics in Medicine 17:857), table I: Wilson and Clopper-Pearson limits at 95 %.
@pytest.mark.parametrize(
    "killed, exposed, wilson, exact",
    [
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
    ],
)
def test_binomial_limits_are_the_published_ones(killed, exposed, wilson, exact):
    assert binomial_limits(killed, exposed) == pytest.approx(wilson, abs=5e-5)
    assert binomial_limits(killed, exposed, method="exact") == pytest.approx(exact, abs=5e-5)


def test_no_death_among_few_plants_is_not_a_share_of_nothing():
    """Zero deaths in n: the one-sided 95 % limit is 1 - 0.05^(1/n), near 3/n (Hanley & Lippman-Hand 1983)."""
    for n in (3, 5, 10, 20, 50, 100):
        limit = binomial_limits(0, n, level=0.9, method="exact")[1]
        assert limit == pytest.approx(1 - 0.05 ** (1 / n), abs=1e-9)
        if n >= 20:
            assert limit == pytest.approx(3 / n, rel=0.1)
    assert binomial_limits(0, 5)[1] == pytest.approx(0.4345, abs=5e-5)  # "5 of 5 survived": up to 43 % may die
    with pytest.raises(FitError, match="found 6 killed of 5"):
        binomial_limits(6, 5)

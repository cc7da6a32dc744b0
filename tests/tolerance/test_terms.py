"""Optional terms of the model: fixed effects, winters, observers, protection."""

import numpy as np
import pandas as pd
import pytest

from hardiness.errors import FitError
from hardiness.tolerance.design import build_design
from hardiness.tolerance.factor import tree_of
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.floors import claim_deviation
from hardiness.tolerance.latent import Problem
from hardiness.tolerance.marginal import log_posterior
from hardiness.tolerance.priors import Priors
from hardiness.tolerance.rows import check_observations
from hardiness.tolerance.spread import spread_quantile
from hardiness.tolerance.terms import Terms
from tests.simulate import simulate_observations

PLANTS = 10 * 2 * 3  # selections, stocks, plants a cell
EVERY = Terms(
    fixed={"unhardened_100h": 1.5, "years_short": 1.0}, random={"winter": 1.0, "observer": 0.5}, protection=3.0
)


def shifted_trial(seed, shift, freezes, **more):
    rng = np.random.default_rng(seed)
    trial = simulate_observations(rng, selections=10, plants_per_cell=3, freezes=freezes, shift=shift, **more)
    rows, truth = trial
    spell = np.array(freezes).round(3).tolist()
    return rows.assign(
        spell=[spell.index(x) for x in rows["exposure_c"]], number=rows["plant"].str[1:].astype(int)
    ), truth


@pytest.fixture(scope="module")
def every():
    """A small trial with every term in it."""
    rng = np.random.default_rng(5)
    rows = simulate_observations(rng, selections=5, plants_per_cell=2, freezes=6)[0].drop(columns=["sensor", "event"])
    number = rows["plant"].str[1:].astype(int)
    return rows.assign(
        unhardened_100h=(rows["freeze"].astype("category").cat.codes % 3) * 1.2,
        years_short=(number % 4) * 0.7,
        observer=np.where((number + rows["grade"]) % 2 == 0, "K", "M"),
        protected=np.where(number % 5 == 0, np.where(number % 2 == 0, "cover", "snow"), ""),
    )


def problem_with(rows, terms):
    design = build_design(check_observations(rows, 6, protected=True), 6, terms)
    return Problem(design, tree_of(design), 1.5, 6.0)


@pytest.mark.parametrize("fixed", [{}, {"tau_u": 0.0, "tau_winter": 0.4}])
def test_gradient_is_exact_with_every_term(every, fixed):
    problem, priors = problem_with(every, EVERY), Priors(others=EVERY.scales, fixed=fixed)
    assert set(priors.names) >= {"tau_winter", "tau_observer"}
    for psi in (priors.start(), priors.start() - 0.7):
        _, gradient, mode = log_posterior(problem, priors, psi)
        for index, step in enumerate(1e-4 * np.eye(psi.size)):
            up = log_posterior(problem, priors, psi + step, mode.effects)[0]
            down = log_posterior(problem, priors, psi - step, mode.effects)[0]
            assert gradient[index] == pytest.approx((up - down) / 2e-4, abs=2e-5)


def test_columns_of_the_border_are_the_terms(every):
    design = problem_with(every, EVERY).design
    table = design.table[~((design.table["grade_low"] == 0) & (design.table["grade"] == 5))].reset_index(drop=True)
    has_end = design.high < design.worst
    blocks = {block.names: block for block in design.blocks}
    for name in EVERY.fixed:
        column = design.lower[:, blocks[(name,)].columns].ravel()
        assert column[has_end] == pytest.approx(table[name].to_numpy()[has_end])
    kinds = blocks[("cover", "snow")]
    assert kinds.own_sd.tolist() == [3.0, 3.0]
    for position, kind in enumerate(("cover", "snow")):
        column = design.lower[:, kinds.start + position]
        assert (column[has_end] == table["protected"].eq(kind).to_numpy()[has_end]).all()
    assert (design.cell_border.toarray()[:, design.worst + 2 :] == 0.0).all()  # floors stand where every term is 0


def test_a_covariate_is_recovered_and_floors_stand_at_its_reference():
    """Three of eight freezes met plants 2 to 3 units from the reference, which made them 1 K a unit more tender."""
    freezes = [-4.0, -5.2, -6.1, -7.3, -8.4, -9.6, -5.7, -7.9]
    units = np.array([0.0, 0.0, 2.0, 0.0, 3.0, 0.0, 2.5, 0.0])
    rows, truth = shifted_trial(31, np.broadcast_to(units, (PLANTS, 8)), freezes, tau_e=0.2, exposure_sd=0.2)
    rows = rows.assign(short=units[rows["spell"]])
    fit = fit_tolerance(rows, terms=Terms(fixed={"short": 1.5}))
    found = fit.terms().iloc[0]
    assert found["kind"] == "fixed" and found["name"] == "short"
    assert found["low_c"] < 1.0 < found["high_c"]
    assert found["high_c"] - found["low_c"] < 1.5
    assert found["estimate_c"] == pytest.approx(1.0, abs=0.4)

    def error(table):
        both = table.merge(truth, on=["selection", "rootstock"], suffixes=("", "_true"))
        return (both["floor_c"] - both["floor_c_true"]).to_numpy()

    with_term, without = error(fit.floors()), error(fit_tolerance(rows).floors())
    assert abs(with_term.mean()) < 0.35
    assert without.mean() > with_term.mean() + 0.4  # unhardened plants pass for tender ones


def test_winters_are_recovered_and_floors_to_come_allow_for_them():
    freezes = [-4.0, -5.2, -6.1, -7.3, -8.4, -9.6, -5.7, -7.9, -6.6, -8.8]
    effects = np.array([1.6, -1.2, 0.0, 1.0, -1.4])  # two freezes a winter
    rows, _ = shifted_trial(32, np.broadcast_to(effects.repeat(2), (PLANTS, 10)), freezes, tau_e=0.1, exposure_sd=0.2)
    fit = fit_tolerance(rows, terms=Terms(random={"winter": 1.0}))
    found = fit.terms()
    assert found["kind"].eq("random").all() and found["name"].eq("winter").all()
    estimates = found.set_index("label")["estimate_c"].to_numpy()
    assert np.corrcoef(estimates, effects)[0, 1] > 0.97
    assert (found["low_c"].to_numpy() < effects).sum() >= 4 and (found["high_c"].to_numpy() > effects).sum() >= 4
    scales = fit.scales_table().set_index("name")
    assert scales.loc["tau_winter", "low_c"] > 0.4
    posterior = fit.posterior
    to_come = claim_deviation(posterior, survive=0.9)
    sd = np.sqrt(sum(posterior.scale(name) ** 2 for name in ("tau_u", "tau_e", "tau_winter")))
    assert to_come == pytest.approx(spread_quantile(0.9, sd, posterior.scale("sigma")))
    sd = np.hypot(posterior.scale("tau_u"), posterior.scale("tau_e"))
    typical = spread_quantile(0.9, sd, posterior.scale("sigma"))
    assert (to_come > typical + 0.2).any() and (to_come >= typical).all()


def test_a_severe_observer_is_told_from_tender_plants():
    freezes = [-4.0, -5.2, -6.1, -7.3, -8.4, -9.6]
    rng = np.random.default_rng(33)
    who = rng.integers(0, 2, size=(PLANTS, 6))
    rows, _ = shifted_trial(33, np.where(who == 1, 0.8, -0.8), freezes, tau_e=0.2, exposure_sd=0.2, carry=False)
    rows = rows.assign(observer=np.array(["K", "M"])[who[rows["number"], rows["spell"]]])
    found = fit_tolerance(rows, terms=Terms(random={"observer": 0.5})).terms().set_index("label")["estimate_c"]
    assert found["M"] - found["K"] == pytest.approx(1.6, abs=0.5)


def test_protected_rows_prove_nothing_by_themselves():
    freezes = [-4.0, -5.5, -7.0, -8.5, -10.0]
    covered = np.arange(PLANTS) % 3 == 0
    shift = np.where(covered[:, None], -3.0, 0.0) + np.zeros((1, 5))
    rows, _ = shifted_trial(34, shift, freezes)
    rows = rows.assign(protected=np.where(covered[rows["number"]], "cover", "no"))
    fit, alone = fit_tolerance(rows, terms=Terms(protection=3.0)), fit_tolerance(rows)
    found = fit.terms().iloc[0]
    assert (found["kind"], found["label"]) == ("protected", "cover")
    assert found["low_c"] < -3.0 < found["high_c"] and found["estimate_c"] == pytest.approx(-3.0, abs=1.0)
    counted = ["selection", "rootstock", "plants", "scores", "killed", "coldest_survived_c", "warmest_fatal_c",
               "tested_to_c", "evidence", "open_end", "rests_on"]  # fmt: skip
    pd.testing.assert_frame_equal(fit.floors()[counted], alone.floors()[counted])
    assert (fit.posterior.design.table["protected"] == "cover").sum() > 50
    both = fit.floors().merge(alone.floors(), on=["selection", "rootstock"], suffixes=("", "_alone"))
    width, width_alone = ((both["floor_high_c" + s] - both["floor_low_c" + s]).mean() for s in ("", "_alone"))
    assert width < width_alone  # the others learn from them


def test_a_cell_of_protected_plants_only_has_no_floor_and_no_pair():
    rows = pd.DataFrame(
        [("p1", "A", "f1", -6.0, 1, ""), ("p2", "A", "f2", -8.0, 5, ""), ("p3", "B", "f2", -8.0, 1, "cover"),
         ("p4", "C", "f1", -6.0, 2, ""), ("p5", "A", "f1", -6.0, 0, "container")],
        columns=["plant", "selection", "freeze", "exposure_c", "grade", "protected"],
    ).assign(rootstock="own", exposure_sd_c=0.5)  # fmt: skip
    fit = fit_tolerance(rows, terms=Terms(protection=3.0))
    assert fit.floors()["selection"].tolist() == ["A", "C"]
    assert fit.floors()["scores"].tolist() == [2, 1]  # not the container
    assert set(fit.compare()["selection_a"]) == {"A"} and set(fit.compare()["selection_b"]) == {"C"}
    with pytest.raises(FitError, match="selection 'B', which has no observation"):
        fit.compare(selections=["A", "B"])
    assert fit.posterior.design.alpha_mean == -6.0


def test_a_rootstock_of_protected_plants_only_has_no_curve_no_rank_and_no_pair_of_stocks():
    rows = pd.DataFrame(
        [("p1", "A", "own", "f1", -6.0, 1, ""), ("p2", "A", "P2", "f2", -8.0, 5, ""),
         ("p3", "B", "own", "f2", -8.0, 3, ""), ("p4", "B", "V7", "f1", -6.0, 2, "cover")],
        columns=["plant", "selection", "rootstock", "freeze", "exposure_c", "grade", "protected"],
    ).assign(exposure_sd_c=0.5)  # fmt: skip
    fit = fit_tolerance(rows, terms=Terms(protection=3.0))
    tested = [("A", "P2"), ("A", "own"), ("B", "own")]
    assert len(fit.posterior.design.cells) == 4
    curves = fit.curves([-12.0, -6.0])
    assert curves.indexes["selection_rootstock"].tolist() == tested
    assert (curves.sel(temperature=-12.0) < curves.sel(temperature=-6.0)).all()
    ranked = fit.ranks().query("rootstock != 'all'")
    assert sorted(ranked[["selection", "rootstock"]].itertuples(index=False, name=None)) == tested
    stocks = fit.rootstocks()
    assert set(zip(stocks["rootstock_a"], stocks["rootstock_b"], strict=True)) == {("P2", "own")}


def test_faults_of_terms_are_named(every):
    with pytest.raises(FitError, match="column 'warmth_c' is missing"):
        fit_tolerance(every, terms=Terms(fixed={"warmth_c": 0.5}))
    with pytest.raises(FitError, match="column 'years_short': found a value that is no number"):
        fit_tolerance(every.assign(years_short=np.nan), terms=Terms(fixed={"years_short": 1.0}))
    with pytest.raises(FitError, match="no observation of an unprotected plant"):
        fit_tolerance(every.assign(protected="cover"), terms=Terms(protection=3.0))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"fixed": {"short": -1.0}}, "term 'short': found -1.0; accepted: a number of degC above 0."),
        ({"random": {"winter": np.nan}}, "term 'winter': found nan; accepted: a number of degC above 0."),
        ({"protection": 0.0}, "term 'protection': found 0.0; accepted: a number of degC above 0."),
        ({"random": {"sensor": 0.5}}, "term 'sensor': the model has an effect of that name"),
        ({"random": {"u": 0.5}}, "term 'u': the model has an effect of that name"),
    ],
)
def test_terms_that_the_model_cannot_take_are_refused(given, said):
    with pytest.raises(FitError, match=said):
        Terms(**given)

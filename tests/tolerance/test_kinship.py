"""Kinship: Henderson's rules against a published example and against two independent computations."""

from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hardiness.errors import FitError
from hardiness.tolerance.design import build_design
from hardiness.tolerance.factor import tree_of
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.kinship import SPORT_VARIANCE, kinship_of, relationship_matrix
from hardiness.tolerance.latent import Problem
from hardiness.tolerance.marginal import log_posterior
from hardiness.tolerance.priors import Priors
from hardiness.tolerance.rows import check_observations
from hardiness.tolerance.terms import Terms
from tests.simulate import simulate_observations


def register(*rows):
    """Rows of (selection, seed parent, pollen parent[, origin])."""
    names = ["selection", "seed_parent", "pollen_parent", "origin"]
    return pd.DataFrame([(*row, "seedling")[:4] for row in rows], columns=names)


# Mrode, Linear Models for the Prediction of Animal Breeding Values (3rd ed. 2014), table 2.1: T and D are printed on
# page 25; A is that of section 2.2 as the R package pedigreeTools 0.2 (help page of getA) holds it for its own test.
MRODE = register(("3", "1", "2"), ("4", "1", ""), ("5", "4", "3"), ("6", "5", "2"))
MRODE_A = [
    [1.0, 0.0, 0.5, 0.5, 0.5, 0.25],
    [0.0, 1.0, 0.5, 0.0, 0.25, 0.625],
    [0.5, 0.5, 1.0, 0.25, 0.625, 0.5625],
    [0.5, 0.0, 0.25, 1.0, 0.625, 0.3125],
    [0.5, 0.25, 0.625, 0.625, 1.125, 0.6875],
    [0.25, 0.625, 0.5625, 0.3125, 0.6875, 1.125],
]
MRODE_T = [
    [1.0, 0.0, 0.0, 0.0, 0.0, 0.0],
    [0.0, 1.0, 0.0, 0.0, 0.0, 0.0],
    [0.5, 0.5, 1.0, 0.0, 0.0, 0.0],
    [0.5, 0.0, 0.0, 1.0, 0.0, 0.0],
    [0.5, 0.25, 0.5, 0.5, 1.0, 0.0],
    [0.25, 0.625, 0.25, 0.25, 0.5, 1.0],
]
MRODE_D = [1.0, 1.0, 0.5, 0.75, 0.5, 0.469]


def rebuilt(kin, names):
    """A of the named selections from the parts that the model uses."""
    weights = np.array([kin.weights[name] for name in names]).reshape(len(names), -1)
    return (weights * kin.ancestor_variance) @ weights.T + np.diag([kin.own_variance[name] for name in names])


def test_relationship_matrix_is_that_of_the_published_example():
    found = relationship_matrix(MRODE)
    assert list(found["selection"].to_numpy()) == list("123456") and found.attrs["units"] == "1"
    assert found.to_numpy() == pytest.approx(np.array(MRODE_A), abs=1e-12)


def test_parts_and_variances_are_those_of_the_published_example():
    kin = kinship_of(MRODE, list("123456"))
    assert set(kin.ancestors) == set("12345")  # 6 has no offspring: its part is its own
    order = [kin.ancestors.index(name) for name in "12345"]
    weights = np.array([kin.weights[name][order] for name in "123456"])
    assert weights == pytest.approx(np.array(MRODE_T)[:, :5], abs=1e-12)
    assert kin.ancestor_variance[order] == pytest.approx(MRODE_D[:5], abs=1e-12)
    assert kin.own_variance == pytest.approx(dict(zip("12345", [0.0] * 5, strict=True)) | {"6": MRODE_D[5]}, abs=3e-4)
    assert rebuilt(kin, "123456") == pytest.approx(np.array(MRODE_A), abs=1e-12)


def test_half_sib_and_back_cross_example():
    """Seven animals of a course page on the tabular method: inbreeding 0.125, 0.125 and 0.21875 (printed 0.218)."""
    pedigree = register(
        ("2", "1", ""), ("3", "1", ""), ("4", "1", ""), ("5", "2", "3"), ("6", "4", "3"), ("7", "5", "6")
    )
    found = relationship_matrix(pedigree)
    assert np.diag(found) - 1 == pytest.approx([0, 0, 0, 0, 0.125, 0.125, 0.21875])
    assert found.to_numpy()[1] == pytest.approx([0.5, 1, 0.25, 0.25, 0.625, 0.25, 0.4375])


@pytest.mark.parametrize(
    "rows, name, inbreeding",
    [
        ([("S", "P", "P")], "S", 0.5),  # selfed once
        ([("S", "P", "P"), ("S2", "S", "S"), ("S3", "S2", "S2")], "S3", 0.875),  # and thrice: 1 - (1/2)^3
        ([("A", "M", "F"), ("B", "M", "F"), ("C", "A", "B")], "C", 0.25),  # full sibs
        ([("A", "M", "F"), ("B", "M", "G"), ("C", "A", "B")], "C", 0.125),  # half sibs
        ([("A", "M", "F"), ("C", "A", "M")], "C", 0.25),  # parent and offspring
        ([("K", "P", "", "clone"), ("S", "K", "P")], "S", 0.5),  # a tree and its clone: selfed
    ],
)
def test_inbreeding_of_known_matings(rows, name, inbreeding):
    found = relationship_matrix(register(*rows))
    assert float(found.sel(selection=name, relative=name)) == pytest.approx(1 + inbreeding)


def test_a_clone_is_its_parent_again_and_a_sport_is_it_and_a_change():
    found = relationship_matrix(register(("K", "P", "", "clone"), ("W", "P", "", "sport"), ("S", "P", "")))
    assert found.sel(selection="K").to_series().to_dict() == {"K": 1, "P": 1, "S": 0.5, "W": 1}
    assert float(found.sel(selection="W", relative="W")) == 1 + SPORT_VARIANCE
    assert float(found.sel(selection="W", relative="S")) == 0.5
    kin = kinship_of(register(("K", "P", "", "clone")), ["K", "P"])
    assert kin.ancestors == ("P",) and kin.own_variance == {"K": 0.0, "P": 0.0}


def by_paths(pedigree):
    """Twice the probability that two genes are alike by descent, followed back along all paths (Karigl's recursion)."""
    parents = {row.selection: (row.seed_parent, row.pollen_parent) for row in pedigree.itertuples(index=False)}
    age = {name: number for number, name in enumerate(parents)}

    @cache
    def alike(one, other):
        if "" in (one, other):
            return 0.0
        if one == other:
            seed, pollen = parents[one]
            return 0.5 * (1.0 + alike(seed, pollen))
        older, younger = sorted((one, other), key=age.__getitem__)
        seed, pollen = parents[younger]
        return 0.5 * (alike(older, seed) + alike(older, pollen))

    names = sorted(parents)
    return np.array([[2.0 * alike(one, other) for other in names] for one in names])


@st.composite
def pedigrees(draw):
    size = draw(st.integers(2, 14))
    rows = []
    for number in range(size):
        older = [f"{other:02d}" for other in range(number)] + [""]
        rows.append((f"{number:02d}", draw(st.sampled_from(older)), draw(st.sampled_from(older))))
    return register(*rows)


@given(pedigrees(), st.data())
def test_any_pedigree_agrees_with_paths_of_descent_and_is_rebuilt_from_its_parts(pedigree, data):
    expected = by_paths(pedigree)
    shuffled = pedigree.sample(frac=1.0, random_state=3)
    assert relationship_matrix(shuffled).to_numpy() == pytest.approx(expected, abs=1e-12)
    names = sorted(data.draw(st.sets(st.sampled_from(list(pedigree["selection"])), min_size=1)))
    kin = kinship_of(shuffled, names)
    chosen = [sorted(pedigree["selection"]).index(name) for name in names]
    wanted = expected[np.ix_(chosen, chosen)]
    if kin is None:
        assert wanted == pytest.approx(np.eye(len(names)))
    else:
        assert rebuilt(kin, names) == pytest.approx(wanted, abs=1e-12)
        assert all(sum(kin.weights[name][place] > 0 for name in names) > 1 for place in range(len(kin.ancestors)))


def test_without_a_known_parent_there_is_no_kinship():
    assert kinship_of(register(("A", "", ""), ("B", "", "")), ["A", "B"]) is None
    assert kinship_of(pd.DataFrame({"selection": ["A"]}), ["A", "not registered"]) is None
    assert kinship_of(register(("A", "unknown", "?"), ("B", "Open", None)), ["A", "B"]) is None
    # parents of a selection without observations say nothing of the others
    assert kinship_of(register(("A", "", ""), ("B", "A", "")), ["A"]) is None


def test_a_selection_named_like_an_unknown_parent_is_a_parent():
    kin = kinship_of(register(("open", "", ""), ("B", "open", "")), ["B", "open"])
    assert kin.ancestors == ("open",) and kin.own_variance["B"] == 0.75


@pytest.mark.parametrize(
    "rows, circle",
    [
        ([("A", "A", "")], "'A' <- 'A'"),
        ([("A", "B", ""), ("B", "M", "C"), ("C", "A", "")], "'A' <- 'C' <- 'B' <- 'A'"),
    ],
)
def test_a_loop_is_named(rows, circle):
    with pytest.raises(FitError, match="a selection descends from itself: ") as caught:
        kinship_of(register(*rows), ["A"])
    assert circle in str(caught.value) and "Correct seed_parent" in str(caught.value)


def test_a_selection_that_stands_twice_is_refused():
    with pytest.raises(FitError, match="selection 'A' stands twice"):
        kinship_of(register(("A", "M", ""), ("A", "P", "")), ["A"])


def test_a_clone_of_an_inbred_parent_hands_its_inbreeding_on():
    """S is P selfed (F = 1/2), K its clone; a seedling of K and an unknown tree varies by 1 like any other."""
    found = relationship_matrix(register(("S", "P", "P"), ("K", "S", "", "clone"), ("C", "K", "")))
    at = {(one, other): float(found.sel(selection=one, relative=other)) for one in "SKC" for other in "SKC"}
    assert at["K", "K"] == at["S", "K"] == at["S", "S"] == pytest.approx(1.5)
    assert at["C", "C"] == pytest.approx(1.0) and at["C", "K"] == pytest.approx(0.75)


@pytest.mark.parametrize("origin", ["clone", "sport", "seedling"])
def test_with_two_parents_named_whatever_its_origin_it_is_half_of_each(origin):
    found = relationship_matrix(register(("X", "M", "P", origin)))
    assert float(found.sel(selection="X", relative="X")) == pytest.approx(1.0)
    assert float(found.sel(selection="X", relative="M")) == float(found.sel(selection="X", relative="P")) == 0.5


def test_blanks_around_a_name_make_no_other_parent():
    kin = kinship_of(register(("S1", " M", ""), ("S2", "M ", "")), ["S1", "S2"])
    assert kin is not None and kin.ancestors == ("M",)


# Within the model


FAMILIES = register(
    ("S-01", "M1", "F1"),
    ("S-02", "M1", "F1"),
    ("S-03", "M1", ""),
    ("S-04", "S-01", "S-01"),
    ("S-05", "S-03", "", "sport"),
)


@pytest.mark.parametrize("trial", ["small", "three_sensors"])
def test_gradient_is_exact_with_kinship(trial, request):
    rows = check_observations(request.getfixturevalue(trial), 6)
    terms = Terms(kinship=kinship_of(FAMILIES, list(rows["selection"])))
    assert set(terms.kinship.ancestors) == {"M1", "F1", "S-01", "S-03"}
    design = build_design(rows, 6, terms)
    problem, priors = Problem(design, tree_of(design), 1.5, 6.0), Priors()
    for psi in (priors.start(), priors.start() - 0.7):
        _, gradient, mode = log_posterior(problem, priors, psi)
        for index, step in enumerate(1e-4 * np.eye(psi.size)):
            up = log_posterior(problem, priors, psi + step, mode.effects)[0]
            down = log_posterior(problem, priors, psi - step, mode.effects)[0]
            assert gradient[index] == pytest.approx((up - down) / 2e-4, abs=2e-5)


def test_unrelated_parents_change_nothing(small):
    """Five selections, each from a seed parent of its own, are as unrelated as five without parents."""
    apart = register(*((f"S-0{i}", f"M{i}", f"F{i}") for i in range(1, 6)))
    kin = kinship_of(apart, [f"S-0{i}" for i in range(1, 6)])
    assert kin.ancestors == () and kin.own_variance == pytest.approx({f"S-0{i}": 1.0 for i in range(1, 6)})
    pd.testing.assert_frame_equal(
        fit_tolerance(small).floors(), fit_tolerance(small, terms=Terms(kinship=kin)).floors()
    )


def test_a_clone_has_its_parents_floor_apart_from_the_combination(small):
    kin = kinship_of(register(("S-02", "S-01", "", "clone")), sorted(set(small["selection"])))
    fit = fit_tolerance(small, terms=Terms(kinship=kin), priors=Priors(fixed={"tau_c": 0.0}))
    floors = fit.floors().set_index(["selection", "rootstock"])
    for name in ("floor_low_c", "floor_c", "floor_high_c"):
        assert floors[name]["S-01"].to_numpy() == pytest.approx(floors[name]["S-02"].to_numpy(), abs=1e-6)
    assert abs(floors["floor_c"]["S-01", "own"] - floors["floor_c"]["S-03", "own"]) > 0.01


def draw_family_trial(seed):
    """Three crosses of six parents: parents stand with six plants, of each of eight seedlings of a cross but one."""
    parents = [f"P{number}" for number in range(6)]
    seedlings = [f"S{cross}-{number}" for cross in range(3) for number in range(8)]
    pedigree = register(*((name, f"P{2 * int(name[1])}", f"P{2 * int(name[1]) + 1}") for name in seedlings))
    names = parents + seedlings
    related = relationship_matrix(pedigree).sel(selection=names, relative=names).to_numpy()
    rows, truth = simulate_observations(
        np.random.default_rng(seed), selections=names, rootstocks=("own",), plants_per_cell=6, freezes=4, tau_a=2.0,
        tau_b=0.0, relationship=related,
    )  # fmt: skip
    first = rows.groupby("selection")["plant"].transform("min")
    return rows[rows["selection"].isin(parents) | (rows["plant"] == first)], truth, pedigree


def judged(rows, truth, kinship):
    """Coverage, mean width and error of the seedlings' floors."""
    floors = fit_tolerance(rows, terms=Terms(kinship=kinship)).floors()
    both = floors.merge(truth, on=["selection", "rootstock"], suffixes=("", "_true"))
    both = both[both["selection"].str.startswith("S")]
    covered = both["floor_c_true"].between(both["floor_low_c"], both["floor_high_c"])
    error = both["floor_c"] - both["floor_c_true"]
    return covered.mean(), (both["floor_high_c"] - both["floor_low_c"]).mean(), np.sqrt((error**2).mean())


@pytest.mark.slow
def test_families_narrow_the_intervals_of_single_plants_and_keep_their_coverage():
    found = []
    for seed in range(14):
        rows, truth, pedigree = draw_family_trial(seed)
        kin = kinship_of(pedigree, list(truth["selection"]))
        found.append((*judged(rows, truth, kin), *judged(rows, truth, None)))
    covered, width, error, covered_apart, width_apart, error_apart = np.mean(found, axis=0)
    standard_error = np.std(np.array(found)[:, 0], ddof=1) / np.sqrt(len(found))
    assert 0.88 - 2.5 * standard_error < covered < 0.97 + 2.5 * standard_error
    narrower = np.array(found)[:, 4] - np.array(found)[:, 1]
    assert narrower.mean() > 3.0 * narrower.std(ddof=1) / np.sqrt(len(found))
    assert width < 0.975 * width_apart and error < error_apart
    assert covered_apart > 0.85  # narrower than an interval that was right itself

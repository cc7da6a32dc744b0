"""What comes out of the job: exposures, observations, floors, claims, comparisons, ranks, and what was left out."""

from __future__ import annotations

from hardiness.schema.columns import Column

EXPOSED = (
    Column("plant", "the plant that met the freeze"),
    Column("selection", "its genotype"),
    Column("rootstock", "what it stands on"),
)
OBSERVATIONS = (
    *EXPOSED,
    Column("freeze", "the coldest freeze of the scored window"),
    Column("event", "its event"),
    Column("sensor", "whose readings"),
    Column("winter", "its winter"),
    Column("exposure_c", "coldest held temperature of the window", "number", "degC"),
    Column("exposure_sd_c", "its standard deviation", "number", "K"),
    Column("sensor_sd_c", "the part of it that is the sensor's bias", "number", "K"),
    Column("grade", "state of the plant when the window closed", "integer"),
    Column("grade_low", "least damage this window can have done", "integer"),
    Column("near", "freezes of the window within 1 degC of the coldest", "integer"),
    Column("protected", "what stood between plant and air; such rows are not fitted"),
    Column("scored_on", "date of the score that counts", "date"),
    Column("freezes", "freezes in the window", "integer"),
    Column("provisional", "scored early, with no later score yet", "flag"),
)
FLOORS = (
    Column("selection", "genotype"),
    Column("rootstock", "what it stands on"),
    Column("plants", "plants with a row", "integer"),
    Column("scores", "rows", "integer"),
    Column("killed", "plants lost at the grade asked for", "integer"),
    Column("coldest_survived_c", "coldest exposure that a plant came through", "number", "degC"),
    Column("warmest_fatal_c", "warmest exposure that lost a plant", "number", "degC"),
    Column("tested_to_c", "coldest exposure met with a score to show for it", "number", "degC"),
    Column("evidence", "bracketed, all survived, all died or untested", "choice",
           choices=("bracketed", "all survived", "all died", "untested")),
    Column("open_end", "the end of the interval that no plant bounds", "choice", choices=("cold", "warm", "none")),
    Column("rests_on", "what carries the figure", "choice", choices=("cell", "selection", "trial", "prior")),
    Column("floor_c", "tolerance floor: posterior median", "number", "degC"),
    Column("floor_low_c", "colder end of its interval", "number", "degC"),
    Column("floor_high_c", "warmer end of its interval", "number", "degC"),
    Column("claimable_c", "the figure the evidence carries", "number", "degC"),
)  # fmt: skip
CLAIMS = (
    Column("selection", "genotype"),
    Column("rootstock", "what it stands on"),
    Column("claimed_floor_c", "hearsay", "number", "degC"),
    Column("claim_source", "who says so"),
    Column("probability_holds", "that the 90 % floor is at or below the claim", "number", "1"),
    Column("probability_half_holds", "that the 50 % floor is at or below the claim", "number", "1"),
    Column("beyond_tested", "the claim is colder than tested to", "flag"),
    Column("floor_c", "tolerance floor: posterior median", "number", "degC"),
)
COMPARE = (
    Column("selection_a", "first of the pair, by name"),
    Column("selection_b", "second of the pair"),
    Column("rootstock", "the stock both stand on; all: mean over those both stand on"),
    Column("difference_c", "a - b, median; negative: a is hardier", "number", "K"),
    Column("low_c", "colder end of its interval", "number", "K"),
    Column("high_c", "warmer end", "number", "K"),
    Column("probability_a_hardier", "that the difference is negative", "number", "1"),
    Column("shared_winters", "winters in which both have a row", "integer"),
)
RANKS = (
    Column("selection", "genotype"),
    Column("rootstock", "the stock it is ranked on; all: its own effect, the stocks' part taken out"),
    Column("rank", "posterior median; 1 is the hardiest", "integer"),
    Column("rank_low", "hardier end of its interval", "integer"),
    Column("rank_high", "more tender end", "integer"),
    Column("ranked", "selections ranked there", "integer"),
    Column("probability_among_best", "that it is among the best n", "number", "1"),
    Column("probability_hardier_than_checks", "that it is hardier than every (other) check there", "number", "1"),
)
AGAINST_CHECKS = (
    Column("selection", "genotype"),
    Column("rootstock", "the stock both stand on; all: its own effect, the stocks' part taken out"),
    Column("check", "the yardstick"),
    Column("probability_hardier", "that it is hardier than the check", "number", "1"),
)
ROOTSTOCKS = (
    Column("rootstock_a", "first of the pair, by name"),
    Column("rootstock_b", "second of the pair"),
    Column("over", "shared: mean over the selections on both; any: selections at large", "choice",
           choices=("shared", "any")),
    Column("shared_selections", "selections on both", "integer"),
    Column("difference_c", "a - b, median; negative: a is hardier", "number", "K"),
    Column("low_c", "colder end of its interval", "number", "K"),
    Column("high_c", "warmer end", "number", "K"),
    Column("probability_a_hardier", "that the difference is negative", "number", "1"),
    Column("verdict", "which is hardier; not separable where the interval covers 0"),
)  # fmt: skip
ESTIMATES = (
    Column("kind", "scale, fixed, protected or random"),
    Column("name", "the scale, or the column of the term"),
    Column("label", "which protection, winter or observer"),
    Column("estimate_c", "posterior mean of a scale, median of an effect; positive: more tender", "number", "K"),
    Column("low_c", "lower end of its interval", "number", "K"),
    Column("high_c", "upper end of its interval", "number", "K"),
    Column("sd_c", "posterior standard deviation", "number", "K"),
)
DURATIONS = (
    Column("held_h", "held duration that the model takes as exposure", "number", "h"),
    Column("rows", "rows that all durations can be compared on", "integer"),
    Column("log_evidence", "log marginal likelihood of the scores", "number", "1"),
    Column("weight", "posterior probability of the duration, all equally likely before", "number", "1"),
    Column("offset_c", "median over the freezes of the trial's own duration minus this one", "number", "K"),
    Column("offset_sd_c", "standard deviation of that difference between freezes", "number", "K"),
)
PLAIN = (
    Column("selection", "genotype"),
    Column("plants", "plants that say where they are lost or not", "integer"),
    Column("contradicting", "of them, lost at one exposure and through a colder one; not in the median", "integer"),
    Column("median_low_c", "colder end of where Turnbull's median kill threshold lies; empty: open", "number", "degC"),
    Column("median_high_c", "warmer end", "number", "degC"),
    Column("mean_c", "Spearman and Karber's mean kill threshold; empty: no estimate", "number", "degC"),
    Column("mean_se_c", "its standard error", "number", "K"),
    Column("tested_to_c", "coldest exposure met with a score to show for it", "number", "degC"),
    Column("exposed", "plants at that exposure", "integer"),
    Column("killed", "of them lost", "integer"),
    Column("killed_low", "least share killed there that the counts allow (Wilson, 95 %)", "number", "1"),
    Column("killed_high", "most share", "number", "1"),
)
LEFT_OUT = (
    Column("what", "score, freeze or window"),
    Column("plant", "which plant"),
    Column("freeze", "which freeze or event, where one is meant"),
    Column("scored_on", "which score, where one is meant", "date"),
    Column("reason", "a short fixed phrase"),
    Column("detail", "the sentence a grower reads"),
)
SECOND_LOOK = (
    Column("plant", "which plant"),
    Column("scored_on", "date of the score", "date"),
    Column("reason", "a short fixed phrase"),
    Column("detail", "the sentence a grower reads"),
)

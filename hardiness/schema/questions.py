"""What comes out when readings or a fit are questioned: flags; checks, calibration, influence, sensitivity."""

from __future__ import annotations

from hardiness.schema.columns import Column

FLAG_KINDS = ("impossible", "sign flip", "spike", "stuck", "zero plateau", "sun", "clock jump", "clock drift",
              "battery fade", "gap")  # fmt: skip
FLAGS = (
    Column("code", "names the flag; the same as long as its readings are"),
    Column("sensor", "whose readings"),
    Column("flag", "what is odd about them", "choice", choices=FLAG_KINDS),
    Column("from", "first reading that is odd; of a gap, the last before it", "time"),
    Column("to", "last one; of a gap, the first after it", "time"),
    Column("readings", "readings from the one to the other; of a gap, none", "integer"),
    Column("worst_c", "the oddest temperature among them; empty where none is odd by itself", "number", "degC"),
    Column("freezes", "freezes that it touches, ';' between"),
    Column("verdict", "what was decided: mask, keep, or nothing yet", "choice", choices=("mask", "keep")),
    Column("sentence", "what a grower reads"),
)
CHECKS = (
    Column("check", "what is asked of the fit"),
    Column("statistic", "what is measured"),
    Column("value", "what was found", "number"),
    Column("accepted", "what passes"),
    Column("passes", "whether it does", "flag"),
    Column("comment", "the sentence a grower reads"),
)
CALIBRATION = (
    Column("grade", "this grade or worse", "integer"),
    Column("predicted_from", "bin of the predicted probability: from", "number", "1"),
    Column("predicted_to", "to", "number", "1"),
    Column("rows", "rows predicted so", "integer"),
    Column("expected", "how many of them should have reached it", "number"),
    Column("reached", "how many did", "integer"),
    Column("low", "lower 90 % limit of that number", "integer"),
    Column("high", "upper limit", "integer"),
    Column("as_predicted", "whether it lies within", "flag"),
)
GRADES_BY_EXPOSURE = (
    Column("exposure_from_c", "bin of exposures: colder end", "number", "degC"),
    Column("exposure_to_c", "warmer end", "number", "degC"),
    Column("rows", "rows with such an exposure", "integer"),
    Column("grade", "the state a plant was found in", "integer"),
    Column("expected", "how many rows should show it", "number"),
    Column("seen", "how many do", "integer"),
    Column("low", "lower 90 % limit of that number", "integer"),
    Column("high", "upper limit", "integer"),
    Column("as_predicted", "whether it lies within", "flag"),
)
CELL_FIT = (
    Column("selection", "genotype"),
    Column("rootstock", "what it stands on"),
    Column("rows", "rows predicted", "integer"),
    Column("mean_grade", "mean grade seen", "number"),
    Column("expected_grade", "mean grade predicted", "number"),
    Column("grade_p", "probability of grades as far from what was predicted", "number", "1"),
    Column("killed", "plants lost", "integer"),
    Column("expected_killed", "plants that should have been lost", "number"),
    Column("low", "lower 90 % limit of that number", "integer"),
    Column("high", "upper limit", "integer"),
    Column("killed_p", "probability of losses as far from what was predicted", "number", "1"),
)
SPACING = (
    Column("selection", "genotype"),
    Column("low_grades_c", "its effect by the low grades: positive is tender", "number", "K"),
    Column("high_grades_c", "its effect by the high grades", "number", "K"),
    Column("difference_c", "positive: tender in the leaf, hardy in the wood", "number", "K"),
    Column("z", "the difference in its standard errors", "number"),
)
INFLUENCE = (
    Column("selection", "genotype"),
    Column("rootstock", "what it stands on"),
    Column("kind", "plant, or freeze: a cold spell at all sensors", "choice", choices=("plant", "freeze")),
    Column("left_out", "which one is left out"),
    Column("floor_c", "tolerance floor with it", "number", "degC"),
    Column("shift_c", "floor without it minus floor with it, scales held", "number", "K"),
    Column("refit_shift_c", "the same with the whole fit done anew, where it was", "number", "K"),
)
SENSITIVITY = (
    Column("selection", "genotype"),
    Column("rootstock", "what it stands on"),
    Column(
        "prior",
        "spreads: of all effects; span: first grade to last; both",
        "choice",
        choices=("spreads", "span", "both"),
    ),
    Column("factor", "times what is assumed", "number"),
    Column("floor_c", "tolerance floor then", "number", "degC"),
    Column("shift_c", "that floor minus the floor", "number", "K"),
    Column("width_ratio", "width of its interval over that of the floor's", "number", "1"),
)

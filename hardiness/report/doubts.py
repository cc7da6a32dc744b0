"""What was left out and why, what deserves a second look, and whether the fit may be trusted."""

from __future__ import annotations

from hardiness import words
from hardiness.observations import left_out_summary
from hardiness.report.blocks import QUIET, Block, Grid, Head, Heading, Picture, Points, Section, Text
from hardiness.report.gathered import MOST_CHECKED, Gathered
from hardiness.tolerance.checks import cell_sentence

MOST_SAID = 30  # sentences listed one by one
MEANINGS = {
    "superseded": "a later score of the same window counts instead: damage shows late",
    "early": "scored too soon after a freeze, and another freeze came before the next score",
    "already dead": "the plant had been lost before",
    "set aside": "a note says that it was no real freeze at the plants",
    "exposure unknown": "no sensor of the plant had a reading in that freeze",
    "not scored": "the plant met freezes that no score answers for",
    "removed unscored": "the plant was taken out after a freeze that no score answers for",
    "no held temperature": "too few hours of the freeze are known",
    "better score after a settled death": "the plant counts as lost since the freeze that settled its death",
    "dead before any freeze": "it had met no freeze yet: no death by cold",
}
UNLIKELY = 0.05


def left_out_section(gathered: Gathered) -> Section:
    """Write the section on what does not count.

    Parameters
    ----------
    gathered : Gathered

    Returns
    -------
    Section
    """
    flow = gathered.flow
    blocks: list[Block] = []
    if flow.left_out.empty:
        blocks.append(Text("Nothing was left out."))
    else:
        heads = (Head("cases", right=True), Head("reason"), Head("which means"), Head("for example", wide=True))
        first = flow.left_out.drop_duplicates("reason").set_index("reason")["plant"]
        rows = tuple(
            (
                f"{row['count']:,}",
                row["reason"],
                MEANINGS[row["reason"]],
                _of_plant(first[row["reason"]], row["example"]),
            )
            for row in left_out_summary(flow.left_out).to_dict("records")
        )
        blocks += [Grid(heads, rows), Text("tables/left_out.csv has every case with its sentence.", QUIET)]
    protected = int((flow.observations["protected"] != "").sum())
    if protected:
        blocks.append(Text(f"{words.count(protected, 'observation')} of plants that were protected or in a container: "
                           "listed in the tables, not fitted."))  # fmt: skip
    if said := flow.joined.said:
        blocks += [Heading("Taken note of"), *_some(said)]
    if looks := [f"{row['plant']}: {row['detail']}" for row in flow.joined.second_look.to_dict("records")]:
        blocks += [Heading("Look again"), *_some(looks)]
    return Section("What was left out, and why", "left-out", tuple(blocks))


def _of_plant(plant: str, sentence: str) -> str:
    return f"{plant}: {sentence}" if plant and plant not in sentence else sentence


def _some(sentences: list[str]) -> list[Block]:
    blocks: list[Block] = [Points(tuple(sentences[:MOST_SAID]))]
    if len(sentences) > MOST_SAID:
        blocks.append(Text(f"And {len(sentences) - MOST_SAID} more: hardiness observations tells them all.", QUIET))
    return blocks


def checks_section(gathered: Gathered, plot: Picture | None) -> Section:
    """Write the section that questions the fit.

    Parameters
    ----------
    gathered : Gathered
    plot : Picture or None
        The calibration plot.

    Returns
    -------
    Section
    """
    blocks: list[Block] = []
    checks = gathered.checks
    if checks is None:
        why = "There is no observation to fit yet, and nothing to check."
        if len(gathered.tested) > MOST_CHECKED:
            why = (f"With more than {MOST_CHECKED} observations a report leaves out the checks, which fit the model "
                   "several times over: hardiness checks makes them.")  # fmt: skip
        blocks.append(Text(why, QUIET))
        return Section("May the fit be trusted?", "checks", tuple(blocks))
    failed = int((~checks.rows["passes"].astype(bool)).sum())
    looked = f"{words.count(failed, 'check')} of {len(checks.rows)} to look at, marked in the table."
    blocks.append(Text(looked if failed else f"All {len(checks.rows)} checks pass."))
    heads = (Head("check"), Head("found", right=True), Head("passes with"), Head(""), Head("in words", wide=True))
    rows = tuple(
        (row["check"], words.three_digits(float(row["value"])), row["accepted"],
         "" if row["passes"] else "LOOK", row["comment"])
        for row in checks.rows.to_dict("records")
    )  # fmt: skip
    blocks.append(Grid(heads, rows))
    cells = checks.cells
    badly = cells[cells[["grade_p", "killed_p"]].min(axis=1) < UNLIKELY]
    if len(badly):
        blocks += [
            Heading("Combinations that fit least well"),
            Points(tuple(cell_sentence(cell) for _, cell in badly.iterrows())),
            Text(
                f"Each by its mean grade or by its losses: of {len(cells)}, between one in twenty and one in ten would "
                "stand here by chance.",
                QUIET,
            ),
        ]
    if plot is not None:
        blocks.append(plot)
    return Section("May the fit be trusted?", "checks", tuple(blocks), new_page=True)

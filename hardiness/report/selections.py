"""A page for each selection: what its plants met and how they came out of it, and what that carries."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from hardiness import words
from hardiness.plainwords import explain_selection
from hardiness.report.blocks import LEAD, QUIET, Block, Facts, Grid, Head, Heading, Picture, Section, Text
from hardiness.report.floor_tables import floors_grid
from hardiness.report.gathered import MOST_CHECKED, MOST_PAGES, Gathered
from hardiness.report.wording import NOTHING, date_text, degrees, stock_name
from hardiness.sentences import FLOOR_CAUTION, came_through
from hardiness.units import parse_temperature

MOST_WINTERS = 6  # columns of a table of plants; earlier ones stand in the tables
Curve = Callable[[str], Picture | None]


def selections_section(gathered: Gathered, curve: Curve) -> Section:
    """Write the pages of selections, up to a limit; the others stand in the table of floors.

    Parameters
    ----------
    gathered : Gathered
    curve : callable
        Draws the survival curves of a selection, or gives None.

    Returns
    -------
    Section
    """
    shown = gathered.paged
    intro: list[Block] = []
    if not gathered.order:
        intro.append(Text("No selection is registered yet: hardiness add selections FILE.", QUIET))
    if more := len(gathered.order) - len(shown):
        limit = (
            f"{len(shown)} of {len(gathered.order)} selections have a page here, those with the coldest claimable "
            f"figures; {MOST_PAGES} such pages are the most. The other {more} stand in the table of floors and in "
            "tables.xlsx, and hardiness floors --explain SELECTION tells of each."
        )
        intro.append(Text(limit))
    if len(gathered.tested) > MOST_CHECKED and gathered.checks is None:
        intro.append(Text(f"With more than {MOST_CHECKED} observations a report draws no survival curves and does not "
                          "refit the model under other assumptions; hardiness checks does.", QUIET))  # fmt: skip
    parts = tuple(_selection(gathered, name, number, curve) for number, name in enumerate(shown, start=1))
    return Section("Selection by selection", "selections", tuple(intro), parts, new_page=bool(parts))


def _selection(gathered: Gathered, name: str, number: int, curve: Curve) -> Section:
    floors = gathered.floors[gathered.floors["selection"] == name]
    told = gathered.told.of(name)
    blocks: list[Block] = [Text(sentence, LEAD) for sentence in cell_sentences(gathered, name)]
    blocks.append(Facts(tuple(_facts(gathered, name))))
    if len(floors):
        blocks.append(floors_grid(floors, gathered.units, selection=False))
    if (picture := curve(name)) is not None:
        blocks.append(picture)
    plants = gathered.flow.records.plants
    mine = plants[plants["selection"] == name]
    if len(mine):
        blocks += [Heading("Its plants, winter by winter"), *_plants(gathered, mine)]
    blocks.append(Heading("In plain words"))
    paragraphs: list[list[str]] = [[]]
    for sentence in explain_selection(told):
        if sentence:
            paragraphs[-1].append(sentence)
        else:
            paragraphs.append([])
    blocks += [Text(" ".join(paragraph)) for paragraph in paragraphs if paragraph]
    blocks.append(Text(FLOOR_CAUTION, QUIET))
    return Section(name, f"selection-{number}", tuple(blocks), new_page=number > 1)


def cell_sentences(gathered: Gathered, selection: str, rootstock: str | None = None) -> list[str]:
    """Say for each rootstock what the plants of a selection came through.

    Parameters
    ----------
    gathered : Gathered
    selection : str
    rootstock : str, optional
        Only this one.

    Returns
    -------
    list of str
    """
    floors = gathered.floors[gathered.floors["selection"] == selection]
    if rootstock is not None:
        floors = floors[floors["rootstock"] == rootstock]
    if floors.empty:
        return ["No plant of it stands in the trial."]
    tested = gathered.tested[gathered.tested["selection"] == selection]
    said = []
    for cell in floors.to_dict("records"):
        rows = tested[tested["rootstock"] == cell["rootstock"]]
        coldest = float(cell["coldest_survived_c"])
        # Whoever met that temperature or a colder one was put to the same test.
        faced = rows if pd.isna(coldest) else rows[rows["exposure_c"] <= coldest + 0.05]
        sentence = came_through(
            coldest_survived_c=coldest,
            came=faced.loc[faced["grade"] < gathered.settings.worst, "plant"].nunique(),
            met=faced["plant"].nunique(),
            killed=int(cell["killed"]),
            plants=int(cell["plants"]),
            tested_to_c=float(cell["tested_to_c"]),
            warmest_fatal_c=float(cell["warmest_fatal_c"]),
            held_h=gathered.settings.model_held_h,
            units=gathered.units,
        )
        who = words.on_stock(cell["rootstock"])
        said.append(f"{who[0].upper()}{who[1:]}: {sentence[0].lower()}{sentence[1:]}")
    return said


def _facts(gathered: Gathered, name: str) -> list[tuple[str, str]]:
    register = gathered.flow.records.selections
    found = register[register["selection"] == name]
    if found.empty:
        return [("register", "not in the register of selections")]
    row = found.iloc[0]
    parents = " × ".join(part or "unknown" for part in (row["seed_parent"], row["pollen_parent"]))
    facts = [
        ("role", row["role"] or "candidate"),
        ("origin", row["origin"] or "not recorded"),
        ("parents", parents if row["seed_parent"] or row["pollen_parent"] else "not recorded"),
    ]
    if row["claimed_floor"]:
        claim = words.temperature(parse_temperature(row["claimed_floor"]).celsius, gathered.units)
        facts.append(("said to stand", f"{claim}{f' ({row.claim_source})' if row['claim_source'] else ''}"))
    if row["notes"]:
        facts.append(("notes", row["notes"]))
    return facts


def _plants(gathered: Gathered, plants: pd.DataFrame) -> list[Block]:
    observations = gathered.flow.observations
    rows = observations[observations["plant"].isin(plants["plant"])]
    winters = sorted(set(rows["winter"]))
    shown = winters[-MOST_WINTERS:]
    seen = {
        (plant, winter): _winter_text(group, gathered.units)
        for (plant, winter), group in rows.groupby(["plant", "winter"])
    }
    where = [
        " ".join(row[name] for name in ("block", "row", "place") if row[name]) for row in plants.to_dict("records")
    ]
    copies = plants["copy_of"].ne("").any()
    heads = (Head("plant"), Head("on"), Head("stands"), Head("planted"), *((Head("copy of"),) if copies else ()),
             *(Head(winter) for winter in shown), Head("gone"))  # fmt: skip
    body = []
    for row, place in zip(plants.to_dict("records"), where, strict=True):
        copy = (row["copy_of"] or NOTHING,) if copies else ()
        gone = date_text(row["removed_on"])
        why = f" {row['lost_to']}" if row["lost_to"] and gone != NOTHING else ""
        cells = (seen.get((row["plant"], winter), NOTHING) for winter in shown)
        body.append((row["plant"], stock_name(row["rootstock"]), place or NOTHING, date_text(row["planted_on"]), *copy,
                     *cells, f"{gone}{why}"))  # fmt: skip
    said = (
        f"Winters: the grade at the end of each, and the coldest met in it [°{gathered.units}]; "
        "p: protected or in a container, not counted. Stands: block, row, place."
    )
    if len(winters) > len(shown):
        said += f" Earlier winters ({words.listed(winters[:-MOST_WINTERS])}) stand in tables/observations.csv."
    return [Grid(heads, tuple(body)), Text(said, QUIET)]


def _winter_text(rows: pd.DataFrame, units: str) -> str:
    last = rows.sort_values("scored_on").iloc[-1]
    mark = " p" if (rows["protected"] != "").any() else ""
    return f"{int(last['grade'])} at {degrees(float(rows['exposure_c'].min()), units)}{mark}"

"""What a browser sees of a page, and what axe says of it."""

from pathlib import Path

AXE = Path(__file__).parents[2] / "data" / "web" / "axe.min.js"


def done(page) -> None:
    """Wait until the answer is there."""
    page.wait_for_selector("#answer:not([hx-get])")
    page.wait_for_load_state("networkidle")


def axe(page) -> list[str]:
    """What axe finds wrong with a page: the rule, and where."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{rule['id']}: {node['target']} {node['failureSummary']}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]

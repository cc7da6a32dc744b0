"""What a browser sees of a page, and what axe says of it."""

from pathlib import Path

AXE = Path(__file__).parents[2] / "data" / "web" / "axe.min.js"


AT_WORK_MS = 200_000  # what is worked out behind a page waits for what was asked before: pictures of other tests
POLL_MS, POLLS = 100, 600  # for what no selector can wait for: a minute, as the machine may be busy


def done(page, heading: str = "") -> None:
    """Wait until the answer is there; after a click also the heading, since the page before has an answer too."""
    page.wait_for_selector(f'h1:has-text("{heading}")' if heading else "h1")
    page.wait_for_selector("#answer:not([hx-get])", timeout=AT_WORK_MS)
    page.wait_for_load_state("networkidle")


def becomes_true(page, expression: str, given: object = None) -> None:
    """Wait until an expression holds: asked from outside, as the pages' policy lets nothing be evaluated inside."""
    for _ in range(POLLS):
        if page.evaluate(expression, given):
            return
        page.wait_for_timeout(POLL_MS)
    raise AssertionError(f"never true: {expression}")


def axe(page) -> list[str]:
    """What axe finds wrong with a page: the rule, and where."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{rule['id']}: {node['target']} {node['failureSummary']}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]

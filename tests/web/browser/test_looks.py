"""Every page, on a phone and on a desk, by day and by night: whole, readable, pressable, within its policy."""

import pytest

from tests.web.browser.seen import axe, done

PAGES = (
    "/", "/readings", "/readings/sensor/L1", "/freezes", "/freezes/2030-12-20 L1", "/results",
    "/results/selection/OL-01", "/results/compare?a=OL-01&a=OL-02", "/results/ranks", "/results/rootstocks",
    "/results/winters", "/results/claims", "/results/left-out", "/register", "/register?table=scores",
    "/register/waiting", "/register/uploads", "/register/history", "/register/row?table=plants&key=T01",
    "/register/edit?table=plants&key=T01", "/takeaway", "/pictures/winters", "/pictures/quality_calendar",
    "/pictures/ranks", "/pictures/survival?selection=OL-01", "/accounts", "/nothing",
)  # fmt: skip
EXPECTED = ("Failed to load resource: the server responded with a status of 404",)  # of the page that is not there


@pytest.mark.parametrize("width, dark", [(360, False), (1280, True)])
@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_whole_readable_and_within_its_policy(looked_at, look, path, width, dark):
    page = look(looked_at + path, width=width, dark=dark)
    done(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert axe(page) == []
    assert [text for text in page.complaints if not text.startswith(EXPECTED)] == []


@pytest.mark.parametrize("path", PAGES)
def test_what_is_pressed_is_large_enough_for_a_thumb(looked_at, look, path):
    page = look(looked_at + path, width=360)
    done(page)
    small = page.evaluate(
        """() => [...document.querySelectorAll(
                'main button, main .press, nav a, main input:not([type=hidden]):not(.tick input), main select, .tick')]
            .filter(e => e.offsetParent)
            .map(e => [e.textContent.trim() || e.name, e.getBoundingClientRect()])
            .filter(([_, r]) => r.height < 48 || r.width < 48).map(([t, r]) => `${t} ${r.width}x${r.height}`)"""
    )
    assert small == []


def test_the_keyboard_reaches_the_content_first(looked_at, look):
    page = look(f"{looked_at}/register")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the page's content"
    page.keyboard.press("Enter")
    page.wait_for_url("**#main")


def test_the_shipped_typeface_is_the_one_shown(looked_at, look):
    page = look(f"{looked_at}/register")
    done(page)
    page.evaluate("document.fonts.ready.then(() => true)")
    assert page.evaluate("document.fonts.check('16px \"Source Sans 3\"')")
    assert page.evaluate("[...document.fonts].filter(f => f.status === 'loaded').length") >= 1


def test_the_looking_itself_finds_what_is_wrong(looked_at, look):
    page = look(f"{looked_at}/accounts")
    page.evaluate(
        "document.querySelector('main').append(document.createElement('img'), document.createElement('input'))"
    )
    assert {text.split(":")[0] for text in axe(page)} == {"image-alt", "label"}

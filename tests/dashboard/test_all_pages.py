"""Every page in a real browser at both widths: drawn without a crash, seen, and accessible."""

import axe
import pytest
from dash_help import WIDTHS, copy_sample, settled, shoot, start_server

from dashboard.shell import ENTRIES

PAGES = [e.name for e in ENTRIES if e.file.exists()]
pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def farm_server(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    made, child = start_server(copy_sample(folder / "farm"), folder)
    yield made
    child.terminate()
    child.wait(10)


def test_axe_finds_what_is_wrong(browser_page):
    """The check can fail: a picture and a field without a name are found."""
    page = browser_page(1440)
    page.set_content("<html lang=en><title>t</title><main><h1>a</h1><img src=x><input></main>")
    assert {t.split()[1] for t in axe.troubles(page)} >= {"image-alt:", "label:"}


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_page(farm_server, browser_page, name, width):
    page = browser_page(width)
    page.goto(f"{farm_server.url}/{name}")
    settled(page)
    page.wait_for_timeout(1000)
    shoot(page, name, width)
    assert not page.locator("[data-testid=stException]").count()
    wide = page.evaluate(
        "() => document.querySelector('[data-testid=stMain]').scrollWidth - innerWidth"
    )
    assert wide <= 0, f"{name} is {wide} px wider than the screen"
    found = axe.troubles(page)
    assert not found, "\n".join(found)


@pytest.mark.parametrize("name", PAGES)
def test_the_keyboard_reaches_everything(farm_server, browser_page, name):
    """Each control that can be seen gets the focus by Tab, or is of a group that does.

    Within such a group the arrows lead on: the next test.
    """
    page = browser_page(1440)
    page.goto(f"{farm_server.url}/{name}")
    settled(page)
    page.wait_for_timeout(1000)
    wanted = page.evaluate(MARK)
    reached = set()
    for _ in range(3 * wanted + 40):
        page.keyboard.press("Tab")
        reached |= set(page.evaluate(FOCUSED))
        if len(reached) == wanted:
            break
    missing = page.evaluate(MISSING, sorted(reached))
    assert not missing, f"never reached by Tab: {missing}"


@pytest.mark.parametrize("name", ["dawn", "rows"])
def test_the_arrows_reach_each_choice_of_a_group(farm_server, browser_page, name):
    """From the one choice that Tab reaches, each other one of its group gets the focus."""
    page = browser_page(1440)
    page.goto(f"{farm_server.url}/{name}")
    settled(page)
    page.wait_for_timeout(1000)
    groups = page.locator("[role=radiogroup]:has(button), [role=toolbar]:has(button)")
    if name == "dawn":
        assert groups.count() > 1
    for i in range(groups.count()):
        group = groups.nth(i)
        wanted = group.locator("button").count()
        group.locator("button").first.focus()
        reached = {page.evaluate(PLACE)}
        for _ in range(wanted - 1):
            page.keyboard.press("ArrowRight")
            reached.add(page.evaluate(PLACE))
        assert reached == set(range(wanted)), group.inner_text()


PLACE = """() => [...document.activeElement.closest('[role=radiogroup], [role=toolbar]')
  .querySelectorAll('button')].indexOf(document.activeElement)"""
MARK = """() => {
  const all = [...document.querySelectorAll(
    'button, a[href], input, select, textarea, [role=button], [role=combobox]')];
  const seen = all.filter(e => !e.disabled && e.tabIndex >= 0 && e.type !== 'hidden'
    && e.getClientRects().length && getComputedStyle(e).visibility !== 'hidden'
    && !e.closest('[aria-hidden=true], [inert]'));
  const groups = new Set();
  let n = 0;
  for (const e of seen) {   // the arrows move within a group: one of it is enough
    const box = e.matches('button') && e.closest('[role=radiogroup], [role=toolbar]');
    const group = e.type === 'radio' ? e.name : box;
    if (!group) { e.dataset.rr = n++; continue; }
    if (groups.has(group)) continue;
    groups.add(group);
    (box ? box.querySelectorAll('button')
      : document.querySelectorAll(`input[type=radio][name="${e.name}"]`))
      .forEach(r => r.dataset.rr = n);
    n += 1;
  }
  return n;
}"""
FOCUSED = """() => document.activeElement && document.activeElement.dataset.rr !== undefined
  ? [document.activeElement.dataset.rr] : []"""
MISSING = """reached => [...document.querySelectorAll('[data-rr]')]
  .filter(e => !reached.includes(e.dataset.rr)).map(e => e.outerHTML.slice(0, 160))"""

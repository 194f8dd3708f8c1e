"""In a real browser: how one comes in, and what a page of somebody else gets."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse
from starlette.routing import Route

from silhouette.live import browser

CHROMIUM, DRIVER = shutil.which("chromium") or shutil.which("google-chrome"), shutil.which("chromedriver")
pytestmark = pytest.mark.skipif(CHROMIUM is None or DRIVER is None, reason="no chromium with its driver")
PATIENCE_S = 90
Opened = Any


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    webdriver = pytest.importorskip("selenium.webdriver")
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
                     f"--user-data-dir={tmp_path_factory.mktemp('profile')}",
                     "--host-resolver-rules=MAP evil.example 127.0.0.1"):
        options.add_argument(argument)
    one = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    one.set_script_timeout(PATIENCE_S)
    yield one
    one.quit()


def shows(driver: Any, text: str) -> None:
    """Wait until the page shows this."""
    from selenium.webdriver.support.ui import WebDriverWait

    WebDriverWait(driver, PATIENCE_S).until(lambda d: text in d.execute_script("return document.body?.innerText || ''"))


@pytest.fixture
def inside(driver: Any, opened: Opened) -> str:
    """The browser has entered; gives the address without the key."""
    driver.get(f"{opened.origin}/#{opened.house.keys.key}")
    shows(driver, "Choose a pose")
    return str(opened.origin)


def test_file_for_the_browser_leads_in_and_leaves_no_key_behind(driver: Any, opened: Opened, tmp_path: Path) -> None:
    file = tmp_path / "lead.html"
    file.write_text(browser._leading_to(f"{opened.origin}/#{opened.house.keys.key}"))
    driver.get(file.as_uri())
    shows(driver, "Choose a pose")
    assert opened.house.keys.key not in driver.current_url
    assert driver.execute_script("return document.cookie") == "", "no script can read it"
    driver.refresh()
    shows(driver, "Choose a pose")


def test_address_keeps_its_path_and_what_is_asked_for(driver: Any, opened: Opened) -> None:
    from selenium.webdriver.support.ui import WebDriverWait

    driver.get(f"{opened.origin}/live?camera=none&empty=skip#{opened.house.keys.key}")
    WebDriverWait(driver, PATIENCE_S).until(lambda d: d.execute_script("return !!document.getElementById('stage')"))
    assert driver.current_url == f"{opened.origin}/live?camera=none&empty=skip"


def test_wrong_key_is_told_in_words(driver: Any, opened: Opened) -> None:
    driver.delete_all_cookies()
    for end in ("#wrong", ""):
        driver.get(f"{opened.origin}/?{end or 'none'}{end}")
        shows(driver, "Open the address that the program printed")


def test_name_that_leads_here_from_elsewhere_shows_nothing(driver: Any, inside: str, opened: Opened) -> None:
    driver.get(f"http://evil.example:{opened.port}/")
    shows(driver, "not meant for you")


PROBE = """
const here = arguments[0], done = arguments[1], got = {};
const tried = (name, what) => what.then((x) => { got[name] = x; }, () => { got[name] = "refused"; });
const element = (kind, set) => new Promise((yes, no) => {
  const one = Object.assign(document.createElement(kind), set);
  one.onload = () => yes("loaded"); one.onerror = no; document.body.append(one);
});
const socket = () => new Promise((yes, no) => {
  const one = new WebSocket(here.replace("http", "ws") + "/api/stage");
  one.onmessage = () => yes("heard"); one.onerror = no;
});
Promise.all([
  tried("read", fetch(here + "/api/poses", {credentials: "include"}).then((a) => a.text())),
  tried("blind", fetch(here + "/api/poses", {method: "POST", mode: "no-cors", credentials: "include",
    body: '{"name": "planted"}'}).then(() => "sent")),
  tried("script", element("script", {src: here + "/page/enter.js"})),
  tried("socket", socket()),
]).then(() => done(got));
"""


@pytest.mark.parametrize("host", ["127.0.0.1", "evil.example"])
def test_page_of_somebody_else_gets_nothing(
    driver: Any, inside: str, opened: Opened, host: str, tmp_path: Path
) -> None:
    """Served by another program on this computer, whose pages the browser even sends our cookie for, or by a site."""
    import socket
    import threading

    import uvicorn

    def show(request: Request) -> HTMLResponse:
        return HTMLResponse("<!doctype html><title>other</title><p>other page</p>")

    at = socket.create_server(("127.0.0.1", 0))
    other = uvicorn.Server(uvicorn.Config(Starlette(routes=[Route("/", show)]), log_level="critical", lifespan="off"))
    running = threading.Thread(target=other.run, kwargs={"sockets": [at]}, daemon=True)
    running.start()
    try:
        driver.get(f"http://{host}:{at.getsockname()[1]}/")
        shows(driver, "other page")
        got = driver.execute_async_script(PROBE, inside)
    finally:
        other.should_exit = True
        running.join(60)
    assert got["read"] == got["script"] == got["socket"] == "refused"
    assert opened.house.folder.poses() == [], "what was sent blindly did nothing"


def test_page_can_be_shown_in_no_frame(driver: Any, inside: str, opened: Opened, tmp_path: Path) -> None:
    page = tmp_path / "frame.html"
    frame = f"<iframe src='{inside}/' onload='document.body.append(`loaded`)'></iframe>"
    page.write_text(f"<!doctype html><p>frame</p>{frame}")
    driver.get(page.as_uri())
    shows(driver, "loaded")
    driver.switch_to.frame(0)
    try:
        assert "Choose a pose" not in driver.execute_script("return document.body?.innerText || ''")
    finally:
        driver.switch_to.default_content()

"""A real browser opens the served interface and records an attempt; the case file is the proof."""

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from triage.case.store import load_case

pytest.importorskip("textual_serve", reason="the extra browser is not installed")
selenium = pytest.importorskip("selenium", reason="selenium is not installed")

ROOT = Path(__file__).resolve().parents[2]
CASE = "bumblebee-plate-3"
PATIENCE_S = 60.0
CHROMIUM = next(
    (p for name in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(name))),
    None,
)
DRIVER = shutil.which("chromedriver")

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine"),
    pytest.mark.skipif(DRIVER is None, reason="no chromedriver on this machine"),
    # The driver talks to the browser over sockets that it leaves to the collector.
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]


def until(holds: Callable[[], Any], what: str) -> Any:
    """Wait until something holds and return it."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        if found := holds():
            return found
        time.sleep(0.1)
    raise AssertionError(f"never: {what}")


def standing_still(picture: Callable[[], bytes]) -> bytes:
    """Return the picture once it has not changed for a while."""
    seen: list[bytes] = []

    def is_still() -> bool:
        time.sleep(0.4)
        seen.append(picture())
        return len(seen) > 3 and len(set(seen[-4:])) == 1

    until(is_still, "the picture stands still")
    return seen[-1]


def free_port() -> int:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return int(held.getsockname()[1])


def answers(port: int) -> bool:
    with socket.socket() as trial:
        return trial.connect_ex(("127.0.0.1", port)) == 0


@pytest.fixture
def address(demo: Path, tmp_path: Path) -> Iterator[str]:
    port = free_port()
    words = ["serve", str(demo / f"{CASE}.yaml"), "--port", str(port)]
    environment = {**os.environ, "TRIAGE_HOME": str(tmp_path), "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        [sys.executable, "-m", "triage", *words], env=environment, stderr=subprocess.PIPE
    ) as served:
        try:
            until(lambda: answers(port) or served.poll() is not None, "the server answers")
            assert served.poll() is None, served.stderr.read()
            said = served.stderr.readline().decode()
            yield said.split()[1]
        finally:
            served.terminate()
            served.wait(timeout=20)


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Any]:
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    for switched in ("gpu", "dev-shm-usage", "background-networking"):
        options.add_argument(f"--disable-{switched}")
    for word in ("--headless=new", "--no-sandbox", "--window-size=1200,800"):
        options.add_argument(word)
    options.add_argument(f"--user-data-dir={tmp_path / 'profile'}")
    driver = webdriver.Chrome(service=Service(DRIVER), options=options)
    try:
        yield driver
    finally:
        driver.quit()


def test_a_browser_records_an_attempt(browser: Any, address: str, demo: Path) -> None:
    from selenium.webdriver.common.by import By

    def body_is(word: str) -> bool:
        return word in (browser.find_element(By.TAG_NAME, "body").get_attribute("class") or "")

    def press(key: str) -> None:
        browser.find_element(By.CSS_SELECTOR, ".xterm-helper-textarea").send_keys(key)

    def picture() -> bytes:
        return browser.get_screenshot_as_png()

    path = demo / f"{CASE}.yaml"
    assert load_case(path).attempts == ()
    browser.get(address)
    until(lambda: body_is("-first-byte"), "the interface draws")
    # The canvas cannot be read, so each key is given again until the picture answers it.
    plan = standing_still(picture)
    until(lambda: press("s") or standing_still(picture) != plan, "the step opens")
    until(
        lambda: press("b") or (standing_still(picture) and load_case(path).attempts),
        "the attempt is on disk",
    )
    (attempt,) = load_case(path).attempts
    assert (attempt.outcome, attempt.method) == ("better", "blot-dry")
    faults = [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"]
    assert faults == []

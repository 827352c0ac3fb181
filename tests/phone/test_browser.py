"""The page in a real browser: a whole job by taps, lost networks, a dead server, two phones, keys alone."""

import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.phone.conftest import LAYOUT

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium here: install Debian's package, or any on the path"),
]
playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
ROOT = Path(__file__).parent.parent.parent
QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--no-first-run", "--disable-quic",
)  # fmt: skip
SIZES = [(360, 740), (1024, 768)]
WAIT = 30_000


class Server:
    """The command in a process of its own."""

    def __init__(self, folder):
        self.folder = folder
        self.log = folder / "job.csv"
        (folder / "machine.toml").write_text(LAYOUT)
        self.start()

    def start(self, port="0"):
        """Start it, and wait until it says where it is."""
        self.process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "alignment",
                "phone",
                "machine.toml",
                "job.csv",
                *(["--port", port] if port != "0" else []),
            ],
            cwd=self.folder,
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )
        self.address = re.search(r"http://\S+", self.process.stdout.readline())[0]
        looking = next(line for line in self.process.stdout if "look only" in line)
        self.reader = re.search(r"http://\S+", looking)[0]
        self.port = re.search(r":(\d+)/", self.address)[1]

    def kill(self):
        """As a power cut does."""
        self.process.kill()
        self.process.wait()
        self.process.stdout.close()

    def rows(self):
        """Rows of the log, each cut at its commas."""
        return [line.split(",") for line in self.log.read_text().splitlines()[1:]] if self.log.exists() else []

    def wait_for(self, count):
        """Until so many rows are on disk."""
        deadline = time.monotonic() + WAIT / 1000
        while len(self.rows()) < count:
            assert time.monotonic() < deadline, self.rows()
            time.sleep(0.05)


@pytest.fixture
def server(tmp_path):
    made = Server(tmp_path)
    yield made
    made.kill()


@pytest.fixture(scope="module")
def browser():
    with playwright.sync_playwright() as maker:
        made = maker.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield made
        made.close()


def open_page(browser, address, size=SIZES[0], **kinds):
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, **kinds)
    context.set_default_timeout(WAIT)
    page = context.new_page()
    page.errors = []
    page.on("pageerror", lambda error: page.errors.append(str(error)))
    page.goto(address)
    page.wait_for_url(re.compile(r"/$"))
    page.wait_for_selector("#main")
    return page


def tap(page, part):
    page.locator(f"form.pad button[value='{part}']").first.click()


def machine():
    """A machine that answers: its sections' true ends, off the wanted reading. [sixteenths]"""
    return {"operator-1": [0.0, 3.0], "operator-2": [0.0, 0.0]}


def read(page, true, rng):
    """Tap what the tape shows at the point that is asked."""
    pad = page.locator("form.pad").first
    section, point = pad.get_attribute("data-section"), pad.get_attribute("data-point")
    sixteenths = round(6 + true[section][point == "exit"] + rng.gauss(0, 0.1))
    parts = ["0", "1/16", "1/8", "3/16", "1/4", "5/16", "3/8", "7/16", "1/2", "9/16", "5/8", "11/16", "3/4", "13/16"]
    pad.locator(f"button[value='{parts[sixteenths]}']").click()
    return section


@pytest.mark.parametrize("size", SIZES, ids=["phone", "tablet"])
def test_a_whole_job_by_taps(browser, server, size):
    page, true, rng = open_page(browser, server.address, size), machine(), random.Random(7)  # noqa: S311  # a machine, no secret
    taps = 0
    for _ in range(40):
        count = len(server.rows())
        if page.locator("form.pad").count():
            read(page, true, rng)
        elif page.locator("form.moved").count():
            section = page.locator("form.moved input[name=section]").get_attribute("value")
            for k, end in enumerate(("entry", "exit")):
                stop = page.locator(f"form.moved input[name=stop-{end}]")
                if stop.count():
                    true[section][k] = rng.gauss(0, 0.2)
            page.locator("form.moved button").click()
        else:
            break
        taps += 1
        server.wait_for(count + 1)
        page.wait_for_selector(f"#main[data-version^='{len(server.rows())}-']")
    assert "Done" in page.locator(".now").inner_text()
    assert any(row[3] == "move" for row in server.rows())
    assert taps < 25
    assert page.errors == []


def test_without_the_network_nothing_is_lost(browser, server):
    page = open_page(browser, server.address)
    page.context.set_offline(True)
    tap(page, "3/8")
    page.wait_for_selector("#waiting:not([hidden])")
    assert "1 answer is not saved yet" in page.locator("#waiting").inner_text()
    # the other end can be read meanwhile
    tap(page, "1/2")
    page.wait_for_selector("#waiting:text('2 answers')")
    assert server.rows() == []
    page.context.set_offline(False)
    server.wait_for(2)
    assert [row[1:3] for row in server.rows()] == [["entry", "18 3/8"], ["exit", "18 1/2"]]
    page.wait_for_selector("#waiting", state="hidden")


def test_a_killed_server_and_a_closed_tab_lose_nothing(browser, server):
    page = open_page(browser, server.address)
    server.kill()
    tap(page, "7/16")
    page.wait_for_selector("#waiting:not([hidden])")
    context = page.context
    page.close()
    server.start(server.port)
    again = context.new_page()
    again.goto(server.address)
    server.wait_for(1)
    assert server.rows()[0][1:3] == ["entry", "18 7/16"]
    again.wait_for_timeout(1000)
    assert len(server.rows()) == 1


def test_two_phones_see_each_other(browser, server):
    one, two = open_page(browser, server.address), open_page(browser, server.address)
    tap(one, "3/8")
    server.wait_for(1)
    two.wait_for_selector("#main[data-version^='1-']")
    assert two.locator("form.pad").first.get_attribute("data-point") == "exit"


def test_a_reader_only_looks(browser, server):
    page = open_page(browser, server.reader)
    assert page.locator("form").count() == 0
    assert "operator-1" in page.locator(".now").inner_text()


def test_keys_alone_do(browser, server):
    page = open_page(browser, server.address)
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.value") == "3/8":
            break
    page.keyboard.press("Enter")
    server.wait_for(1)
    assert server.rows()[0][2] == "18 3/8"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_that_keeps_people_out(browser, server, scheme):
    """axe-core finds no violation on the pages of reading and moving."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = open_page(browser, server.address, color_scheme=scheme)
    for part in ("3/8", "7/8"):
        found = axe.run(page)
        assert found.violations_count == 0, found.generate_report()
        count = len(server.rows())
        tap(page, part)
        server.wait_for(count + 1)
        page.wait_for_timeout(800)


def test_what_is_tapped_is_large_enough(browser, server):
    page = open_page(browser, server.address)
    small = page.evaluate(
        "[...document.querySelectorAll('a, button, summary, label.key')].map(e => e.getBoundingClientRect())"
        ".filter(b => b.width && (b.height < 48 || b.width < 48)).length"
    )
    assert small == 0
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_without_a_script(browser, server):
    page = open_page(browser, server.address, java_script_enabled=False)
    tap(page, "3/8")
    server.wait_for(1)
    page.wait_for_selector("form.pad[data-point=exit]")
    tap(page, "3/8")
    server.wait_for(2)


def test_ctrl_c_ends_it_cleanly(server):
    server.process.send_signal(signal.SIGINT)
    assert server.process.wait(timeout=30) == 0

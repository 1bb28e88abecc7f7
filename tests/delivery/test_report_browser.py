"""The report in a real browser that has no network."""

import re
import shutil
import subprocess
from collections import Counter

import pytest
from made import level_history, made, made_check
from needs import need
from page_reader import PageReader

from sidecar.delivery.measure.fingerprint import Fingerprint
from sidecar.delivery.report.page import file_page
from sidecar.delivery.report.signature import Signature


@pytest.fixture
def browser(tmp_path):
    """Runs it once on a page, with one option; gives what it prints."""
    need("chromium")

    def open_page(path, option):
        return subprocess.run(
            [
                str(shutil.which("chromium")),
                *("--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run"),
                *("--host-resolver-rules=MAP * ~NOTFOUND", "--proxy-server=127.0.0.1:9"),
                *(f"--user-data-dir={tmp_path / 'profile'}", "--no-pdf-header-footer"),
                option,
                path.as_uri(),
            ],
            capture_output=True,
            check=True,
            timeout=120,
        ).stdout

    return open_page


@pytest.fixture
def page(tmp_path):
    """A report with everything in it: faults with places, two goals, a note."""
    history = level_history(600)
    history.short_term[100:130] = history.momentary[100:130] = -15.0
    history.true_peak[100:110] = 0.5
    measured = made(history=history, integrated=-20.0, max_short_term=-15.0, max_true_peak=0.5, bad_samples=2)
    checked = made_check(measured, "r128-s1", "a85")
    path = tmp_path / "report.html"
    path.write_text(file_page(checked, Fingerprint(1, "ab" * 32), Signature.now()), encoding="utf-8")
    return path


@pytest.mark.slow
def test_a_browser_finds_the_page_as_it_was_written(browser, page):
    """An HTML5 parser moves or adds elements where a page is not well formed: it moves and adds none, but for
    what it may always add."""
    seen = PageReader(browser(page, "--dump-dom").decode())
    written = PageReader(page.read_text(encoding="utf-8"))

    assert Counter() == (seen.elements - written.elements) + (written.elements - seen.elements)
    assert written.ids == seen.ids
    assert written.rows == seen.rows


@pytest.mark.slow
def test_it_prints_on_few_sheets_of_a4(browser, page, tmp_path):
    """A4 is 595 by 842 points (ISO 216: 210 by 297 mm); three sheets hold two goals with all places."""
    printed = tmp_path / "report.pdf"
    browser(page, f"--print-to-pdf={printed}")
    pdf = printed.read_bytes()
    sheets = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)

    assert {(round(float(width)), round(float(height))) for width, height in sheets} == {(595, 842)}
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 3

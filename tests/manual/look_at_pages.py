#!/usr/bin/env python3
"""Renders pages in headless Chromium, light and dark, and measures what a reader would stumble over.

    look_at_pages.py FILE_OR_FOLDER...     every *.html of the folders; SVG files only where they are named
    look_at_pages.py --every-kind FILE     the other way round: fails unless every kind of fault is found
    look_at_pages.py --printed-on N FILE...    fails unless each fills N sheets, of A4 and of Letter

Labels on each other, text under 9 pt on A4, contrast under 4.5 (WCAG 2.1 level AA), dead links, requests to
anywhere, pages wider than the screen: see measure_page.js. Exit code 1: something was found; 77: no Chromium.
"""
import html
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

SCRIPT = (pathlib.Path(__file__).parent / "measure_page.js").read_text()
THEMES = {"light": "1", "dark": "0"}
KINDS = ("small:", "pale:", "overlap:", "dead link:", "asks for", "wider than")


def as_page(file):
    text = file.read_text()
    if file.suffix == ".svg":
        text = f"<!DOCTYPE html><meta name=color-scheme content='light dark'><body style='margin:0'>{text}</body>"
    return text.replace("</body>", f"<script>{SCRIPT}</script></body>")


def look(browser, file, theme, folder):
    """What was found on this page in this theme, a text each."""
    copy = folder / "page.html"
    copy.write_text(as_page(file))
    # Nothing outside this computer can be reached; 712 pixels less the margins of the page are 680.
    command = [browser, "--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
               "--host-resolver-rules=MAP * ~NOTFOUND", f"--user-data-dir={folder / 'profile'}",
               "--window-size=712,1000", f"--blink-settings=preferredColorScheme={THEMES[theme]}",
               "--dump-dom", copy.as_uri()]
    seen = subprocess.run(command, capture_output=True, text=True, timeout=120).stdout
    found = re.search(r'<pre id="what-was-found">(.*?)</pre>', seen, re.S)
    if not found:
        return ["the page was not measured"]
    return [html.unescape(line) for line in found.group(1).splitlines()]


def every_kind(browser, file):
    with tempfile.TemporaryDirectory() as folder:
        found = look(browser, file, "light", pathlib.Path(folder))
    missed = [kind for kind in KINDS if not any(fault.startswith(kind) for fault in found)]
    print("not noticed: " + ", ".join(missed) if missed else "every kind of fault was noticed")
    return 1 if missed else 0


def sheets_filled(browser, file, paper, folder):
    """How many sheets of this paper the page is printed on."""
    copy, printed = folder / "page.html", folder / "page.pdf"
    copy.write_text(file.read_text().replace("</style>", f"@page{{size:{paper}}}</style>", 1))
    subprocess.run([browser, "--headless=new", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
                    f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={printed}", copy.as_uri()],
                   capture_output=True, timeout=120)
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", printed.read_bytes()))


def printed_on(browser, wanted, files):
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        for file in files:
            for paper in ("A4", "Letter"):
                found = sheets_filled(browser, file, paper, pathlib.Path(folder))
                wrong += found != wanted
                print(f"{file.name}: {found} sheets of {paper}")
    return 1 if wrong else 0


def pages(places):
    for place in map(pathlib.Path, places):
        if place.is_file():
            yield place
        else:
            yield from sorted(p for p in place.rglob("*.html") if p.is_file())


def main():
    browser = shutil.which("chromium")
    if browser is None:
        print("SKIPPED: chromium is not installed")
        return 77
    if sys.argv[1:2] == ["--every-kind"]:
        return every_kind(browser, pathlib.Path(sys.argv[2]))
    if sys.argv[1:2] == ["--printed-on"]:
        return printed_on(browser, int(sys.argv[2]), list(map(pathlib.Path, sys.argv[3:])))
    files, faults = list(pages(sys.argv[1:])), 0
    if not files:
        print("there is no page to look at")
        return 1
    with tempfile.TemporaryDirectory() as folder:
        for file in files:
            for theme in THEMES:
                found = look(browser, file, theme, pathlib.Path(folder))
                faults += len(found)
                for fault in found[:12]:
                    print(f"{file.name}, {theme}: {fault}")
    print(f"{len(files)} pages in {len(THEMES)} themes, {faults} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())

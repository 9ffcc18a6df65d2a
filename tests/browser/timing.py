"""How long it takes from a step of a slider to new numbers and new pictures in the browser.

Run it as a script: `python tests/browser/timing.py`. It opens 3-finish on the demonstration job and prints medians in ms.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from statistics import median
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

from lab import CHROMIUM, FLAGS, Desk, copy_of_workbook, server

STEPS = 30
# by the page's own clock: the key goes down, the words change, each picture has been decoded and can be painted
ONE_STEP = """async ([handle, said, section, choice, key]) => {
  const now = () => performance.now(), began = now();
  const changed = new Promise((done) => new MutationObserver((_, watch) => { watch.disconnect(); done(now() - began); })
    .observe(said, { childList: true, subtree: true, characterData: true }));
  const loaded = (image) => new Promise((done) => image.addEventListener('load', () => done(now() - began), { once: true }));
  const pictures = [loaded(section), loaded(choice)];
  handle.focus();
  handle.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true, cancelable: true }));
  return [await changed, ...await Promise.all(pictures)]; }"""


def slider_times(desk: Desk, *, slider: str = "Level at the wall, m", steps: int = STEPS) -> dict[str, float]:
    """Medians in ms, over steps of a slider, from the key to new numbers and to each new picture, in 3-finish as it is open."""
    form = desk.form(slider)
    parts = [form.locator(".widget-slider", has=desk.page.get_by_text(slider, exact=True)).get_by_role("slider"),
             form.locator(".widget-html-content", has=desk.page.locator(".surface-said")), *form.locator("img").all()]
    handles = [part.element_handle() for part in parts]
    times: list[list[float]] = []
    for step in range(steps + 2):
        times.append(desk.page.evaluate(ONE_STEP, [*handles, "ArrowRight" if step % 2 else "ArrowLeft"]))
        desk.idle()
    columns = zip(*times[2:], strict=True)  # the first two steps also draw what stays afterwards
    return dict(zip(("numbers", "section", "choice"), map(median, columns), strict=True))


def main() -> None:
    """Measure, and print."""
    from playwright.sync_api import sync_playwright
    with (tempfile.TemporaryDirectory(prefix="desk-") as place, server(copy_of_workbook(Path(place))) as (base, token),
          sync_playwright() as playwright):
        browser: Any = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        desk = Desk(Path(place), base, token, browser)
        desk.open("3-finish")
        desk.run_all()
        for slider in ("Level at the wall, m", "Fall away", "Fall along"):  # the section's place changes no number
            told = ", ".join(f"{what} {ms:.0f} ms" for what, ms in slider_times(desk, slider=slider).items())
            print(f"{slider}, median of {STEPS} steps: {told}")
        browser.close()


if __name__ == "__main__":
    main()

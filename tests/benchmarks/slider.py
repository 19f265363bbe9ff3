"""How long from moving a slider to the painted page, and how many frames a second while playing.

    python tests/benchmarks/slider.py [--moves 40] [--port 5099]

Slider to painted: from the slider's input event in the browser, over the wire, through the solver
and back, until the second animation frame after the answer has been shown (the first frame paints
the canvas and lets Bokeh paint, the second says that both are done). Every move asks for a
scenario that has not been solved before. One visitor, software-rendered Chromium, everything on
this machine, BLAS on one thread.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import time
import urllib.request

from playwright.sync_api import Page, sync_playwright

MOVE = """
([name, value]) => new Promise((done) => {
  const slider = document.getElementById(`in-${name}`);
  const begun = performance.now();
  const watch = new MutationObserver(() => {
    watch.disconnect();
    requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - begun)));
  });
  watch.observe(document.body, { attributes: true, attributeFilter: ["data-answer"] });
  slider.value = value;
  slider.dispatchEvent(new Event("input", { bubbles: true }));
})
"""
PLAY = """
(seconds) => new Promise((done) => {
  let drawn = 0;
  let before = document.getElementById("scrub").value;
  const begun = performance.now();
  document.getElementById("play").click();
  const count = (now) => {
    const value = document.getElementById("scrub").value;
    if (value !== before) drawn += 1;
    before = value;
    if (now - begun < 1000 * seconds) requestAnimationFrame(count);
    else done((1000 * drawn) / (now - begun));
  };
  requestAnimationFrame(count);
})
"""


def moves(count: int) -> list[tuple[str, float]]:
    """Slider positions, each a scenario of its own: fixing time and temperature in turn."""
    pairs = [(70 + 10 * (i // 20), 5 + i % 20) for i in range(count)]
    found: list[tuple[str, float]] = []
    for i, (seconds, degrees) in enumerate(pairs):
        if i % 20 == 0:
            found.append(("fixing_time", seconds))
        found.append(("temperature", degrees))
    return found


def measure(page: Page, count: int) -> list[float]:
    """Milliseconds of each move, after three to warm up."""
    times = [page.evaluate(MOVE, list(move)) for move in moves(count + 3)]
    return times[3:]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moves", type=int, default=40)
    parser.add_argument("--port", type=int, default=5099)
    asked = parser.parse_args()
    command = [sys.executable, "-m", "washsim_dashboard", "--port", str(asked.port), "--no-show"]
    environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    with subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL) as server:
        try:
            url = f"http://127.0.0.1:{asked.port}/"
            for _ in range(200):
                try:
                    urllib.request.urlopen(f"{url}assets/shell.css").close()
                    break
                except OSError:
                    time.sleep(0.1)
            with sync_playwright() as driver:
                path = shutil.which("chromium") or driver.chromium.executable_path
                browser = driver.chromium.launch(
                    executable_path=path, args=["--no-sandbox", "--disable-gpu"]
                )
                page = browser.new_page(viewport={"width": 1280, "height": 720})
                heard: list[int] = []
                page.on(
                    "websocket",
                    lambda socket: socket.on("framereceived", lambda data: heard.append(len(data))),
                )
                page.goto(url)
                page.wait_for_selector("body[data-answer]")
                # what stands aside (aside.py) is worked out first, so that it is not measured too
                page.wait_for_function("document.getElementById('sure').textContent.length > 9")
                heard.clear()
                times = sorted(measure(page, asked.moves))
                size = sum(heard) / (len(times) + 3)
                page.keyboard.press("Home")
                rate = page.evaluate(PLAY, 4)
                browser.close()
        finally:
            server.terminate()
    print(f"slider to painted, {len(times)} moves")
    print(f"  median {statistics.median(times):6.0f} ms")
    print(f"  p95    {times[round(0.95 * (len(times) - 1))]:6.0f} ms")
    print(f"  bytes  {size:6.0f} to the browser for each")
    print(f"playing  {rate:6.0f} frames a second")


if __name__ == "__main__":
    main()

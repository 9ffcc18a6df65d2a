"""A JupyterLab on loopback with a copy of the workbook, driven in Debian's chromium as a person drives it."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

REPOSITORY = Path(__file__).parents[2]
ASKED = "SITELEVELS_BROWSER"  # yes: run in a browser; must: and fail where there is none
CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"]
PATIENCE = 120_000  # ms: the machine may be busy with something else
WIDE, NARROW, TALL = 1280, 1024, 1000  # px: a desk, a tablet
LIGHT, DARK = "JupyterLab Light", "JupyterLab Dark"
# the tool bar says idle before there is a kernel, and a Run All that is chosen then is lost: ask the application
IDLE = """() => { const w = window.jupyterapp?.shell.currentWidget, k = w?.context?.sessionContext?.session?.kernel;
  return !!(w?.context?.isReady && k && k.connectionStatus === 'connected' && k.status === 'idle'); }"""
CODE = "jupyterapp.shell.currentWidget.content.widgets.map((cell) => cell.model).filter((cell) => cell.type === 'code')"
NUMBERS = f"() => {CODE}.map((cell) => cell.executionCount)"
DONE = f"() => {CODE}[0].executionCount > 0 && {CODE}.every((cell) => cell.executionState !== 'running')"
KERNEL = "jupyterapp.shell.currentWidget.context.sessionContext.session.kernel"
PROCESS = """async () => { let said = '';
  const told = """ + KERNEL + """.requestExecute({ code: 'import os; print(os.getpid())', store_history: false });
  told.onIOPub = (message) => { said += message.content.text ?? ''; };
  await told.done;
  return parseInt(said); }"""
ERRORS = "[data-mime-type='application/vnd.jupyter.error'], [data-mime-type='application/vnd.jupyter.stderr']"


def hindrance(asked: str, playwright: bool, chromium: bool) -> tuple[str, bool]:
    """Why there is no browser, and whether that is a failure; "" where there is one."""
    if asked not in ("yes", "must"):
        return f"the browser was not asked for: run `{ASKED}=yes pytest tests/browser`", False
    missing = [*([] if playwright else ['playwright (`pip install -e ".[browser]"`)']),
               *([] if chromium else [f"Debian's chromium at {CHROMIUM} (`apt-get install chromium`)"])]
    return (f"the tests in a browser want {' and '.join(missing)}" if missing else ""), bool(missing) and asked == "must"


def copy_of_workbook(place: Path) -> Path:
    """The notebooks and the invented jobs in a folder of their own: notebooks find `data` beside the folder they lie in."""
    for name in ("notebooks", "data"):
        shutil.copytree(REPOSITORY / name, place / name, ignore=shutil.ignore_patterns(
            ".chosen", "sheet", "class-set", "learning", ".ipynb_checkpoints", "*-before*", "*-draft-*"))
    return place


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@contextmanager
def server(root: Path) -> Iterator[tuple[str, str]]:
    """JupyterLab over a folder: its address and its token."""
    home = Path(tempfile.mkdtemp(prefix="lab-home-"))
    config = home / "config" / "labconfig"
    config.mkdir(parents=True)
    (config / "page_config.json").write_text(json.dumps({"disabledExtensions": {
        "@jupyterlab/apputils-extension:announcements": True}}))  # they ask for news outside
    (config / "default_setting_overrides.json").write_text(json.dumps({
        "@jupyterlab/notebook-extension:tracker": {"windowingMode": "none"},  # every cell stands in the page
        "@jupyterlab/docmanager-extension:plugin": {"autosave": False}}))
    named = {"CONFIG_DIR": "config", "DATA_DIR": "data", "RUNTIME_DIR": "run"}
    env = {**os.environ, **{f"JUPYTER_{name}": str(home / place) for name, place in named.items()},
           "JUPYTERLAB_SETTINGS_DIR": str(home / "settings"), "JUPYTERLAB_WORKSPACES_DIR": str(home / "spaces"),
           "IPYTHONDIR": str(home / "ipython")}
    env.pop("SITELEVELS_JOB", None)  # the job is chosen in 0-start here, as a person does
    port, token = _free_port(), secrets.token_hex(16)
    log = (home / "server.log").open("wb")
    process = subprocess.Popen(
        [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ServerApp.ip=127.0.0.1",
         f"--ServerApp.port={port}", "--ServerApp.port_retries=0", f"--IdentityProvider.token={token}",
         f"--ServerApp.root_dir={root}", "--ServerApp.terminals_enabled=False", "--LabApp.expose_app_in_browser=True"],
        env=env, stdout=log, stderr=subprocess.STDOUT, start_new_session=True)
    base = f"http://127.0.0.1:{port}"
    try:
        end = time.monotonic() + PATIENCE / 1000
        while True:
            try:
                asked(base, token, "status")
                break
            except OSError:
                if process.poll() is not None or time.monotonic() > end:
                    raise RuntimeError((home / "server.log").read_text()) from None
                time.sleep(0.1)
        yield base, token
    finally:
        try:
            asked(base, token, "shutdown", "POST")
            process.wait(30)
        except (OSError, subprocess.TimeoutExpired):
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
        log.close()
        shutil.rmtree(home, ignore_errors=True)


def asked(base: str, token: str, what: str, method: str = "GET") -> Any:
    """What the server's own interface answers."""
    request = urllib.request.Request(f"{base}/api/{what}", method=method, headers={"Authorization": f"token {token}"})
    with urllib.request.urlopen(request, timeout=10) as answer:
        return json.loads(answer.read() or b"null")


class Desk:
    """A browser before a workbook of its own. `asked_outside` and `errors` are what the page ought not to have done."""

    def __init__(self, root: Path, base: str, token: str, browser: Any) -> None:
        self.root, self.base, self.token = root, base, token
        self.context = browser.new_context(viewport={"width": WIDE, "height": TALL})
        self.context.grant_permissions(["clipboard-read", "clipboard-write"], origin=base)
        self.page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE)
        self.asked_outside: list[str] = []
        self.errors: list[str] = []
        self.page.route(lambda url: not url.startswith((base, "data:", "blob:")), self._refused)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", lambda said: self.errors.append(said.text) if said.type == "error" else None)

    def _refused(self, route: Any) -> None:
        self.asked_outside.append(route.request.url)
        route.abort()

    # What a person does

    def open(self, name: str) -> None:
        """Open a notebook of the workbook, nothing else being open."""
        for session in asked(self.base, self.token, "sessions"):
            asked(self.base, self.token, f"sessions/{session['id']}", "DELETE")
        self.page.goto(f"{self.base}/lab/tree/notebooks/{name}.ipynb?token={self.token}&reset")
        self.page.wait_for_selector("#jupyterlab-splash", state="detached")
        self.page.wait_for_selector(".jp-NotebookPanel:not(.lm-mod-hidden) .jp-Notebook")
        self.idle()
        self.errors.clear()  # of JupyterLab's own start
        self.asked_outside.clear()

    def idle(self) -> None:
        """Wait until the kernel has nothing to do."""
        self.page.wait_for_function(IDLE)

    def command(self, name: str, **told: Any) -> None:
        """A command of JupyterLab by its name."""
        self.page.evaluate("([name, told]) => jupyterapp.commands.execute(name, told)", [name, told])

    def run_all(self) -> list[int | None]:
        """Choose Run, then Run All Cells; the number of each code cell once they have run, None where one did not."""
        self.command("notebook:clear-all-cell-outputs")  # numbers left from an earlier run would pass for those of this one
        assert set(self.page.evaluate(NUMBERS)) == {None}
        self.page.locator(".lm-MenuBar-itemLabel", has_text="Run").first.click()
        self.page.locator(".lm-Menu-item[data-command='runmenu:run-all']").click()
        self.page.wait_for_function(DONE)
        self.idle()
        return list(self.page.evaluate(NUMBERS))

    def width(self, width: int) -> None:
        """Make the window so many px wide."""
        self.page.set_viewport_size({"width": width, "height": TALL})
        self.settled()

    def theme(self, name: str) -> None:
        """Change JupyterLab's theme, and wait until it is in force."""
        self.command("apputils:change-theme", theme=name)
        self.page.wait_for_function("name => document.body.dataset.jpThemeName === name", arg=name)
        self.settled()

    def settled(self) -> None:
        """Wait until the page has been laid out and painted, and its pictures are there."""
        self.page.evaluate("""() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))""")
        self.page.wait_for_function("() => [...document.querySelectorAll('.jp-OutputArea img')].every((one) => one.complete)")

    def form(self, holding: str) -> Any:
        """The form that holds a control or words: labels are looked for inside it, as JupyterLab has some of the same."""
        outputs = self.page.locator(".jp-OutputArea-output", has=self.page.locator(".jupyter-widgets"))
        return outputs.filter(has=self.page.get_by_text(holding, exact=True))

    def kill_kernel(self) -> None:
        """Kill the process behind the open notebook, and wait until the server has begun another."""
        process = self.page.evaluate(PROCESS)
        os.kill(process, signal.SIGKILL)
        self.page.wait_for_function(f"() => {KERNEL}.status !== 'idle'")
        with suppress(Exception):  # JupyterLab may tell of it in a box first, or not
            self.page.get_by_role("button", name="Ok").click(timeout=3_000)
        self.idle()
        assert self.page.evaluate(PROCESS) != process

    def cell_errors(self) -> list[str]:
        """Tracebacks and warnings under cells."""
        return list(self.page.locator(ERRORS).all_inner_texts())


def expect(shown: Any) -> Any:
    """What is expected of something shown, waited for as long as a busy machine may take."""
    from playwright.sync_api import expect as expected
    expected.set_options(timeout=PATIENCE)
    return expected(shown)

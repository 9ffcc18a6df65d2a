"""What happens in a forked child: tests run once under coverage, or against one mutant.

The parent has imported the large packages and never sitelevels. A child changes into the copy of the tree, gives each test a
limit of computing time, and leaves what it found in a file. No changed source is written to disk: a loader hands it over.
"""

from __future__ import annotations

import ast
import importlib.abc
import importlib.machinery
import importlib.util
import inspect
import json
import os
import re
import resource
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

import pytest

OPTIONS = ["-q", "--tb=no", "--no-header", "-p", "no:cacheprovider", "-p", "no:xdist", "-p", "no:nbval", "--hypothesis-seed=0",
           "-W", "ignore::pytest.PytestAssertRewriteWarning",  # the parent has imported hypothesis already
           "--override-ini", "addopts=--import-mode=importlib"]
CLOCK = re.compile(r"process_time|perf_counter|tracemalloc|\bseconds\(")
MEMORY = 8 * 2 ** 30  # bytes that a child may use: a mutant may ask for ever more
HANGS = 5  # times the computing time that a test takes unchanged …
GRACE = 20  # … and these s, and a mutant plainly hangs


def prepare(tree: Path) -> None:
    """Make the copy of the tree the place where sitelevels comes from, with tests of random input that repeat."""
    os.chdir(tree)
    sys.path.insert(0, str(tree))
    resource.setrlimit(resource.RLIMIT_DATA, (MEMORY, MEMORY))
    from hypothesis import HealthCheck, Phase, settings
    # no store of failures, no clock, and no search for a simpler failure once there is one
    settings.register_profile("mutation", database=None, deadline=None, phases=[Phase.explicit, Phase.generate],
                              suppress_health_check=[HealthCheck.too_slow])
    settings.load_profile("mutation")


class Loader(importlib.abc.MetaPathFinder, importlib.machinery.SourceFileLoader):
    """Gives one module with its changed tree, and leaves all others alone."""

    def __init__(self, tree: Path, file: str, changed: ast.Module) -> None:
        super().__init__(file.removesuffix(".py").replace("/", "."), str(tree / file))
        self.changed = changed

    def find_spec(self, name: str, path: Sequence[str] | None, target: ModuleType | None = None) -> Any:
        return importlib.util.spec_from_file_location(name, self.path, loader=self) if name == self.name else None

    def get_code(self, fullname: str) -> CodeType:
        return compile(self.changed, self.path, "exec")


class Chosen:
    """Runs the named tests and no others, in the order of the names, with s of computing for each; keeps the first failure."""

    def __init__(self, names: Sequence[str], known: Mapping[str, float]) -> None:
        self.order = {name: place for place, name in enumerate(names)}
        self.known = known
        self.failed: str | None = None
        self.ran = 0

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        # a name that nobody knows is a test with its parameters changed by the mutant
        items[:] = sorted((item for item in items if item.nodeid in self.order or item.nodeid not in self.known),
                          key=lambda item: self.order.get(item.nodeid, len(self.order)))

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> None:
        # beyond this the system ends the child: the mutant hangs
        soft = time.process_time() + HANGS * self.known.get(item.nodeid, 1.0) + GRACE
        resource.setrlimit(resource.RLIMIT_CPU, (int(soft) + 1, resource.RLIM_INFINITY))

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            self.failed = self.failed or report.nodeid

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.ran += report.when == "call"
        if report.failed:
            self.failed = self.failed or report.nodeid


def against(tree: Path, file: str, changed: ast.Module, batches: Sequence[Sequence[str]],
            known: Mapping[str, float]) -> dict[str, Any]:
    """Run tests with one module changed, batch after batch, up to the first failure."""
    sys.meta_path.insert(0, Loader(tree, file, changed))
    try:
        import sitelevels
    except BaseException as error:
        return {"killed": True, "by": f"import: {type(error).__name__}", "ran": 0}
    assert Path(sitelevels.__file__).is_relative_to(tree), sitelevels.__file__
    ran = 0
    for batch in batches:
        chosen = Chosen(batch, known)
        code = pytest.main([*OPTIONS, "-x", *dict.fromkeys(name.split("::")[0] for name in batch)], plugins=[chosen])
        ran += chosen.ran
        if chosen.failed or code in (pytest.ExitCode.TESTS_FAILED, pytest.ExitCode.INTERRUPTED):
            return {"killed": True, "by": chosen.failed or "collection", "ran": ran}
        if code != pytest.ExitCode.OK:
            return {"killed": None, "by": f"pytest ended with {code}", "ran": ran}
    return {"killed": False, "by": "", "ran": ran}


class Watching:
    """Tells coverage which test runs, and notes each test's computing time, failures and shared fixtures."""

    def __init__(self, switch: Callable[[str], None]) -> None:
        self.switch = switch
        self.tests: dict[str, dict[str, Any]] = {}
        self.now = "import"
        self.failed: list[str] = []
        self.clocked: list[str] = []
        self.put_by: list[Any] = []
        self.caching: set[str] = set()

    @pytest.hookimpl(wrapper=True)
    def pytest_make_collect_report(self, collector: pytest.Collector) -> Iterator[None]:
        self.switch(f"file {collector.nodeid}")
        return (yield)  # type: ignore[misc]

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        for item in items:
            source = inspect.getsource(item.function) if isinstance(item, pytest.Function) else ""
            if CLOCK.search(source):
                self.clocked.append(item.nodeid)
        left_out = set(self.clocked)
        items[:] = [item for item in items if item.nodeid not in left_out]
        here = Path.cwd()
        for module in list(sys.modules.values()):
            file = Path(getattr(module, "__file__", None) or "/")
            for thing in vars(module).values() if file.is_relative_to(here) else ():
                if not callable(getattr(thing, "cache_clear", None)):
                    continue
                if str(thing.__module__).startswith("sitelevels."):
                    self.put_by.append(thing)  # what an earlier test put by would hide what a later one needs
                else:
                    self.caching.add(file.relative_to(here).as_posix())

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any, request: Any) -> Iterator[None]:
        if fixturedef.scope == "function":
            return (yield)  # type: ignore[misc]
        before = self.now
        self.switch(f"fixture {fixturedef.argname} {request.node.nodeid.split('::')[0]}")
        try:
            return (yield)  # type: ignore[misc]
        finally:
            self.switch(before)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        for thing in self.put_by:
            thing.cache_clear()
        self.now = f"test {item.nodeid}"
        self.switch(self.now)
        began = time.process_time()
        try:
            return (yield)  # type: ignore[misc]
        finally:
            definitions = item._fixtureinfo.name2fixturedefs if isinstance(item, pytest.Function) else {}
            shared = [name for name, some in definitions.items() if some[-1].scope != "function"]
            self.tests[item.nodeid] = {"seconds": time.process_time() - began, "shared": shared}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed.append(report.nodeid)


def covered(tree: Path, folder: str) -> dict[str, Any]:
    """Run the tests of a folder unchanged; which of them execute which line of the package, and how long each takes."""
    import coverage
    watch = coverage.Coverage(data_file=None, source=[str(tree / "sitelevels")], config_file=False, messages=False)
    watch.start()
    watch.switch_context("import")
    import sitelevels
    assert Path(sitelevels.__file__).is_relative_to(tree), sitelevels.__file__
    plugin = Watching(watch.switch_context)
    skipped = [f"--ignore={folder}/test_survivors.py"]
    pytest.main([*OPTIONS, *skipped, folder], plugins=[plugin])
    watch.stop()
    data = watch.get_data()
    names = list(plugin.tests)
    number = {name: place for place, name in enumerate(names)}
    groups: dict[str, set[int]] = defaultdict(set)
    for name, place in number.items():
        groups[f"file {name.split('::')[0]}"].add(place)
        groups[f"test {name}"].add(place)
    for name in names:  # what one test of a file puts by the others may use
        if (file := name.split("::")[0]) in plugin.caching:
            groups[f"test {name}"] = groups[f"file {file}"]
        for fixture in plugin.tests[name]["shared"]:
            groups[f"fixture {fixture} {name.split('::')[0]}"].add(place)
    lines: dict[str, dict[int, list[int]]] = {}
    for measured in data.measured_files():
        found = {line: sorted(set().union(*(groups.get(context, set()) for context in contexts)))
                 for line, contexts in data.contexts_by_lineno(measured).items()}
        lines[Path(measured).relative_to(tree).as_posix()] = {line: some for line, some in found.items() if some}
    return {"tests": names, "seconds": [plugin.tests[name]["seconds"] for name in names],
            "shared": [bool(plugin.tests[name]["shared"]) or name.split("::")[0] in plugin.caching for name in names],
            "failed": sorted(set(plugin.failed)), "clocked": plugin.clocked, "lines": lines}


def passing(tree: Path, files: Sequence[str]) -> dict[str, Any]:
    """Run some files of tests unchanged; the tests that fail."""
    import sitelevels
    assert Path(sitelevels.__file__).is_relative_to(tree), sitelevels.__file__
    plugin = Watching(lambda _: None)
    pytest.main([*OPTIONS, *files], plugins=[plugin])
    return {"failed": sorted(set(plugin.failed)), "tests": list(plugin.tests)}


def forked(work: Callable[[], dict[str, Any]], tree: Path, to: Path) -> int:
    """Start a child that leaves what `work` gives in the file `to`; the number of its process."""
    child = os.fork()
    if child:
        return child
    code = 1
    try:
        os.setsid()
        log = os.open(to.with_suffix(".log"), os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(log, 1)
        os.dup2(log, 2)
        prepare(tree)
        found = work()
        part = to.with_suffix(".part")
        part.write_text(json.dumps(found), "utf-8")
        part.rename(to)
        code = 0
    except BaseException:
        import traceback
        traceback.print_exc()
    finally:
        os._exit(code)

"""A JupyterLab server of the tests' own: nothing of the person's settings, nothing from outside."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import urlunsplit

import nbformat
import psutil

from tests.browser.pages import LONGEST_WAIT

ROOT = Path(__file__).parents[2]
SETTINGS = {
    "@jupyterlab/apputils-extension/notification": {
        "checkForUpdates": False,
        "fetchNews": "false",
        "doNotDisturbMode": True,
    },
    # Cells out of sight stay in the page, so that the tests see all of them.
    "@jupyterlab/notebook-extension/tracker": {"windowingMode": "none"},
}


@dataclass(frozen=True)
class Laboratory:
    """A running server."""

    port: int
    token: str
    folder: Path
    pid: int = 0

    def address(self, notebook: str) -> str:
        """Where a notebook opens alone: a workspace of its own holds no others to open again."""
        workspace = notebook.removesuffix(".ipynb")
        path = f"lab/workspaces/{workspace}/tree/notebooks/{notebook}"
        return f"{self._root}/{path}?token={self.token}"

    def ask(self, path: str, method: str = "GET") -> Any:
        """What the server answers; nothing for an empty answer."""
        request = urllib.request.Request(  # noqa: S310
            f"{self._root}/api/{path}",
            method=method,
            headers={"Authorization": f"token {self.token}"},
        )
        with urllib.request.urlopen(request, timeout=LONGEST_WAIT) as answer:  # noqa: S310
            content = answer.read()
        return json.loads(content) if content else None

    def seconds_of_work(self) -> float:
        """Processor time that the running kernels have used: it hangs less on what else runs."""
        kernels = psutil.Process(self.pid).children(recursive=True)
        return sum(sum(each.cpu_times()[:2]) for each in kernels)

    def end_kernels(self) -> None:
        """End what the notebooks left running."""
        for session in self.ask("sessions"):
            self.ask(f"sessions/{session['id']}", "DELETE")

    @property
    def _root(self) -> str:
        return urlunsplit(("http", f"127.0.0.1:{self.port}", "", "", ""))


@contextmanager
def laboratory(folder: Path) -> Iterator[Laboratory]:
    """A server on a copy of the notebooks, without their outputs, and of the demo's records."""
    shutil.copytree(ROOT / "data_demo", folder / "data_demo")
    (folder / "notebooks").mkdir()
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        _copy_without_outputs(path, folder / "notebooks" / path.name)
    for name, values in SETTINGS.items():
        path = folder / "settings" / f"{name}.jupyterlab-settings"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(values), encoding="utf-8")
    made = Laboratory(_free_port(), secrets.token_hex(16), folder)
    with (folder / "log.txt").open("w", encoding="utf-8") as log:
        server = subprocess.Popen(
            _command(made), cwd=folder, env=_environment(folder), stdout=log, stderr=log
        )
        try:
            made = replace(made, pid=server.pid)
            _wait_for(made, server)
            yield made
            made.end_kernels()
        finally:
            server.terminate()
            server.wait()


def _command(made: Laboratory) -> list[str]:
    return [
        *(sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root"),
        f"--ServerApp.root_dir={made.folder}",
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.port={made.port}",
        "--ServerApp.port_retries=0",
        f"--IdentityProvider.token={made.token}",
        "--LabApp.news_url=",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--LabApp.extension_manager=readonly",
        f"--LabApp.user_settings_dir={made.folder / 'settings'}",
        f"--LabApp.workspaces_dir={made.folder / 'workspaces'}",
    ]


def _environment(folder: Path) -> dict[str, str]:
    own = {
        name: str(folder / name.lower())
        for name in ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR")
    }
    paths = [str(ROOT), os.environ.get("PYTHONPATH", "")]
    return os.environ | own | {"PYTHONPATH": os.pathsep.join(filter(None, paths))}


def _copy_without_outputs(path: Path, target: Path) -> None:
    book = nbformat.read(path, as_version=4)
    for cell in book.cells:
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
    nbformat.write(book, target)


def _free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


def _wait_for(made: Laboratory, server: subprocess.Popen) -> None:
    end = time.monotonic() + LONGEST_WAIT
    while True:
        log = made.folder / "log.txt"
        assert server.poll() is None, log.read_text(encoding="utf-8")
        assert time.monotonic() < end, log.read_text(encoding="utf-8")
        try:
            # The first look for kernels takes long: a notebook that is opened before asks for one.
            made.ask("kernelspecs")
        except (urllib.error.URLError, ConnectionError):
            time.sleep(0.2)
        else:
            return

"""What is loaded when: pages as they are opened, the worker with the server, and both no later."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path
from time import monotonic, sleep

from sensory.screens import opened

from .test_access import ROOT, fresh


def test_the_first_page_loads_no_other():
    done = fresh(
        "import sys\n"
        "from sensory.screens.app import pages_of\n"
        "from sensory.screens.access import Leader\n"
        "from sensory.screens.opened import PAGES\n"
        "assert len(pages_of(Leader())) == len(PAGES)\n"
        "import sensory.screens.today\n"
        "heavy = ['pandas', 'pingouin', 'scipy.stats', 'altair', 'openpyxl', 'typst']\n"
        "print([name for name in heavy if name in sys.modules],\n"
        "      [name for name in PAGES if f'sensory.screens.{name}' in sys.modules])\n"
    )
    assert done.stdout.strip().splitlines()[-1] == "[] ['today']", done.stdout + done.stderr


def test_what_is_left_is_imported_once_a_page_was_drawn():
    done = fresh(
        "import sys\n"
        "from threading import Thread\n"
        "from sensory.screens import opened\n"
        "rest = Thread(target=opened.import_the_rest, daemon=True)\n"
        "rest.start()\n"
        "rest.join(0.2)\n"
        "assert rest.is_alive() and 'sensory.screens.trend' not in sys.modules\n"
        "opened.DRAWN.set()\n"
        "rest.join(100)\n"
        "left = [name for name in opened.PAGES if f'sensory.screens.{name}' not in sys.modules]\n"
        "print(left)\n"
    )
    assert done.stdout.strip().splitlines()[-1] == "[]", done.stdout + done.stderr


def test_every_page_has_a_file():
    folder = Path(opened.__file__).parent
    assert all((folder / f"{name}.py").exists() for name in opened.PAGES)


def test_the_worker_gets_ready_by_itself_without_the_pages():
    loaded = "sorted({'typst', 'vl_convert', 'streamlit'} & set(__import__('sys').modules))"
    done = fresh(
        "from sensory.screens import worker\n"
        "if __name__ == '__main__':\n"
        "    worker.start().result()\n"
        f"    print(worker._pool().submit(eval, {loaded!r}).result())\n"
    )
    assert done.stdout.strip().splitlines()[-1] == "['typst', 'vl_convert']", done.stderr


def test_a_killed_server_takes_its_worker_along():
    program = (
        "import os, time\n"
        "from sensory.screens import worker\n"
        "print(worker._pool().submit(os.getpid).result(), flush=True)\n"
        "time.sleep(60)\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program], cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as server:
        assert server.stdout is not None
        pid = int(server.stdout.readline())
        assert alive(pid)
        server.send_signal(signal.SIGKILL)
    until = monotonic() + 30
    while alive(pid) and monotonic() < until:
        sleep(0.05)
    assert not alive(pid)


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return "Z" not in Path(f"/proc/{pid}/stat").read_text().split(")")[1].split()[0]

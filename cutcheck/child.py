"""Starting a process of our own that runs a module's ``main``, asked and answering through pipes."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

NOTHING_MORE: Mapping[str, str] = MappingProxyType({})


def start_child(module: str, environment: Mapping[str, str] = NOTHING_MORE) -> subprocess.Popen[bytes]:
    """A process that runs ``module.main()``; ``environment`` is what is set besides ours.

    Raises OSError or ValueError where no process can be started. It ends with its input, so also when this
    process is killed.
    """
    # Never import from the folder the user happens to be in: -P, and no empty entry in the path.
    path = [str(Path(__file__).parents[1]), *os.environ.get("PYTHONPATH", "").split(os.pathsep)]
    return subprocess.Popen(
        [sys.executable, "-P", "-c", f"from {module} import main; main()"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, path)), **environment},
        start_new_session=True,  # Ctrl-C is for us
    )

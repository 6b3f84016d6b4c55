"""The journal is killed while it writes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def test_twenty_kills_lose_nothing_and_leave_nothing_half_done() -> None:
    """A writer killed at 20 random moments has lost no finished check and left no half of one."""
    script = Path(__file__).parent / "nightly" / "journal_kills.py"
    done = subprocess.run([sys.executable, str(script), "--kills", "20"], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "nothing lost, nothing doubled, nothing half kept" in done.stdout

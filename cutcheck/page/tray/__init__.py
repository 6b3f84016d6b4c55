"""The parts of 'Check a tray': asking for photos, measuring them, leaving pieces out. The place itself, which
alone reads the state, is ``places/check_tray.py``."""

"""Drawing trays with exact truth, for tests: see ``light_scene``."""

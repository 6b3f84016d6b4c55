"""The cuts and the standards, as TOML files; read through ``importlib.resources``."""

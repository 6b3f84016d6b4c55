"""The page: what a cook sees in the browser. ``main.show()`` draws it; each place is a file in ``places``."""

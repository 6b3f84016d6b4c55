"""Starts the page: ``streamlit run app.py``. The page itself is in ``cutcheck/page``."""

from cutcheck.page.main import show

show()

"""The places of the page, one file each: each sets up, guards with a way out, and draws."""

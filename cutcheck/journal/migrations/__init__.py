"""The versions of the journal, each a step from the one before."""

"""The parts of 'My class': each draws one thing that an instructor does."""

"""Rooms of the renderer: card, solids, produce, boards, lights, phone, truth."""

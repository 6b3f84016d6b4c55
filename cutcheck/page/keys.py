"""The keys of ``st.session_state``, all in one place. Helpers take arguments; only places read the state."""

UPLOAD = "upload"  # the widget that takes a photo
HANDLED = "handled"  # id of the upload that was measured last
TRAY = "tray"  # the Measured photo that is shown
FAULT = "fault"  # what was wrong with the last photo, or None
CUT = "cut"  # the chosen cut's name, "" for none
STANDARD = "standard"
UNIT = "unit"
PIECE = "piece"  # the widget that holds the chosen piece's number, or None
VIEWER = "viewer"  # the picture, which tells the piece that was pressed
PREVIEW = "preview"  # (sha256 of the photo, data address of its small copy)
PAPER = "paper"
NUMBERS = "numbers"
MAT = "mat"
RULER_FORM = "ruler"
RULER_ACROSS = "ruler_across"
RULER_DOWN = "ruler_down"
RULER_FORGET = "ruler_forget"
LOOKED_UP = "looked_up"  # the cut that is looked up
LOOK_STANDARD = "look_standard"
TILES = "tiles"  # the pressable tiles, one widget for each family

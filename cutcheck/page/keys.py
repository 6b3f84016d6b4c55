"""The keys of ``st.session_state``, all in one place. Helpers take arguments; only places read the state."""

UPLOAD = "upload"  # the widget that takes photos
CAMERA = "camera"  # the widget of this computer's own camera
GIVEN = "given"  # the photos that were given and are not measured yet
HANDLED = "handled"  # the ids of all photos that were given
LAST = "last"  # the photo that was given last
LAST_REFERENCE = "last_reference"  # what gave its scale
TRAYS = "trays"  # {id: Tray} of the photos that were measured
FAULTS = "faults"  # [(name, error)] of the last photos that could not be
SHOWN = "shown"  # the id of the tray that is shown
SAME_TRAY = "same_tray"  # whether several photos are of one tray
LEFT_OUT = "left_out"  # {id of a tray: {piece: why}} of what is not in the mark
LEAVE_FORM = "leave_form"
LEAVE_PIECE = "leave_piece"
LEAVE_REASON = "leave_reason"
LEAVE_BUTTON = "leave_button"
TAKE_BACK = "take_back"
REFERENCE = "reference"  # what gives the scale
SHEET = "sheet"
DISC = "disc"
SPOT = "spot"  # (id of the photo, place on it where the disc was pressed)
PICKER = "picker"  # the picture on which the disc is pressed
CUT = "cut"  # the chosen cut's name, "" for none
STANDARD = "standard"
UNIT = "unit"
PIECE = "piece"  # the number of the piece that was pressed last, or None
VIEWER = "viewer"  # the picture, which tells the piece that was pressed
PAPER = "paper"
NUMBERS = "numbers"
MAT = "mat"
RULER_FORM = "ruler"
RULER_ACROSS = "ruler_across"
RULER_DOWN = "ruler_down"
RULER_FORGET = "ruler_forget"
LOOKED_UP = "looked_up"  # the cut that is looked up
LOOK_STANDARD = "look_standard"
LOOK_SIZE = "look_size"  # a size whose cuts are looked for
WALL_CHART = "wall_chart"
NEEDS = "needs"  # what is to be planned, in words
NEEDS_FILE = "needs_file"
WEIGHT_UNIT = "weight_unit"
YIELDS = "yields"
HAND = "hand"  # right- or left-handed
GESTURE = "gesture"
VEGETABLE = "vegetable"
PROGRESS_COOK = "progress_cook"  # whose progress is shown
SAMPLE_TERM = "sample_term"
PROGRESS_CUT = "progress_cut"
GOAL_FORM = "goal_form"
GOAL_CUT = "goal_cut"
GOAL_SHARE = "goal_share"
GOAL_SESSIONS = "goal_sessions"
GOAL_APART = "goal_apart"
KEEP_FORM = "keep_form"
KEEP_NAME = "keep_name"
KEEP_PHOTO = "keep_photo"
KEEP_CUT = "keep_cut"
TILES = "tiles"  # the pressable tiles, one widget for each family
SET_UNIT = "set_unit"
SET_STANDARD = "set_standard"
SET_THICKNESS = "set_thickness"
SET_KEEP_PHOTO = "set_keep_photo"
SET_JOURNAL = "set_journal"

# What stays chosen when another place is opened and this one again.
REMEMBERED = (
    CUT, STANDARD, UNIT, REFERENCE, SHEET, DISC, SHOWN, SAME_TRAY, LOOKED_UP, LOOK_STANDARD, NEEDS,
    WEIGHT_UNIT, YIELDS, HAND, PROGRESS_COOK,
)  # fmt: skip

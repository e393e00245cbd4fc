"""What can be done, as data: menus, buttons, keys and the help page are all made from this list."""

from __future__ import annotations

from dataclasses import dataclass

from gui._sheets import SHEETS


@dataclass(frozen=True, slots=True)
class Action:
    """One thing that can be done: `name` is what handlers are found by, `keys` as Qt writes them."""

    name: str
    menu: str
    text: str
    keys: str
    tip: str
    #: greyed out while no job is open
    needs_job: bool = False
    #: the sheet that carries it out and comes to the front for it; empty: the window itself, whatever is in front
    sheet: str = ""
    #: again and again while the key is held down
    repeats: bool = True


ACTIONS = (
    Action("new-job", "&Job", "&New job …", "Ctrl+N", "Start a job in a new folder"),
    Action("open", "&Job", "&Open job …", "Ctrl+O", "Open a job folder"),
    Action("reload", "&Job", "&Read again", "F5", "Read the job from disk again", needs_job=True),
    Action("close-job", "&Job", "&Close job", "Ctrl+W", "Put the job away", needs_job=True),
    Action("find-job", "&Job", "&Find a job …", "Ctrl+F", "Search all known jobs"),
    Action("sample", "&Job", "&Sample job", "Ctrl+Shift+O", "Open your own copy of the simulated sample job"),
    Action("quit", "&Job", "&Quit", "Ctrl+Q", "Close the window"),
    Action("undo", "&Edit", "&Undo", "Ctrl+Z", "Take the last change of the job back", needs_job=True),
    Action("redo", "&Edit", "&Do again", "Ctrl+Shift+Z", "Do again what was undone", needs_job=True),
    *(
        Action(f"go-{one.name}", "&Sheet", f"&{number} {one.title}", one.keys, one.tip, needs_job=True)
        for number, one in enumerate(SHEETS, 1)
    ),
    Action(
        "next-view", "&Compare", "&Next comparison", "Ctrl+Down", "Show the next pair of recordings", True, "compare"
    ),
    Action("previous-view", "&Compare", "&Previous comparison", "Ctrl+Up", "Show the pair before", True, "compare"),
    Action("focus-supply", "&Compare", "Go to &supply traces", "Alt+1", "Keys to the supply picture", True, "compare"),
    Action("focus-spectrum", "&Compare", "Go to spect&rum", "Alt+2", "Keys to the spectrum", True, "compare"),
    Action("focus-difference", "&Compare", "Go to di&fference", "Alt+0", "Keys to the difference", True, "compare"),
    Action("focus-changes", "&Compare", "Go to c&hanges", "Alt+3", "Keys to the table of changes", True, "compare"),
    Action("focus-conditions", "&Compare", "Go to &conditions", "Alt+4", "Keys to the conditions", True, "compare"),
    Action("focus-warnings", "&Compare", "Go to &warnings", "Alt+5", "Keys to the warnings", True, "compare"),
    Action("whole", "&Compare", "Whole &extent of all pictures", "Ctrl+0", "Undo all zooming", True, "compare"),
    Action("save-supply", "&Compare", "Supply p&icture …", "Ctrl+Shift+1", "Save as PNG or SVG", True, "compare"),
    Action("save-spectrum", "&Compare", "Spectrum pict&ure …", "Ctrl+Shift+2", "Save as PNG or SVG", True, "compare"),
    Action(
        "save-difference",
        "&Compare",
        "Picture &of the difference …",
        "Ctrl+Shift+3",
        "Save as PNG or SVG",
        True,
        "compare",
    ),
    Action("data-supply", "&Compare", "Supply &data …", "Ctrl+Alt+1", "Save what is drawn as CSV", True, "compare"),
    Action("data-spectrum", "&Compare", "Spectrum d&ata …", "Ctrl+Alt+2", "Save what is drawn as CSV", True, "compare"),
    Action("data-difference", "&Compare", "&Values of the difference …", "Ctrl+Alt+0", "Save as CSV", True, "compare"),
    Action("data-changes", "&Compare", "&Table of changes …", "Ctrl+Alt+3", "Save the table as CSV", True, "compare"),
    Action("wiring-found", "&Wiring", "As &found", "Ctrl+Alt+F", "The wiring as it was found", True, "wiring"),
    Action("wiring-left", "&Wiring", "As &left", "Ctrl+Alt+L", "The wiring as it was left", True, "wiring"),
    Action("wiring-both", "&Wiring", "Bot&h", "Ctrl+Alt+B", "Both on one scale, and what differs", True, "wiring"),
    Action(
        "wiring-drawing", "&Wiring", "Go to the &drawing", "Ctrl+D", "Arrow keys walk from part to part", True, "wiring"
    ),
    Action("wiring-part", "&Wiring", "Go to the fi&elds", "Ctrl+Shift+D", "Fields of the chosen part", True, "wiring"),
    Action(
        "wiring-findings",
        "&Wiring",
        "Go to the findin&gs",
        "Ctrl+Shift+F",
        "What is wrong, gravest first",
        True,
        "wiring",
    ),
    Action("wiring-changes", "&Wiring", "Go to the &changes", "Ctrl+Shift+C", "What would mend it", True, "wiring"),
    Action(
        "wiring-plan", "&Wiring", "Chea&pest changes", "Ctrl+Alt+C", "Look for the cheapest set of them", True, "wiring"
    ),
    Action("wiring-try", "&Wiring", "&Try, or put away", "Ctrl+T", "Change things without saving", True, "wiring"),
    Action("wiring-keep", "&Wiring", "&Keep what was tried", "Ctrl+Shift+T", "Save it as one change", True, "wiring"),
    Action(
        "wiring-run", "&Wiring", "One more &run", "Ctrl+Alt+R", "An equal cable beside the chosen one", True, "wiring"
    ),
    Action(
        "wiring-split", "&Wiring", "&Split at a block", "Ctrl+Alt+S", "Cut the chosen cable at a block", True, "wiring"
    ),
    Action("wiring-fuse", "&Wiring", "F&use before it", "Ctrl+Alt+U", "Where the chosen part is fed", True, "wiring"),
    Action("wiring-joint", "&Wiring", "&Joint before it", "Ctrl+Alt+J", "Where the chosen part is fed", True, "wiring"),
    Action("wiring-amplifier", "&Wiring", "&Amplifier", "Ctrl+Alt+A", "With its two leads", True, "wiring"),
    Action("wiring-load", "&Wiring", "&Other load", "Ctrl+Alt+D", "With its two leads", True, "wiring"),
    Action(
        "wiring-cable", "&Wiring", "Ca&ble", "Ctrl+Alt+K", "Between two points, the ground's at first", True, "wiring"
    ),
    Action("wiring-body", "&Wiring", "Bod&y path", "Ctrl+Alt+Y", "A way through the vehicle's body", True, "wiring"),
    Action("wiring-battery", "&Wiring", "E&xtra battery", "Ctrl+Alt+T", "With its two leads", True, "wiring"),
    Action("wiring-alternator", "&Wiring", "Alter&nator", "Ctrl+Alt+G", "With its two leads", True, "wiring"),
    Action(
        "wiring-remove",
        "&Wiring",
        "Remo&ve it",
        "Ctrl+Del",
        "The chosen part; its neighbours are joined",
        True,
        "wiring",
    ),
    Action(
        "wiring-whole", "&Wiring", "&Whole drawing", "Ctrl+Alt+H", "Everything at once, however small", True, "wiring"
    ),
    Action(
        "wiring-file",
        "&Wiring",
        "Fro&m a file …",
        "Ctrl+Alt+I",
        "A wiring file, or a parts list over it",
        True,
        "wiring",
    ),
    Action("wiring-picture", "&Wiring", "P&icture …", "Ctrl+Shift+8", "Save the drawing as PNG or SVG", True, "wiring"),
    Action(
        "wiring-parts", "&Wiring", "Parts and &quantities …", "Ctrl+Alt+8", "Parts with prices as CSV", True, "wiring"
    ),
    Action("supply-next", "S&upply", "&Next recording", "Ctrl+Alt+PgDown", "Look at the next one", True, "supply"),
    Action("supply-previous", "S&upply", "&Previous recording", "Ctrl+Alt+PgUp", "The one before", True, "supply"),
    Action("supply-next-burst", "S&upply", "Next &burst", "Alt+Right", "Pick out the next burst", True, "supply"),
    Action("supply-previous-burst", "S&upply", "Burst be&fore", "Alt+Left", "Pick out the one before", True, "supply"),
    Action("supply-traces", "S&upply", "Go to the &traces", "Shift+F2", "Traces under each other", True, "supply"),
    Action("supply-bursts", "S&upply", "Bursts &overlaid", "Shift+F3", "All bursts over each other", True, "supply"),
    Action("supply-figures", "S&upply", "Go to the fi&gures", "Ctrl+F2", "Split, sag, resistance", True, "supply"),
    Action("supply-wiring", "S&upply", "Against the &wiring", "Ctrl+F3", "Measured against predicted", True, "supply"),
    Action("supply-under", "S&upply", "&Under voltage", "Ctrl+F4", "Times under the shop's limit", True, "supply"),
    Action("supply-worst", "S&upply", "Worst &minute", "Ctrl+Shift+W", "Show the worst minute", True, "supply"),
    Action("supply-picture", "S&upply", "P&icture …", "Ctrl+Shift+7", "Save as PNG or SVG", True, "supply"),
    Action("supply-data", "S&upply", "&Data …", "Ctrl+Alt+7", "Save what is drawn as CSV", True, "supply"),
    Action("noise-next", "&Noise", "&Next recording", "Ctrl+PgDown", "Look at the next recording", True, "noise"),
    Action("noise-previous", "&Noise", "&Previous recording", "Ctrl+PgUp", "Look at the one before", True, "noise"),
    Action("noise-spectrum", "&Noise", "Go to the &spectrum", "F2", "Spectrum and coherence", True, "noise"),
    Action("noise-orders", "&Noise", "Go to the &orders", "F3", "Lines against the engine's speed", True, "noise"),
    Action("noise-hear", "&Noise", "&Hear it", "F4", "Listen to a stretch, before against after", True, "noise"),
    Action("noise-play", "&Noise", "P&lay or stop", "Shift+F4", "Play the chosen stretch, or stop", True, "noise"),
    Action("noise-toggle", "&Noise", "&Before or after", "Ctrl+B", "Hear the other one from there on", True, "noise"),
    Action("noise-causes", "&Noise", "Go to the &causes", "Alt+6", "Keys to ledger and causes", True, "noise"),
    Action("noise-step", "&Noise", "Go to the next s&tep", "Alt+7", "Keys to the card of the step", True, "noise"),
    Action("noise-picture", "&Noise", "P&icture …", "Ctrl+Shift+4", "Save the picture as PNG or SVG", True, "noise"),
    Action("noise-data", "&Noise", "&Data …", "Ctrl+Alt+4", "Save what is drawn as CSV", True, "noise"),
    Action("start-stop", "&Record", "&Start or stop", "Space", "Count down and record; again: stop", repeats=False),
    Action("record", "&Record", "&What is recorded next …", "Ctrl+R", "State, step and conditions", needs_job=True),
    Action("source", "&Record", "S&ource", "F6", "Keys to the list of sources"),
    Action("channels", "&Record", "&Channels …", "F7", "What each channel is connected to", needs_job=True),
    Action("conditions", "&Record", "Con&ditions …", "Shift+F7", "Speed, loads, volume and what else holds", True),
    Action("listen", "&Record", "&Listen, or let go", "Ctrl+L", "Open the source to see its levels, or close it"),
    Action("stop-playing", "&Record", "S&ilence", "Ctrl+.", "Fade the test signal out; the recording goes on"),
    Action("live", "&Record", "Li&ve view", "F8", "Waveform, spectrum and orders as they stand", needs_job=True),
    Action("live-hold", "&Record", "&Hold live pictures", "Shift+F8", "Hold them still, and let them go on", True),
    Action("live-channel", "&Record", "&Next live channel", "Ctrl+F8", "Spectra of the next channel", needs_job=True),
    Action("live-span", "&Record", "Live s&tretch", "Alt+F8", "A longer stretch of the waveform", needs_job=True),
    Action("missing", "&Sheet", "&How it stands …", "Ctrl+M", "How every sheet stands, and what a proof lacks", True),
    Action("edit-field", "&Sheet", "&Complaint", "Ctrl+E", "Write down the complaint", True, "vehicle"),
    Action("save-report", "&Report", "Sa&ve …", "Ctrl+S", "Save in the form that is chosen", True, "report"),
    Action("write-report", "&Report", "&Write the PDF …", "Ctrl+P", "Write the pages as a PDF", True, "report"),
    Action("report-page", "&Report", "W&eb page …", "Ctrl+Shift+H", "The pages as one HTML file", True, "report"),
    Action("report-figures", "&Report", "Table of fig&ures …", "Ctrl+Alt+9", "All figures as CSV", True, "report"),
    Action(
        "report-clips", "&Report", "&Clips to listen to …", "Ctrl+Shift+L", "Before and after, one gain", True, "report"
    ),
    Action(
        "report-bundle",
        "&Report",
        "&Bundle to check …",
        "Ctrl+Shift+B",
        "Job, recordings and report as one ZIP file",
        True,
        "report",
    ),
    Action("check-report", "&Report", "Chec&k a report …", "Ctrl+Shift+K", "Does it match its files?", True, "report"),
    Action(
        "draw-report", "&Report", "&Draw the pages again", "Ctrl+F5", "Pages of the job as it stands", True, "report"
    ),
    Action("report-folder", "&Report", "Open the &folder", "Ctrl+Shift+P", "Where it was saved", True, "report"),
    Action("next-page", "&Report", "&Next page", "Alt+PgDown", "Show the next page", True, "report"),
    Action("previous-page", "&Report", "&Page before", "Alt+PgUp", "Show the page before", True, "report"),
    Action("page-width", "&Report", "Whole w&idth", "Ctrl+Alt+W", "Pages as wide as there is room", True, "report"),
    Action("page-whole", "&Report", "Whole pa&ge", "Ctrl+Alt+P", "A whole page at a time", True, "report"),
    Action("focus-pages", "&Report", "Go to the page&s", "Alt+8", "Keys to the pages", True, "report"),
    Action("focus-left-out", "&Report", "Go to what is &left out", "Alt+9", "Keys to that list", True, "report"),
    Action("focus-paper", "&Report", "Go to p&aper and units", "Ctrl+F6", "A4 or US Letter, the units", True, "report"),
    Action("focus-key", "&Report", "Go to the ke&y", "Ctrl+F7", "The shop's key that signs", True, "report"),
    Action("focus-issued", "&Report", "Go to &the issued", "Ctrl+F9", "Reports issued so far", True, "report"),
    Action("preferences", "&Window", "&Preferences …", "Ctrl+,", "Look, size of letters, units"),
    Action("dark", "&Window", "&Dark or light", "F9", "Change between the light and the dark palette"),
    Action("cautions", "He&lp", "&Cautions", "Shift+F1", "What can hurt somebody at the vehicle"),
    Action("keys", "He&lp", "&Keys", "F1", "Every key on one page"),
)


@dataclass(frozen=True, slots=True)
class PictureKey:
    """A key that works while a picture has the keyboard: `move` names what the canvas does."""

    key: str
    shown: str
    move: str
    tip: str


PICTURE_KEYS = (
    PictureKey("Left", "←", "left", "move the view to the left"),
    PictureKey("Right", "→", "right", "move the view to the right"),
    PictureKey("Up", "↑", "up", "move the view up"),
    PictureKey("Down", "↓", "down", "move the view down"),
    PictureKey("+", "+", "in", "zoom in along the bottom axis"),
    PictureKey("-", "−", "out", "zoom out along the bottom axis"),
    PictureKey("PgUp", "Page up", "taller", "zoom in along the left axis"),
    PictureKey("PgDown", "Page down", "flatter", "zoom out along the left axis"),
    PictureKey("Home", "Home", "whole", "show the whole extent again"),
    PictureKey("0", "0", "whole", "show the whole extent again"),
    PictureKey("Shift+Left", "Shift ←", "cursor-left", "move the cursor to the left"),
    PictureKey("Shift+Right", "Shift →", "cursor-right", "move the cursor to the right"),
    PictureKey("Ctrl+Left", "Ctrl ←", "cursor-fine-left", "move the cursor by one pixel to the left"),
    PictureKey("Ctrl+Right", "Ctrl →", "cursor-fine-right", "move the cursor by one pixel to the right"),
)

MOUSE_HELP = (
    ("Wheel", "zoom along the bottom axis; with Shift along the left axis"),
    ("Drag", "draw a box and zoom into it"),
    ("Drag with the middle button", "move the view"),
    ("Double click", "show the whole extent again"),
)

SPACE_HELP = (
    ("Space", "records, and stops, unless a text field has the keyboard: there it is a blank"),
    ("Space", "on a key that was reached with Tab or another key: presses it, as Enter does; while recording it stops"),
    ("F12", "the foot switch's key records and stops whatever has the keyboard; another is chosen under Ctrl+R"),
)

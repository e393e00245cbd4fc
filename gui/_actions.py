"""What can be done, as data: menus, buttons, keys and the help page are all made from this list."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Action:
    """One thing that can be done: `name` is what handlers are found by, `keys` as Qt writes them."""

    name: str
    menu: str
    text: str
    keys: str
    tip: str
    #: greyed out while no job with measurements is shown
    needs_job: bool = False


ACTIONS = (
    Action("open", "&Job", "&Open job …", "Ctrl+O", "Open a job folder"),
    Action("reload", "&Job", "&Read again", "F5", "Read the job from disk again", needs_job=True),
    Action("close-job", "&Job", "&Close job", "Ctrl+W", "Put the job away", needs_job=True),
    Action("quit", "&Job", "&Quit", "Ctrl+Q", "Close the window"),
    Action(
        "next-view",
        "&View",
        "&Next comparison",
        "Ctrl+Down",
        "Show the next pair of recordings",
        needs_job=True,
    ),
    Action("previous-view", "&View", "&Previous comparison", "Ctrl+Up", "Show the pair before", needs_job=True),
    Action(
        "focus-supply",
        "&View",
        "Go to &supply traces",
        "Alt+1",
        "Give the keys to the supply picture",
        needs_job=True,
    ),
    Action("focus-spectrum", "&View", "Go to spect&rum", "Alt+2", "Give the keys to the spectrum", needs_job=True),
    Action(
        "focus-changes",
        "&View",
        "Go to c&hanges",
        "Alt+3",
        "Give the keys to the table of changes",
        needs_job=True,
    ),
    Action(
        "focus-conditions",
        "&View",
        "Go to &conditions",
        "Alt+4",
        "Give the keys to the conditions",
        needs_job=True,
    ),
    Action("focus-warnings", "&View", "Go to &warnings", "Alt+5", "Give the keys to the warnings", needs_job=True),
    Action("whole", "&View", "Whole &extent of both pictures", "Ctrl+0", "Undo all zooming", needs_job=True),
    Action("dark", "&View", "&Dark or light", "F9", "Change between the light and the dark palette"),
    Action("save-supply", "&Save", "Supply &picture …", "Ctrl+Shift+1", "Save as PNG or SVG", needs_job=True),
    Action("save-spectrum", "&Save", "Sp&ectrum picture …", "Ctrl+Shift+2", "Save as PNG or SVG", needs_job=True),
    Action(
        "data-supply",
        "&Save",
        "Supply &data …",
        "Ctrl+Alt+1",
        "Save what the picture draws as CSV",
        needs_job=True,
    ),
    Action(
        "data-spectrum",
        "&Save",
        "Spectrum d&ata …",
        "Ctrl+Alt+2",
        "Save what the picture draws as CSV",
        needs_job=True,
    ),
    Action("data-changes", "&Save", "&Table of changes …", "Ctrl+Alt+3", "Save the table as CSV", needs_job=True),
    Action("keys", "&Help", "&Keys", "F1", "Every key on one page"),
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

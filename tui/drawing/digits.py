"""Large figures and words out of blocks, to be read from two metres."""

from __future__ import annotations

HEIGHT = 7

NARROW = "\u2009"
"""A thin space: sets the arrow apart from its figure by one more dot."""
FIGURE_SPACE = "\u2007"
"""As wide as a figure: all of them are equally wide, so that each place keeps its cells."""

_SHAPES = {
    "0": ".##. #..# #..# #..# #..# #..# .##.",
    "1": "..#. .##. ..#. ..#. ..#. ..#. .###",
    "2": ".##. #..# ...# ..#. .#.. #... ####",
    "3": "###. ...# ...# .##. ...# ...# ###.",
    "4": "#..# #..# #..# #### ...# ...# ...#",
    "5": "#### #... #... ###. ...# ...# ###.",
    "6": ".##. #... #... ###. #..# #..# .##.",
    "7": "#### ...# ...# ..#. ..#. .#.. .#..",
    "8": ".##. #..# #..# .##. #..# #..# .##.",
    "9": ".##. #..# #..# .### ...# ...# .##.",
    ".": ". . . . . . #",
    "−": "... ... ... ### ... ... ...",
    "+": "... ... .#. ### .#. ... ...",
    " ": ".. .. .. .. .. .. ..",
    NARROW: "/ / / / / / /",
    FIGURE_SPACE: ".... .... .... .... .... .... ....",
    "A": ".##. #..# #..# #### #..# #..# #..#",
    "D": "###. #..# #..# #..# #..# #..# ###.",
    "E": "### #.. #.. ##. #.. #.. ###",
    "F": "### #.. #.. ##. #.. #.. #..",
    "G": ".### #... #... #.## #..# #..# .###",
    "H": "#..# #..# #..# #### #..# #..# #..#",
    "I": "### .#. .#. .#. .#. .#. ###",
    "L": "#.. #.. #.. #.. #.. #.. ###",
    "N": "#...# ##..# ##..# #.#.# #..## #..## #...#",
    "O": ".##. #..# #..# #..# #..# #..# .##.",
    "P": "###. #..# #..# ###. #... #... #...",
    "R": "###. #..# #..# ###. #.#. #..# #..#",
    "S": ".### #... #... .##. ...# ...# ###.",
    "T": "##### ..#.. ..#.. ..#.. ..#.. ..#.. ..#..",
    "W": "#...# #...# #...# #.#.# #.#.# ##.## #...#",
    "Y": "#...# #...# .#.#. ..#.. ..#.. ..#.. ..#..",
    "↓": "..#.. ..#.. ..#.. ..#.. ##### .###. ..#..",
    "↑": "..#.. .###. ##### ..#.. ..#.. ..#.. ..#..",
    "◇": "..#.. .#.#. #...# #...# #...# .#.#. ..#..",
}

_HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def _dots(text: str) -> list[str]:
    """HEIGHT lines of ``#`` and ``.``, one dot between neighbouring shapes."""
    shapes = [_SHAPES[char].split() for char in text if char in _SHAPES]
    lines = [".".join(shape[line] for shape in shapes) for line in range(HEIGHT)]
    return [line.replace("/", "") for line in lines]


def large(text: str, scale: int = 1) -> list[str]:
    """*text* in lines of full blocks; a dot is 2·scale cells wide and scale cells high."""
    lines = ["".join(("█" if dot == "#" else " ") * 2 * scale for dot in line) for line in _dots(text)]
    return [line for line in lines for _ in range(scale)]


def small(text: str) -> list[str]:
    """*text* in four lines of half blocks; a dot is one cell wide and half a cell high."""
    lines = [*_dots(text), ""]
    lines[-1] = "." * len(lines[0])
    return [
        "".join(_HALVES[upper == "#", lower == "#"] for upper, lower in zip(top, bottom, strict=True))
        for top, bottom in zip(lines[::2], lines[1::2], strict=True)
    ]

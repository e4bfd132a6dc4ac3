"""Words in large letters for a screen that is read from two metres: three rows high, four columns a letter.

Each letter is three by five dots, two dots above one another in a cell. Where an encoding has no half blocks
the letters stand apart on one line instead.
"""

from __future__ import annotations

# Five rows of three dots, top first; one octal digit a row.
_DOTS = {
    "A": "25755", "B": "65656", "C": "34443", "D": "65556", "E": "74647", "F": "74644", "G": "34553",
    "H": "55755", "I": "72227", "J": "11152", "K": "55655", "L": "44447", "M": "57755", "N": "65555",
    "O": "25552", "P": "65644", "Q": "25563", "R": "65655", "S": "34216", "T": "72222", "U": "55557",
    "V": "55552", "W": "55775", "X": "55255", "Y": "55222", "Z": "71247", "0": "75557", "1": "26227",
    "2": "61247", "3": "61216", "4": "55711", "5": "74616", "6": "34652", "7": "71122", "8": "75757",
    "9": "25316", "?": "61202", " ": "00000", "-": "00700", "/": "11244",
}  # fmt: skip
_CELLS = " ▀▄█"
ROWS, COLUMNS = 3, 4


def big(text: str, width: int, drawn: bool = True) -> list[str]:
    """The text in large letters, cut to `width` columns; not `drawn`, spaced out on one line."""
    if not drawn:
        return [" ".join(text.upper())[:width]]
    letters = [_DOTS.get(sign, _DOTS["?"]) for sign in text.upper()[: (width + 1) // COLUMNS]]
    rows = []
    for top in (0, 2, 4):
        cells = []
        for dots in letters:
            upper, lower = int(dots[top], 8), int(dots[top + 1], 8) if top < 4 else 0
            cells.append("".join(_CELLS[(upper >> bit & 1) + 2 * (lower >> bit & 1)] for bit in (2, 1, 0)))
        rows.append(" ".join(cells).rstrip())
    return rows

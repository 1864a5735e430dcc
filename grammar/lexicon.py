"""The words of the language: letters, codes and modal groups, each with its section of NISTIR 6556.

Code values are kept in tenths (G59.1 is 591), so that G01, G1 and G1.0 are one code. Rows whose section is "" are
not of the standard; their dialect option says where they come from.
"""

from __future__ import annotations

from grammar.classes import dataclass

AXES = "XYZABC"
LETTERS = frozenset("ABCDFGHIJKLMPQRSTXYZ")  # Table 3; N is not a word, E O U V W are not in the language
NEVER_NEGATIVE = frozenset("DFHLPQST")  # Table 14 and D.8.2
WHOLE = frozenset("DHLT")  # 3.3.2.1; P of G10 besides
WHOLE_TOLERANCE = 1e-4  # 3.3.2.1
LENGTHS = frozenset("XYZIJKRQ")  # numbers that the length unit touches


@dataclass(frozen=True, slots=True)
class Code:
    """One row: the code's name, its modal group, the section it is defined in, and the option that admits it."""

    name: str
    group: str
    section: str
    option: str = ""  # "" in every dialect; else a dialect option


def _rows(*rows: tuple[str, str, str, str]) -> dict[int, Code]:
    table: dict[int, Code] = {}
    for names, group, section, option in rows:
        for name in names.split():
            table[round(float(name[1:]) * 10)] = Code(name, group, section, option)
    return table


G_CODES = _rows(
    ("G4", "G0", "3.5.4", ""),
    ("G10", "G0", "3.5.5", ""),
    ("G28 G30", "G0", "3.5.8", ""),
    ("G53", "G0", "3.5.12", ""),
    ("G92 G92.1 G92.2 G92.3", "G0", "3.5.18", ""),
    ("G52", "G0", "", "local-shift"),
    ("G0", "G1", "3.5.1", ""),
    ("G1", "G1", "3.5.2", ""),
    ("G2 G3", "G1", "3.5.3", ""),
    ("G38.2", "G1", "3.5.9", ""),
    ("G80", "G1", "3.5.15", ""),
    ("G81 G82 G83 G84 G85 G86 G87 G88 G89", "G1", "3.5.16", ""),
    ("G73", "G1", "", "chip-break-cycle"),
    ("G74", "G1", "", "left-hand-tap"),
    ("G12 G13", "G0", "", "circular-pocket"),
    ("G17 G18 G19", "G2", "3.5.6", ""),
    ("G90 G91", "G3", "3.5.17", ""),
    ("G90.1 G91.1", "G4", "", "arc-distance-mode"),
    ("G93 G94", "G5", "3.5.19", ""),
    ("G95", "G5", "", "feed-per-turn"),
    ("G20 G21", "G6", "3.5.7", ""),
    ("G70 G71", "G6", "", "older-unit-codes"),
    ("G40 G41 G42", "G7", "3.5.10", ""),
    ("G41.2 G42.2", "G7", "", "compensation-by-diameter"),
    ("G43 G49", "G8", "3.5.11", ""),
    ("G98 G99", "G10", "3.5.20", ""),
    ("G54 G55 G56 G57 G58 G59 G59.1 G59.2 G59.3", "G12", "3.5.13", ""),
    ("G61 G61.1 G64", "G13", "3.5.14", ""),
    ("G97", "G14", "", "restated-default"),
    ("G50", "G11", "", "restated-default"),
    ("G69", "G16", "", "restated-default"),
    ("G15", "G17", "", "restated-default"),
    ("G9", "G18", "", "exact-stop-once"),
)

M_CODES = _rows(
    ("M0 M1 M2 M30 M60", "M4", "3.6.1", ""),
    ("M6", "M6", "3.6.3", ""),
    ("M3 M4 M5", "M7", "3.6.2", ""),
    ("M7 M8 M9", "M8", "3.6.4", ""),
    ("M48 M49", "M9", "3.6.5", ""),
    ("M97 M98 M99", "M10", "", "subprograms"),
    ("M13 M14", "M7", "", "spindle-with-coolant"),
    ("M19", "M19", "", "auxiliary-codes"),
    ("M10 M11", "M11", "", "auxiliary-codes"),
    ("M31", "M31", "", "auxiliary-codes"),
    ("M40 M41 M42 M43 M44 M45", "M40", "", "auxiliary-codes"),
)

SYSTEMS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")
CYCLES = frozenset((810, 820, 830, 840, 850, 860, 870, 880, 890, 730, 740))
DWELL_CYCLES = frozenset((820, 860, 880, 890))
MOTIONS = frozenset((0, 10, 20, 30, 382)) | CYCLES  # group 1 codes that use axis words
AXIS_USERS = frozenset((100, 280, 300, 920, 520))  # group 0 codes that use axis words (3.4)

HOME = {280: 5161, 300: 5181}  # Table 2
PROBED, SHIFTS, SELECTED, ORIGINS = 5061, 5211, 5220, 5221
LAST_PARAMETER = 5399  # 3.2.1

PLANES = {170: 17, 180: 18, 190: 19}
PLANE_AXES = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}  # first, second in right-handed order, normal (4.3.6.1)
OFFSET_LETTERS = "IJK"


def code_name(letter: str, tenths: int) -> str:
    """"G59.1" for ("G", 591)."""
    whole, tenth = divmod(tenths, 10)
    return f"{letter}{whole}.{tenth}" if tenth else f"{letter}{whole}"
